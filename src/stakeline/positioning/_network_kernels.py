"""Compiled elimination in time order for several receivers whose satellites' clocks are unknown.

State: ten entries of the rover (see ``_kernels``), four of each further base (clock, zenith, two
gradients), the zenith all share, biases of further signal groups by receiver, then one slot for
each ambiguity alive. Receiver 0 is the pivot: its clock is the datum, its ambiguities are none.

What is unknown of a satellite at an epoch (its clock and all that is common) is eliminated at
once: observations y_r with rows h_r and weights w_r leave sum w h h' - (sum w h)(sum w h)' / sum w.
That is the adjustment of all double differences with their correlations.
"""

import numpy as np

from ..compiling import njit
from ._kernels import LOCAL, add_observation, mirror, move_backward, move_forward, undo_walk, walk

ROVER, BASE = 10, 4  # entries of the rover and of each base beyond the pivot


@njit
def fill_row(index, partial, r, unit, wet, north, east, common, bias, slot):
    """Fill one receiver's row; return how many entries a code has (a phase has one more)."""
    count = 0
    if r > 0:
        first = 0 if r == 1 else ROVER + BASE * (r - 2)
        index[0], partial[0] = first, 1.0
        count = 1
        if r == 1:
            for i in range(3):
                index[count], partial[count] = 1 + i, unit[i]
                count += 1
            first = 6
        index[count], partial[count] = first + 1, wet
        index[count + 1], partial[count + 1] = first + 2, north
        index[count + 2], partial[count + 2] = first + 3, east
        count += 3
        if bias >= 0:
            index[count], partial[count] = bias, 1.0
            count += 1
    if common >= 0:
        index[count], partial[count] = common, wet
        count += 1
    index[count], partial[count] = slot, 1.0
    return count


@njit
def gather(a, b, k, s, value, weight, phase, unit, wet, north, east, common, bias, slot, work):
    """Add what all receivers say of one satellite at one epoch, its unknown clock eliminated."""
    index, partial, place, total = work
    touched = 0
    weights, values = 0.0, 0.0
    for r in range(value.shape[0]):
        w = weight[r, k, s]
        if w == 0.0:
            continue
        count = fill_row(
            index, partial, r, unit[k, s], wet[r, k, s], north[r, k, s], east[r, k, s], common,
            bias[r, s], slot[r, k, s],
        )  # fmt: skip
        if phase and r > 0:
            count += 1
        add_observation(a, b, index, partial, count, w, value[r, k, s])
        weights += w
        values += w * value[r, k, s]
        for p in range(count):
            i = index[p]
            if total[i] == 0.0:
                place[touched] = i
                touched += 1
            total[i] += w * partial[p]
            if total[i] == 0.0:
                total[i] = 1e-300
    if common < 0:
        for p in range(touched):
            total[place[p]] = 0.0
        return
    for p in range(touched):
        i = place[p]
        b[i] -= total[i] * values / weights
        for q in range(touched):
            a[i, place[q]] -= total[i] * total[place[q]] / weights
    for p in range(touched):
        total[place[p]] = 0.0


@njit
def advance(a, b, k, dt, noise, base_noise, moving, bases, common, keep, at):
    """Carry the state to the next epoch; return the next free row."""
    rows, offsets, pivots = keep
    at = move_forward(a, b, dt[k], noise[k], moving, rows, offsets, pivots, at)
    mirror(a, LOCAL)
    for r in range(bases):
        first = ROVER + BASE * r
        walk(a, b, first, 0.0, rows, offsets, pivots, at)
        at += 1
        for i in range(1, 4):
            walk(a, b, first + i, 1.0 / (base_noise[i] * dt[k]), rows, offsets, pivots, at)
            at += 1
    if common >= 0:
        walk(a, b, common, 1.0 / (base_noise[0] * dt[k]), rows, offsets, pivots, at)
        at += 1
    return at


