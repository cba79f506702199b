"""Compiled: a position and a clock from the codes of each epoch."""

import numpy as np

from ..compiling import njit
from ..signals._kernels import solve_small


@njit
def fit_epochs(unit, misfit, usable, robust, shift, scatter):
    """Fill ``shift`` (n, 4) by least squares of ``misfit`` (n, m) on ``unit`` (n, m, 3) and clock.

    With ``robust`` the fit is re-weighted twice by its residuals. ``scatter`` (n,): median of the
    absolute residuals; infinity, and no shift, with fewer than five usable satellites.
    """
    n, m = misfit.shape
    a = np.empty((4, 4))
    x = np.empty(4)
    h = np.ones(4)
    rest = np.empty(m)
    size = np.empty(m)
    for k in range(n):
        count = 0
        for s in range(m):
            count += usable[k, s]
        if count < 5:
            scatter[k] = np.inf
            continue
        width = np.inf
        for _ in range(3 if robust else 1):
            a[:] = 0.0
            x[:] = 0.0
            for s in range(m):
                if not usable[k, s]:
                    continue
                w = 1.0 if width == np.inf else 1.0 / (1.0 + (rest[s] / width) ** 2) ** 2
                for i in range(3):
                    h[i] = unit[k, s, i]
                for i in range(4):
                    x[i] += w * h[i] * misfit[k, s]
                    for j in range(4):
                        a[i, j] += w * h[i] * h[j]
            for i in range(4):
                a[i, i] += 1e-9
            solve_small(a, x, 4)
            at = 0
            for s in range(m):
                if usable[k, s]:
                    rest[s] = misfit[k, s] - x[3]
                    for i in range(3):
                        rest[s] -= unit[k, s, i] * x[i]
                    size[at] = abs(rest[s])
                    at += 1
            scatter[k] = np.median(size[:at])
            width = 3.0 * max(scatter[k], 0.5)
        for i in range(4):
            shift[k, i] = x[i]
