"""Compiled integer least squares: decorrelation and search.

A covariance is factored as ``L' D L`` with a unit lower triangle ``L``; integer transformations
make ``L`` nearly the identity and order ``D``; then the nearest integer vectors are found by a
depth-first walk through a shrinking ellipsoid.
"""

import numpy as np

from ..compiling import njit

TIE = 1e-9  # relative: an exchange that gains less is none, so that rounding cannot make it turn


@njit
def factor(q, lower, d):
    """Fill ``q = lower' diag(d) lower`` from the last row up; ``q`` is used up.

    Returns 0, or 1 + the row whose conditional variance is not positive.
    """
    n = d.shape[0]
    for i in range(n - 1, -1, -1):
        if not q[i, i] > 0.0:
            return 1 + i
        d[i] = q[i, i]
        for j in range(i + 1):
            lower[i, j] = q[i, j] / d[i]
        for j in range(i):
            for k in range(j + 1):
                q[j, k] -= lower[i, j] * lower[i, k] * d[i]
    return 0


@njit
def subtract_column(lower, back, i, j):
    """Take from column ``j`` the whole multiple of column ``i`` that makes ``lower[i, j]`` small.

    ``back`` turns transformed integers into original ones.
    """
    whole = np.round(lower[i, j])
    if whole != 0.0:
        for k in range(i, lower.shape[0]):
            lower[k, j] -= whole * lower[k, i]
        for k in range(lower.shape[0]):
            back[k, i] += whole * back[k, j]


@njit
def exchange(lower, d, back, j, joint):
    """Exchange entries ``j`` and ``j + 1``; ``joint``: variance of ``j`` without ``j + 1``."""
    n = d.shape[0]
    share = d[j] / joint
    slope = d[j + 1] * lower[j + 1, j] / joint
    d[j] = share * d[j + 1]
    d[j + 1] = joint
    old = lower[j + 1, j]
    for k in range(j):
        first, second = lower[j, k], lower[j + 1, k]
        lower[j, k] = second - old * first
        lower[j + 1, k] = share * first + slope * second
    lower[j + 1, j] = slope
    for k in range(j + 2, n):
        lower[k, j], lower[k, j + 1] = lower[k, j + 1], lower[k, j]
    for k in range(n):
        back[k, j], back[k, j + 1] = back[k, j + 1], back[k, j]


@njit
def reduce(lower, d, back):
    """Decorrelate in place: whole-number Gauss steps and exchanges until nothing is gained."""
    n = d.shape[0]
    j, clean = n - 2, n - 2
    while j >= 0:
        if j <= clean:
            for i in range(j + 1, n):
                subtract_column(lower, back, i, j)
        joint = d[j] + lower[j + 1, j] ** 2 * d[j + 1]
        if joint < d[j + 1] * (1.0 - TIE):
            exchange(lower, d, back, j, joint)
            clean = j
            j = n - 2
        else:
            j -= 1


@njit
def search(lower, d, center, found, distance):
    """Fill ``found`` (c, n) with the nearest integer vectors to ``center``, nearest first.

    ``distance`` (c,) are their squared distances in units of variance. The walk fixes the last
    entry first; each next integer tried at a level lies further off on the other side, and the
    bound is the worst candidate kept.
    """
    n, keep = center.shape[0], distance.shape[0]
    part = np.zeros(n)
    middle = np.empty(n)
    whole = np.empty(n)
    step = np.empty(n)
    shift = np.zeros((n, n))
    distance[:] = np.inf
    k = n - 1
    middle[k] = center[k]
    whole[k] = np.round(middle[k])
    step[k] = 1.0 if middle[k] >= whole[k] else -1.0
    while True:
        total = part[k] + (middle[k] - whole[k]) ** 2 / d[k]
        if total < distance[keep - 1]:
            if k > 0:
                for i in range(k):
                    above = shift[k + 1, i] if k + 1 < n else 0.0
                    shift[k, i] = above + (whole[k] - middle[k]) * lower[k, i]
                part[k - 1] = total
                k -= 1
                middle[k] = center[k] + shift[k + 1, k]
                whole[k] = np.round(middle[k])
                step[k] = 1.0 if middle[k] >= whole[k] else -1.0
                continue
            at = keep - 1
            while at > 0 and distance[at - 1] > total:
                distance[at] = distance[at - 1]
                found[at] = found[at - 1]
                at -= 1
            distance[at] = total
            found[at] = whole
        else:
            if k == n - 1:
                return
            k += 1
        whole[k] += step[k]
        step[k] = -step[k] - (1.0 if step[k] > 0.0 else -1.0)