@njit
def network_forward(
    dt, noise, base_noise, moving, prior, values, weights, unit, wet, north, east, layout, slot,
    end_start, end_slot, a, b, keep, row_end,
):  # fmt: skip
    """Filter. ``values`` and ``weights`` are (phase, code), each (receivers, n, m).

    ``layout`` is (bases beyond the pivot and the rover, index of the common zenith or -1, bias
    (receivers, m)); slots ``end_slot[end_start[k]:end_start[k + 1]]`` are given back after epoch k.
    """
    bases, common, bias = layout
    n = dt.shape[0]
    m = unit.shape[1]
    d = a.shape[0]
    work = (np.empty(16, np.int64), np.empty(16), np.empty(d, np.int64), np.zeros(d))
    for i in range(d):
        a[i, i] += prior[i]
    at = 0
    for k in range(n):
        for s in range(m):
            gather(a, b, k, s, values[0], weights[0], True, unit, wet, north, east, common, bias,
                   slot, work)  # fmt: skip
            gather(a, b, k, s, values[1], weights[1], False, unit, wet, north, east, common, bias,
                   slot, work)  # fmt: skip
        if k < n - 1:
            for e in range(end_start[k], end_start[k + 1]):
                walk(a, b, end_slot[e], 0.0, keep[0], keep[1], keep[2], at)
                at += 1
            at = advance(a, b, k, dt, noise, base_noise, moving, bases, common, keep, at)
        row_end[k] = at
    return at


@njit
def retreat(x, c, k, dt, noise, moving, bases, common, keep, at, spread, work):
    """Undo :func:`advance`; return its first row."""
    rows, offsets, pivots = keep
    if common >= 0:
        at -= 1
        undo_walk(x, c, common, rows[at], offsets[at], pivots[at], spread, work)
    for r in range(bases - 1, -1, -1):
        first = ROVER + BASE * r
        for i in range(3, -1, -1):
            at -= 1
            undo_walk(x, c, first + i, rows[at], offsets[at], pivots[at], spread, work)
    return move_backward(
        x, c, dt[k], noise[k], moving, rows, offsets, pivots, at, spread, work
    )  # fmt: skip


@njit
def differ(x, k, s, values, unit, wet, north, east, common, bias, slot, residual, work):
    """Fill phase and code residuals of each receiver less the pivot, observed minus estimated."""
    index, partial = work
    pivot = 0.0
    for r in range(residual.shape[1]):
        count = fill_row(
            index, partial, r, unit[k, s], wet[r, k, s], north[r, k, s], east[r, k, s], common,
            bias[r, s], slot[r, k, s],
        )  # fmt: skip
        value = 0.0
        for p in range(count):
            value += partial[p] * x[index[p]]
        if r == 0:
            pivot = value if common >= 0 else 0.0
            continue
        residual[0, r, k, s] = np.nan
        residual[1, r, k, s] = np.nan
        if slot[r, k, s] >= 0:
            residual[1, r, k, s] = values[1][r, k, s] - (value - pivot)
            residual[0, r, k, s] = values[0][r, k, s] - (value - pivot) - x[slot[r, k, s]]


@njit
def network_backward(
    dt, noise, moving, values, unit, wet, north, east, layout, slot, end_start, end_slot, x, c,
    keep, row_end, spread, states, covariance, residual, shot, shot_x, shot_c,
):  # fmt: skip
    """Smoother: fills states (n, 10), covariances (n, 3, 3), residuals (2, receivers, n, m).

    Where ``shot[k]`` is 0 or more the whole state and (with ``spread``) covariance of epoch k go to
    ``shot_x[shot[k]]`` and ``shot_c[shot[k]]``.
    """
    bases, common, bias = layout
    n, m = dt.shape[0], unit.shape[1]
    work = np.empty(x.shape[0])
    pair = (np.empty(16, np.int64), np.empty(16))
    for k in range(n - 1, -1, -1):
        at = row_end[k]
        if k < n - 1:
            at = retreat(x, c, k, dt, noise, moving, bases, common, keep, at, spread, work)
            for e in range(end_start[k + 1] - 1, end_start[k] - 1, -1):
                at -= 1
                undo_walk(
                    x, c, end_slot[e], keep[0][at], keep[1][at], keep[2][at], spread, work
                )  # fmt: skip
        for i in range(10):
            states[k, i] = x[i]
        if spread:
            for i in range(3):
                for j in range(3):
                    covariance[k, i, j] = c[1 + i, 1 + j]
        if shot[k] >= 0:
            shot_x[shot[k]] = x
            if spread:
                shot_c[shot[k]] = c
        for s in range(m):
            differ(
                x, k, s, values, unit, wet, north, east, common, bias, slot, residual, pair
            )  # fmt: skip
