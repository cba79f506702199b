"""Compiled elimination in time order: the filter goes forward, the smoother backward.

The state vector has ``d`` entries: receiver clock, east, north, up, their three velocities, zenith
wet delay, two gradients, system biases, then one slot for each ambiguity alive. One step only
changes a state in time: a random walk of entry ``i`` whose inverse variance is ``w`` (0: the entry
starts anew, as the clock does at each epoch and a slot at the start of an arc).

Information form: with information matrix ``a`` and vector ``b``, the old entry x_i given all
others and the new x_i' is (b_i + w x_i' - sum_j a_ij x_j) / (a_ii + w). The row is kept for the
way back; the others lose its share (one rank-one update).
"""

import numpy as np

from ..compiling import njit

LOCAL = 10  # entries before the system biases


@njit
def walk(a, b, i, w, rows, offsets, pivots, at):
    """Eliminate entry ``i``, keep its row at ``at``, and put its successor in its place."""
    walk_above(a, b, i, w, rows, offsets, pivots, at, a.shape[0])


@njit
def walk_above(a, b, i, w, rows, offsets, pivots, at, height):
    """Do as :func:`walk`, for the first ``height`` rows of ``a`` alone; ``i`` is one of them.

    :func:`settle` owes the others their share.
    """
    d = a.shape[0]
    pivot = a[i, i] + w
    if pivot <= 0.0:
        pivot = 1e-12
    row = rows[at]
    own = a[i]
    for j in range(d):
        row[j] = -own[j] / pivot
    row[i] = 0.0
    bi = b[i]
    for j in range(d):
        b[j] += row[j] * bi
    for j in range(height):
        factor = row[j]
        if factor == 0.0:
            continue
        for k in range(d):
            a[j, k] += factor * own[k]
    for j in range(d):
        own[j] = -w * row[j]
    for j in range(height):
        a[j, i] = own[j]
    a[i, i] = w - w * w / pivot if w > 0.0 else 0.0
    row[i] = w / pivot
    offsets[at] = bi / pivot
    pivots[at] = pivot
    b[i] = bi * w / pivot


@njit
def shear(a, b, i, j, factor, height):
    """Change variables: the new x_i is x_i + factor * x_j; in the first ``height`` rows."""
    for k in range(a.shape[0]):
        a[j, k] -= factor * a[i, k]
    for k in range(height):
        a[k, j] -= factor * a[k, i]
    b[j] -= factor * b[i]


@njit
def settle(a, rows, pivots, begin, end, height):
    """Give the rows from ``height`` on the share of walks ``begin`` to ``end`` above; mirror them.

    Each entry takes the walks five at a time, in one triangle: half the work of one by one.
    """
    d = a.shape[0]
    for j in range(height, d):
        own = a[j]
        at = begin
        while at + 5 <= end:
            r0, r1, r2, r3, r4 = rows[at], rows[at + 1], rows[at + 2], rows[at + 3], rows[at + 4]
            f0, f1, f2 = pivots[at] * r0[j], pivots[at + 1] * r1[j], pivots[at + 2] * r2[j]
            f3, f4 = pivots[at + 3] * r3[j], pivots[at + 4] * r4[j]
            at += 5
            if f0 == 0.0 and f1 == 0.0 and f2 == 0.0 and f3 == 0.0 and f4 == 0.0:
                continue
            for k in range(height, j + 1):
                own[k] -= f0 * r0[k] + f1 * r1[k] + f2 * r2[k] + f3 * r3[k] + f4 * r4[k]
        for rest in range(at, end):
            factor = pivots[rest] * rows[rest, j]
            if factor == 0.0:
                continue
            for k in range(height, j + 1):
                own[k] -= factor * rows[rest, k]
    for j in range(height, d):
        for k in range(height):
            a[j, k] = a[k, j]
        for k in range(height, j):
            a[k, j] = a[j, k]


