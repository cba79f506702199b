"""Satellite clocks between the nodes of a table: linear, never across a missing node."""

import functools

import numpy as np

from ..constants import NS_PER_S, SPEED_OF_LIGHT_M_S
from ..tables import Clocks
from ._kernels import clock_from_nodes
from .orbits import columns_of, take_columns

LONGEST_INTERVAL_S = 900.0
"""Clocks are not interpolated over more than this; 15 min apart they still serve to see slips."""

NEAR_NODE_S = 1.0
"""A transmission this close to a lone node takes its value (signals start 0.1 s before)."""

USUAL_WALK_M2_S = 5.0e-6
"""Variance rate of a satellite clock where its own table is too short to tell. [m2/s]

The upper end of GPS clocks of 2020; Galileo masers are a hundred times steadier (measured)."""

_SAMPLES = 400
_FEWEST = 10


def clock_states(products, satellites, transmission_ns):
    """Return clock biases and the sigma of their interpolation, each (n, m).

    Parameters
    ----------
    products : Products
        Clocks are taken from ``clocks`` or, where that is None, from ``orbits``.
    satellites : array of int, shape (m,)
        Satellites asked for.
    transmission_ns : int64 array, shape (n, m)
        Transmission times. [ns]

    Returns
    -------
    clock_s, sigma_m : arrays, shape (n, m)
        NaN across a missing node, a flagged clock event, or an interval over 900 s except within
        a second of a node. Without the periodic relativity term.

    Notes
    -----
    Between nodes ``T`` apart the error of a straight line through a random walk of variance rate
    ``q`` is ``sqrt(q u (1 - u) T)`` with ``u`` the fraction passed (Brownian bridge); ``q`` of each
    clock is taken from the second differences of its nodes.
    """
    transmission_ns = np.asarray(transmission_ns, np.int64)
    table = products.orbits if products.clocks is None else products.clocks
    node_ns, bias, broken, walk = _nodes(table, tuple(map(int, satellites)))
    clock, sigma = np.empty(transmission_ns.shape), np.empty(transmission_ns.shape)
    if node_ns.size == 0 or transmission_ns.size == 0:
        clock[:], sigma[:] = np.nan, np.nan
        return clock, sigma
    reference = int(node_ns[0])
    node_s = (node_ns - reference) / NS_PER_S
    transmit_s = (transmission_ns - reference) / NS_PER_S
    interval = np.searchsorted(node_s, transmit_s[:, 0], side="right") - 1
    interval = np.clip(interval, 0, node_s.size - 1)
    limits = LONGEST_INTERVAL_S, NEAR_NODE_S
    clock_from_nodes(transmit_s, interval, node_s, bias, broken, *limits, walk, clock, sigma)
    return clock, sigma


@functools.lru_cache(maxsize=4)  # a solution asks some ten times, stations of a day alike
def _nodes(table, satellites):
    """Return nodes [ns], biases [s], breaks and walks of the wanted satellites.

    The table is of :class:`~stakeline.tables.Clocks` or of orbits with clocks.
    """
    event = None
    if isinstance(table, Clocks):
        bias = table.bias_s
    else:
        bias, event = table.clock_s, table.clock_event
    columns = columns_of(table.satellites, satellites)
    bias = take_columns(bias, columns)
    broken = np.zeros(bias.shape, bool)
    if event is not None:
        broken = np.asarray(event, bool)[:, columns]
    node_ns = np.asarray(table.time_ns, np.int64)
    if not node_ns.size:
        return node_ns, bias, broken, np.empty(0)
    node_s = (node_ns - node_ns[0]) / NS_PER_S
    return node_ns, bias, broken, walk_rates(node_s, bias)


def walk_rates(node_s, bias_s):
    """Return the variance rate of each clock (m,) from second differences of its nodes. [m2/s]

    A random walk of rate ``q`` on nodes ``T`` apart has second differences of variance ``2 q T``;
    the median is used, so that resets do not count. At most some 400 are looked at.
    """
    rate = np.full(bias_s.shape[1], USUAL_WALK_M2_S)
    if node_s.size < _FEWEST + 2:
        return rate
    middle = np.arange(1, node_s.size - 1, max(1, node_s.size // _SAMPLES))
    second = np.abs(bias_s[middle + 1] - 2.0 * bias_s[middle] + bias_s[middle - 1])
    enough = np.isfinite(second).sum(axis=0) >= _FEWEST
    if enough.any():
        # 1.4826: sigma of a normal distribution by its median absolute value
        sigma_m = 1.4826 * SPEED_OF_LIGHT_M_S * np.nanmedian(second[:, enough], axis=0)
        rate[enough] = sigma_m**2 / (2.0 * np.median(np.diff(node_s)))
    return rate
