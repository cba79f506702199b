"""Slow functions of time, evaluated on a coarse grid and interpolated between its nodes."""

import numpy as np


def through_grid(function, time_ns, step_ns):
    """Return ``function(time_ns)`` by four-point interpolation on a grid of ``step_ns``.

    Parameters
    ----------
    function : callable
        Takes int64 times (n,) [ns], returns an array whose first axis is n.
    time_ns : int64 array, shape (n,)
        Times, in any order. [ns]
    step_ns : int
        Distance of the nodes; they lie on whole multiples of it, so that the result for an epoch
        does not depend on which other epochs are asked for. [ns]

    Notes
    -----
    Lagrange's cubic through the two nodes on either side; the error is at most
    3/128 step^4 |f''''|. Where fewer epochs than nodes are asked for the function is called
    directly.
    """
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    if time_ns.size == 0:
        return function(time_ns)
    cell = time_ns // step_ns
    first, last = cell.min() - 1, cell.max() + 2
    if last - first + 1 >= time_ns.size:
        return function(time_ns)
    node_value = function(np.arange(first, last + 1, dtype=np.int64) * step_ns)
    x = (time_ns - cell * step_ns) / step_ns
    weights = lagrange_weights(x)
    start = (cell - first - 1).astype(np.intp)
    shape = (-1,) + (1,) * (node_value.ndim - 1)
    total = weights[0].reshape(shape) * node_value[start]
    for k in range(1, 4):
        total += weights[k].reshape(shape) * node_value[start + k]
    return total


def lagrange_weights(x):
    """Return the weights (4, n) of the nodes -1, 0, 1, 2 for positions ``x`` in [0, 1]."""
    return np.stack(
        [
            -x * (x - 1.0) * (x - 2.0) / 6.0,
            (x + 1.0) * (x - 1.0) * (x - 2.0) / 2.0,
            -(x + 1.0) * x * (x - 2.0) / 2.0,
            (x + 1.0) * x * (x - 1.0) / 6.0,
        ]
    )
