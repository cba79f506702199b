"""Compiled filter and smoother of one station whose satellites' clocks are known.

State and elimination: see ``_kernels``. Observations come packed, epoch by epoch, ``seen`` being

* ``first`` (n + 1,): those of epoch k are ``first[k]`` to ``first[k + 1]``,
* ``slot``, ``bias`` (N,): state index of the ambiguity, and of the system bias or -1,
* ``partial`` (N, 10): by the ten entries before the biases,
* ``end_first`` (n + 1,), ``end_slot``: slots given back after an epoch, in the same way.

``keep`` are the rows, offsets and pivots of all walks; those up to epoch k end at ``row_end[k]``.
"""

import numpy as np

from ..compiling import njit
from ._kernels import (
    LOCAL,
    mirror,
    move_backward,
    move_forward,
    move_values,
    pass_on,
    retire,
    undo_walk,
)


@njit
def gather(a, b, k, seen, phase, code, phase_weight, code_weight):
    """Add the observations of an epoch to matrix and vector."""
    first, slot, bias, partial = seen[0], seen[1], seen[2], seen[3]
    for o in range(first[k], first[k + 1]):
        by_phase = phase_weight[o]
        weight = by_phase + code_weight[o]
        if weight == 0.0:
            continue
        value = by_phase * phase[o] + code_weight[o] * code[o]
        h, s, t = partial[o], slot[o], bias[o]
        for i in range(LOCAL):
            b[i] += h[i] * value
            factor = weight * h[i]
            for j in range(LOCAL):
                a[i, j] += factor * h[j]
            a[i, s] += by_phase * h[i]
            if t >= 0:
                a[i, t] += factor
        a[s, s] += by_phase
        b[s] += by_phase * phase[o]
        if t >= 0:
            a[t, t] += weight
            a[s, t] += by_phase
            b[t] += value


@njit
def gather_values(b, k, seen, phase, code, phase_weight, code_weight):
    """Add the observations of an epoch to the vector alone."""
    first, slot, bias, partial = seen[0], seen[1], seen[2], seen[3]
    for o in range(first[k], first[k + 1]):
        value = phase_weight[o] * phase[o] + code_weight[o] * code[o]
        h = partial[o]
        for i in range(LOCAL):
            b[i] += h[i] * value
        b[slot[o]] += phase_weight[o] * phase[o]
        if bias[o] >= 0:
            b[bias[o]] += value


@njit
def forward(
    dt, noise, moving, prior, seen, phase, code, phase_weight, code_weight, a, b, keep, row_end
):
    """Filter: gather every epoch's observations and eliminate what does not last.

    ``dt`` (n,) seconds to the next epoch, ``noise`` (n, 5) of that step, ``prior`` (d,) inverse
    variances about 0; observations (N,) with zero weight where unused. Leaves matrix and vector of
    the last epoch.
    """
    n = dt.shape[0]
    rows, offsets, pivots = keep
    end_first, end_slot = seen[4], seen[5]
    for i in range(a.shape[0]):
        a[i, i] += prior[i]
    at = 0
    for k in range(n):
        gather(a, b, k, seen, phase, code, phase_weight, code_weight)
        if k < n - 1:
            for e in range(end_first[k], end_first[k + 1]):
                retire(a, b, end_slot[e], rows, offsets, pivots, at, LOCAL)
                at += 1
            at = move_forward(a, b, dt[k], noise[k], moving, rows, offsets, pivots, at)
        row_end[k] = at
    mirror(a, LOCAL)


@njit
def forward_values(dt, noise, moving, seen, phase, code, phase_weight, code_weight, b, keep):
    """Filter other values of the same weights: rows and pivots stay, offsets become theirs."""
    n = dt.shape[0]
    rows, offsets, pivots = keep
    end_first, end_slot = seen[4], seen[5]
    at = 0
    for k in range(n):
        gather_values(b, k, seen, phase, code, phase_weight, code_weight)
        if k < n - 1:
            for e in range(end_first[k], end_first[k + 1]):
                offsets[at] = pass_on(b, end_slot[e], rows[at], pivots[at])
                at += 1
            at = move_values(b, dt[k], noise[k], moving, rows, offsets, pivots, at)


@njit
def backward(
    dt, noise, moving, seen, phase, code, x, c, keep, row_end, spread, states, covariance,
    phase_residual, code_residual,
):  # fmt: skip
    """Smoother: from the last state back to the first; fills states, covariances, residuals.

    ``x`` and ``c``: state and covariance at the last epoch. ``states`` (n, 10), ``covariance``
    (n, 3, 3) of east, north, up (only with ``spread``); residuals (N,) are observed minus
    estimated.
    """
    n = dt.shape[0]
    rows, offsets, pivots = keep
    first, slot, bias, partial, end_first, end_slot = seen
    work = np.empty(x.shape[0])
    for k in range(n - 1, -1, -1):
        at = row_end[k]
        if k < n - 1:
            at = move_backward(
                x, c, dt[k], noise[k], moving, rows, offsets, pivots, at, spread, work
            )
            for e in range(end_first[k + 1] - 1, end_first[k] - 1, -1):
                at -= 1
                undo_walk(x, c, end_slot[e], rows[at], offsets[at], pivots[at], spread, work)
        for i in range(LOCAL):
            states[k, i] = x[i]
        if spread:
            for i in range(3):
                for j in range(3):
                    covariance[k, i, j] = c[1 + i, 1 + j]
        for o in range(first[k], first[k + 1]):
            value = 0.0
            for i in range(LOCAL):
                value += partial[o, i] * x[i]
            if bias[o] >= 0:
                value += x[bias[o]]
            code_residual[o] = code[o] - value
            phase_residual[o] = phase[o] - value - x[slot[o]]
