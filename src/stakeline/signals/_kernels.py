"""Compiled loops over tracks: epoch differences and running wide lanes."""

import numpy as np

from ..compiling import njit


@njit
def solve_small(a, b, n):
    """Solve the symmetric positive ``a[:n, :n] x = b[:n]`` in place; ``b`` holds x after."""
    for i in range(n):
        for j in range(i):
            a[i, i] -= a[i, j] * a[i, j]
        a[i, i] = np.sqrt(max(a[i, i], 1e-30))
        for k in range(i + 1, n):
            for j in range(i):
                a[k, i] -= a[k, j] * a[i, j]
            a[k, i] /= a[i, i]
    for i in range(n):
        for j in range(i):
            b[i] -= a[i, j] * b[j]
        b[i] /= a[i, i]
    for i in range(n - 1, -1, -1):
        for j in range(i + 1, n):
            b[i] -= a[j, i] * b[j]
        b[i] /= a[i, i]


@njit
def epoch_differences(residual, unit, sigma, max_gap, motion_sigma, rounds, excess, motion):
    """Fill what each phase changed by, beyond the clock and motion common to all satellites.

    ``residual`` (n, m): observed minus computed phase, NaN missing [m]; ``unit`` (n, m, 3): east,
    north, up partials; ``sigma`` (n, m): of a difference. For every satellite seen now and at most
    ``max_gap`` epochs ago the change is referred to the sums of the common changes since then.
    ``excess`` (n, m) receives the change left over (NaN: no earlier epoch), ``motion`` (n, 3) the
    common motion of each step. Robust by re-weighting from a median start.
    """
    n, m = residual.shape
    clock_sum = np.zeros(n)
    last = np.full(m, -1, np.int64)
    difference = np.empty(m)
    work = np.empty(m)
    a = np.empty((4, 4))
    b = np.empty(4)
    x = np.empty(4)
    path = np.zeros((n, 3))
    for k in range(n):
        count = 0
        for s in range(m):
            difference[s] = np.nan
            excess[k, s] = np.nan
            if np.isnan(residual[k, s]):
                continue
            j = last[s]
            if j >= 0 and k - j <= max_gap:
                value = residual[k, s] - residual[j, s]
                if k > 0:
                    value -= clock_sum[k - 1] - clock_sum[j]
                    for i in range(3):
                        value -= unit[k, s, i] * (path[k - 1, i] - path[j, i])
                difference[s] = value
                work[count] = value
                count += 1
            last[s] = k
        x[:] = 0.0
        if count:
            x[3] = np.median(work[:count])
        for _ in range(rounds):
            if count < 5:
                break
            a[:] = 0.0
            b[:] = 0.0
            for i in range(3):
                a[i, i] = 1.0 / motion_sigma**2
            a[3, 3] = 1e-12
            for s in range(m):
                if np.isnan(difference[s]):
                    continue
                v = difference[s] - x[3]
                for i in range(3):
                    v -= unit[k, s, i] * x[i]
                t = v / (2.0 * sigma[k, s])
                w = 1.0 / (sigma[k, s] ** 2 * (1.0 + t * t) ** 2)
                for i in range(4):
                    hi = unit[k, s, i] if i < 3 else 1.0
                    b[i] += w * hi * difference[s]
                    for j in range(i + 1):
                        a[i, j] += w * hi * (unit[k, s, j] if j < 3 else 1.0)
            for i in range(4):
                x[i] = b[i]
            solve_small(a, x, 4)
        if k > 0:
            clock_sum[k] = clock_sum[k - 1] + x[3]
        for i in range(3):
            motion[k, i] = x[i] if count >= 5 else 0.0
            path[k, i] = (path[k - 1, i] if k > 0 else 0.0) + motion[k, i]
        for s in range(m):
            if not np.isnan(difference[s]):
                v = difference[s] - x[3]
                for i in range(3):
                    v -= unit[k, s, i] * motion[k, i]
                excess[k, s] = v


@njit
def running_jumps(value, sigma, max_gap, window, threshold, slip):
    """Mark in ``slip`` (n, m) where ``value`` leaves its running mean by over ``threshold`` sigmas.

    A single outlier that returns at the next epoch is no slip. ``value`` NaN: missing.
    """
    n, m = value.shape
    for s in range(m):
        mean, count, last = 0.0, 0, -1
        for k in range(n):
            if np.isnan(value[k, s]):
                continue
            if last < 0 or k - last > max_gap:
                count = 0
            limit = threshold * sigma[k, s] * np.sqrt(1.0 + 1.0 / max(count, 1))
            if count > 0 and abs(value[k, s] - mean) > limit:
                following = np.nan
                for j in range(k + 1, min(k + 4, n)):
                    if not np.isnan(value[j, s]):
                        following = value[j, s]
                        break
                if np.isnan(following) or abs(following - mean) > limit:
                    slip[k, s] = True
                    count = 0
            if count == 0:
                mean = 0.0
            if count == 0 or abs(value[k, s] - mean) <= limit:
                count = min(count + 1, window)
                mean += (value[k, s] - mean) / count
            last = k