@njit
def move_forward(a, b, dt, noise, moving, rows, offsets, pivots, at):
    """Carry the state over ``dt``; return the next free row.

    ``noise``: velocity walk (variance per s), position walk, zenith walk, gradient walk, and extra
    position variance of this step. Velocity walk: exact discretisation of white acceleration.
    """
    begin = at
    walk_above(a, b, 0, 0.0, rows, offsets, pivots, at, LOCAL)
    at += 1
    if moving:
        for i in range(1, 4):
            shear(a, b, i, i + 3, 0.5 * dt, LOCAL)
            variance = noise[0] * dt**3 / 12.0 + noise[1] * dt + noise[4]
            if variance > 0.0:
                walk_above(a, b, i, 1.0 / variance, rows, offsets, pivots, at, LOCAL)
                at += 1
            if noise[0] > 0.0:
                w = 1.0 / (noise[0] * dt)
                walk_above(a, b, i + 3, w, rows, offsets, pivots, at, LOCAL)
                at += 1
            shear(a, b, i, i + 3, 0.5 * dt, LOCAL)
    for i in range(7, 10):
        variance = (noise[2] if i == 7 else noise[3]) * dt
        walk_above(a, b, i, 1.0 / variance, rows, offsets, pivots, at, LOCAL)
        at += 1
    settle(a, rows, pivots, begin, at, LOCAL)
    return at


@njit
def add_observation(a, b, index, partial, count, weight, value):
    """Add one observation with ``count`` non-zero partials at ``index``."""
    for p in range(count):
        i = index[p]
        wp = weight * partial[p]
        b[i] += wp * value
        for q in range(count):
            a[i, index[q]] += wp * partial[q]


@njit
def design(index, partial, unit, mapping, gradient, azimuth, bias, slot):
    """Fill index and partials of a phase (the slot last); return how many there are."""
    index[0], partial[0] = 0, 1.0
    for i in range(3):
        index[1 + i], partial[1 + i] = 1 + i, unit[i]
    index[4], partial[4] = 7, mapping
    index[5], partial[5] = 8, gradient * np.cos(azimuth)
    index[6], partial[6] = 9, gradient * np.sin(azimuth)
    count = 7
    if bias >= 0:
        index[7], partial[7] = 10 + bias, 1.0
        count = 8
    index[count], partial[count] = slot, 1.0
    return count + 1


@njit
def forward(
    dt, noise, moving, prior, phase, code, phase_weight, code_weight, unit, mapping, gradient,
    azimuth, bias, slot, ending, a, b, rows, offsets, pivots, row_end,
):  # fmt: skip
    """Filter: gather every epoch's observations and eliminate what does not last.

    ``dt`` (n,) seconds to the next epoch, ``noise`` (n, 5) of that step, ``prior`` (d,) inverse
    variances about 0; observations (n, m) with zero weight where unused, ``slot`` (n, m) state
    index of the ambiguity or -1; ``ending`` (n, m): the slot is given back after this epoch.
    Rows kept up to epoch k end at ``row_end[k]``. Returns how many rows there are.
    """
    n, m = phase.shape
    index = np.empty(16, np.int64)
    partial = np.empty(16)
    for i in range(a.shape[0]):
        a[i, i] += prior[i]
    at = 0
    for k in range(n):
        for s in range(m):
            if slot[k, s] < 0 or phase_weight[k, s] + code_weight[k, s] == 0.0:
                continue
            count = design(
                index, partial, unit[k, s], mapping[k, s], gradient[k, s], azimuth[k, s],
                bias[s], slot[k, s],
            )  # fmt: skip
            if phase_weight[k, s] > 0.0:
                add_observation(a, b, index, partial, count, phase_weight[k, s], phase[k, s])
            if code_weight[k, s] > 0.0:
                add_observation(a, b, index, partial, count - 1, code_weight[k, s], code[k, s])
        if k < n - 1:
            for s in range(m):
                if ending[k, s]:
                    walk(a, b, slot[k, s], 0.0, rows, offsets, pivots, at)
                    at += 1
            at = move_forward(a, b, dt[k], noise[k], moving, rows, offsets, pivots, at)
        row_end[k] = at
    return at


