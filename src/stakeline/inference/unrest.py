"""How restless a series is from time to time, as something measured beside it tells.

Ice is restless where it melts: what a baseline leaves of its speed is larger then. A test that
shifts events around a record takes all its parts as alike, so contrasts of restless months must
be measured by their own scale, else chance seems to do there what it does not do elsewhere.
"""

import numpy as np
from scipy.optimize import nnls

CALMEST = 0.1  # of the mean scale, the least that is taken; our choice


def contrast_scales(found, index, windows):
    """Return the scales (n, series, lags) of contrasts, 1 in the mean of those that are there.

    Parameters
    ----------
    found : array (n, series, lags)
        Of :func:`~.permutation.contrasts`; NaN where there is none. [value]
    index : array (n,)
        0 or larger, of anything in proportion to which the series may be restless; NaN unknown.
    windows : Windows

    Notes
    -----
    The variance of a contrast is a constant and a multiple of the mean index over both of its
    windows and what lies between, by least squares with factors of 0 or more.
    """
    scales = np.ones_like(found)
    for k, lag in enumerate(windows.lags):
        mean = _mean_index(np.asarray(index, float), windows.before, lag + windows.after)
        design = np.column_stack([np.ones(len(mean)), mean])
        for s in range(found.shape[1]):
            there = np.isfinite(found[:, s, k])
            factors, _ = nnls(design[there], found[there, s, k] ** 2)
            variance = design @ factors
            usual = variance[there].mean()
            if usual > 0.0:
                scales[:, s, k] = np.sqrt(np.maximum(variance / usual, CALMEST**2))
    return scales


def _mean_index(index, before, after):
    """Return the mean (n,) of the known index from ``before`` samples before to ``after`` after."""
    known = np.isfinite(index)
    sums = np.zeros((2, len(index) + 1))
    np.cumsum(np.where(known, index, 0.0), out=sums[0, 1:])
    np.cumsum(known, out=sums[1, 1:])
    at = np.arange(len(index))
    first, last = np.maximum(at - before, 0), np.minimum(at + after, len(index))
    total, count = sums[:, last] - sums[:, first]
    return total / np.maximum(count, 1.0)
