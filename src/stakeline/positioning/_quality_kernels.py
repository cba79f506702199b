"""Compiled: how residuals hang together over time."""

import numpy as np

from ..compiling import njit


@njit
def lagged_products(z, arc, products, counts):
    """Add up products of values of one arc some epochs apart, and how many there are, by lag.

    ``z`` (m, n) by satellite and epoch, NaN where unknown; ``arc`` (m, n) numbers that a satellite
    does not share with another; ``products`` and ``counts`` (lags,) hold 0 before.
    """
    n, lags = z.shape[1], products.shape[0]
    for s in range(z.shape[0]):
        for k in range(n):
            if np.isnan(z[s, k]):
                continue
            for lag in range(min(lags, n - k)):
                if arc[s, k + lag] == arc[s, k] and not np.isnan(z[s, k + lag]):
                    products[lag] += z[s, k] * z[s, k + lag]
                    counts[lag] += 1.0