@njit
def undo_walk(x, c, i, row, offset, pivot, spread, work):
    """Turn entry ``i`` back into its predecessor; with ``spread`` the covariance ``c`` too."""
    d = x.shape[0]
    value = offset
    for j in range(d):
        value += row[j] * x[j]
    x[i] = value
    if not spread:
        return
    work[:] = 0.0
    for j in range(d):
        if row[j] != 0.0:
            for k in range(d):
                work[k] += row[j] * c[j, k]
    variance = 1.0 / pivot
    for j in range(d):
        variance += row[j] * work[j]
    for j in range(d):
        c[i, j] = work[j]
        c[j, i] = work[j]
    c[i, i] = variance


@njit
def undo_shear(x, c, i, j, factor, spread):
    """Undo :func:`shear` in the estimates and their covariance."""
    x[i] -= factor * x[j]
    if spread:
        for k in range(x.shape[0]):
            c[i, k] -= factor * c[j, k]
        for k in range(x.shape[0]):
            c[k, i] -= factor * c[k, j]


@njit
def move_backward(x, c, dt, noise, moving, rows, offsets, pivots, at, spread, work):
    """Undo :func:`move_forward`; ``at`` is one past its last row. Returns its first row."""
    for i in range(9, 6, -1):
        at -= 1
        undo_walk(x, c, i, rows[at], offsets[at], pivots[at], spread, work)
    if moving:
        for i in range(3, 0, -1):
            undo_shear(x, c, i, i + 3, 0.5 * dt, spread)
            if noise[0] > 0.0:
                at -= 1
                undo_walk(x, c, i + 3, rows[at], offsets[at], pivots[at], spread, work)
            if noise[0] * dt**3 / 12.0 + noise[1] * dt + noise[4] > 0.0:
                at -= 1
                undo_walk(x, c, i, rows[at], offsets[at], pivots[at], spread, work)
            undo_shear(x, c, i, i + 3, 0.5 * dt, spread)
    at -= 1
    undo_walk(x, c, 0, rows[at], offsets[at], pivots[at], spread, work)
    return at


@njit
def backward(
    dt, noise, moving, phase, code, unit, mapping, gradient, azimuth, bias, slot, ending,
    x, c, rows, offsets, pivots, row_end, spread, states, covariance, phase_residual,
    code_residual,
):  # fmt: skip
    """Smoother: from the last state back to the first; fills states, covariances, residuals.

    ``x`` and ``c``: state and covariance at the last epoch. ``states`` (n, 10), ``covariance``
    (n, 3, 3) of east, north, up (only with ``spread``); residuals (n, m) are observed minus
    estimated, NaN where there is no slot.
    """
    n, m = phase.shape
    index = np.empty(16, np.int64)
    partial = np.empty(16)
    work = np.empty(x.shape[0])
    for k in range(n - 1, -1, -1):
        at = row_end[k]
        if k < n - 1:
            at = move_backward(
                x, c, dt[k], noise[k], moving, rows, offsets, pivots, at, spread, work
            )
            for s in range(m - 1, -1, -1):
                if ending[k, s]:
                    at -= 1
                    undo_walk(x, c, slot[k, s], rows[at], offsets[at], pivots[at], spread, work)
        for i in range(10):
            states[k, i] = x[i]
        if spread:
            for i in range(3):
                for j in range(3):
                    covariance[k, i, j] = c[1 + i, 1 + j]
        for s in range(m):
            phase_residual[k, s] = np.nan
            code_residual[k, s] = np.nan
            if slot[k, s] < 0:
                continue
            count = design(
                index, partial, unit[k, s], mapping[k, s], gradient[k, s], azimuth[k, s],
                bias[s], slot[k, s],
            )  # fmt: skip
            value = 0.0
            for p in range(count - 1):
                value += partial[p] * x[index[p]]
            code_residual[k, s] = code[k, s] - value
            phase_residual[k, s] = phase[k, s] - value - x[slot[k, s]]
