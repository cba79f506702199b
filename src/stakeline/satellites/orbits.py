"""Satellite positions between the nodes of a table, and tables continued past their ends."""

import functools
from dataclasses import replace

import numpy as np

from ..constants import EARTH_ROTATION_RAD_S, NS_PER_S
from ._kernels import orbit_from_nodes
from .dynamics import continue_orbits

NODES = 12
"""Nodes of the polynomial. Hidden nodes of a 15-min table: 0.7 mm rms for near-circular orbits (the
table's own rounding) from 10 nodes on; for two Galileo satellites of eccentricity 0.16 15 mm with
10 and 2 mm with 12 (``validation/orbits_interpolation.py``)."""

_BEYOND_S = 1.0
"""How far outside the table a signal's start may lie (its travel takes 0.1 s)."""

_FIELDS: tuple[str, ...] = (
    "position_m",
    "velocity_m_s",
    "clock_s",
    "clock_rate",
    "position_sigma_m",
)
_FIELDS += ("clock_sigma_s", "clock_event", "clock_predicted", "manoeuvre", "orbit_predicted")


def turn_about_z(xyz, angle_rad):
    """Return vectors (..., 3) turned about the z axis by angles (...), counter-clockwise."""
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    x, y = xyz[..., 0], xyz[..., 1]
    return np.stack([c * x - s * y, s * x + c * y, xyz[..., 2]], axis=-1)


def columns_of(satellites, wanted):
    """Return the column of each wanted satellite in ``satellites``, -1 where it is missing."""
    place = {int(satellite): k for k, satellite in enumerate(satellites)}
    return np.array([place.get(int(satellite), -1) for satellite in wanted], np.intp)


def take_columns(values, columns):
    """Return ``values[:, columns]`` as float64 with NaN where a column is -1."""
    taken = np.asarray(values, float)[:, columns]
    taken[:, columns < 0] = np.nan
    return taken


def first_nodes(time_ns, present, broken, count=NODES):
    """Return the first node of the polynomial for each interval of a table and satellite.

    Parameters
    ----------
    time_ns : int64 array, shape (nodes,)
        Nodes, increasing. [ns]
    present, broken : bool arrays, shape (nodes, m)
        Whether a node exists; whether it must not be joined to the node before it.
    count : int
        Nodes of the polynomial.

    Returns
    -------
    int32 array, shape (nodes - 1, m)
        The most central window that holds the interval and no gap; -1 where there is none.

    Notes
    -----
    A gap is a missing node, a broken one, or a step longer than 1.5 times the usual one.
    """
    nodes = len(time_ns)
    chosen = np.full((max(nodes - 1, 0), present.shape[1]), -1, np.int32)
    if nodes < count:
        return chosen
    step = np.diff(time_ns)
    parted = broken[1:] | (step > 1.5 * np.median(step))[:, None]
    zero = np.zeros((1, present.shape[1]), int)
    missing_before = np.concatenate([zero, np.cumsum(~present, axis=0)])
    parted_before = np.concatenate([zero, np.cumsum(parted, axis=0)])
    start = np.arange(nodes - count + 1)
    whole = missing_before[start + count] == missing_before[start]
    whole &= parted_before[start + count - 1] == parted_before[start]
    interval = np.arange(nodes - 1)
    half = (count - 2) // 2
    for shift in sorted(range(-half, count - 1 - half), key=abs, reverse=True):
        candidate = interval - half - shift
        inside = (candidate >= 0) & (candidate < start.size)
        row = np.clip(candidate, 0, start.size - 1)
        good = inside[:, None] & whole[row]
        chosen = np.where(good, row[:, None].astype(np.int32), chosen)
    return chosen


def orbit_states(orbits, satellites, time_ns, reference_ns):
    """Return pseudo-inertial position and velocity at times, interpolated from a table.

    Parameters
    ----------
    orbits : Orbits
        The table.
    satellites : array of int, shape (m,)
        Satellites asked for.
    time_ns : int64 array, shape (n,)
        Times. [ns]
    reference_ns : int
        Instant at which the pseudo-inertial axes are the Earth-fixed ones. [ns]

    Returns
    -------
    position_m, velocity_m_s : arrays, shape (n, m, 3)
        NaN outside the table and where fewer than 12 nodes lie together.

    Notes
    -----
    Lagrange polynomial through 12 nodes in axes that do not turn with the Earth (Schenewerk
    (2003), GPS Solutions 6, 265, compares numbers of nodes). Nothing is interpolated across a
    missing node, a manoeuvre or a longer step.
    """
    time_ns = np.asarray(time_ns, np.int64)
    position = np.empty((time_ns.size, len(satellites), 3))
    velocity = np.empty_like(position)
    node_ns, table, first = _nodes(orbits, tuple(map(int, satellites)))
    if first.size == 0:
        position[:], velocity[:] = np.nan, np.nan
        return position, velocity
    node_s = (node_ns - reference_ns) / NS_PER_S
    base_s = (time_ns - reference_ns) / NS_PER_S
    table = turn_about_z(table, (EARTH_ROTATION_RAD_S * node_s)[:, None])
    interval = np.clip(np.searchsorted(node_s, base_s, side="right") - 1, 0, node_s.size - 2)
    orbit_from_nodes(base_s, interval, first, node_s, table, NODES, position, velocity)
    outside = (base_s < node_s[0] - _BEYOND_S) | (base_s > node_s[-1] + _BEYOND_S)
    position[outside], velocity[outside] = np.nan, np.nan
    return position, velocity


@functools.lru_cache(maxsize=4)  # a solution asks some ten times, stations of a day alike
def _nodes(orbits, satellites):
    """Return nodes [ns], positions (nodes, m, 3) [m] and first nodes of the wanted satellites."""
    node_ns = np.asarray(orbits.time_ns, np.int64)
    columns = columns_of(orbits.satellites, satellites)
    table = take_columns(orbits.position_m, columns)
    broken = np.zeros(table.shape[:2], bool)
    if orbits.manoeuvre is not None:
        broken = np.asarray(orbits.manoeuvre, bool)[:, columns]
    return node_ns, table, first_nodes(node_ns, np.isfinite(table).all(axis=2), broken)


_ARC_S = 3 * 3600.0
"""Length of the dynamic fit; 4, 5 and 6 h were tried and are worse by a tenth to a half."""

_LONGEST_STEP_S = 450.0
"""Longest step of its integration."""

_WORST_FIT_M = 0.05
"""A satellite whose fit leaves more than this is not continued: it was moved."""


def extend_orbits(orbits, until_ns, orientation=None, from_ns=None):
    """Return a table continued past its ends, so that a polynomial there has nodes on both sides.

    Parameters
    ----------
    orbits : Orbits
        The table, evenly spaced at its ends.
    until_ns : int
        Last instant needed; the table then reaches half a polynomial further. [ns]
    orientation : EarthOrientation, optional
        Sharpens the fit; without it pole and length of day are estimated from the orbits.
    from_ns : int, optional
        First instant needed; None leaves the beginning as it is. [ns]

    Returns
    -------
    Orbits
        The same table where it already reaches far enough; else with nodes appended (and put in
        front), marked ``orbit_predicted``, without clocks. Satellites whose last hours are not
        whole or do not fit within 5 cm are not continued.

    Notes
    -----
    The last three hours are fitted by :func:`stakeline.satellites.dynamics.continue_orbits`. Use
    the next day's table where there is one: a fit is off by 1-2 cm after 15 minutes.
    """
    spacing = int(np.median(np.diff(orbits.time_ns))) if len(orbits.time_ns) > 1 else 0
    if spacing <= 0:
        return orbits
    reach = (NODES // 2) * spacing
    after = -(-(int(until_ns) + reach - int(orbits.time_ns[-1])) // spacing)
    before = 0
    if from_ns is not None:
        before = -(-(int(orbits.time_ns[0]) - (int(from_ns) - reach)) // spacing)
    later = _continued(orbits, spacing, after, orientation)
    earlier = _continued(orbits, -spacing, before, orientation)
    if len(later) + len(earlier) == 0:
        return orbits
    new_after = orbits.time_ns[-1] + spacing * np.arange(1, len(later) + 1)
    new_before = orbits.time_ns[0] - spacing * np.arange(len(earlier), 0, -1)
    time_ns = np.concatenate([new_before, orbits.time_ns, new_after]).astype(np.int64)
    padded = {name: _padded(orbits, name, len(earlier), len(later)) for name in _FIELDS}
    padded["position_m"] = np.concatenate([earlier[::-1], orbits.position_m, later])
    padded["orbit_predicted"] = np.isin(time_ns, orbits.time_ns, invert=True)[:, None] | (
        np.zeros(len(orbits.satellites), bool)
        if padded["orbit_predicted"] is None
        else padded["orbit_predicted"]
    )
    return replace(orbits, time_ns=time_ns, **padded)


def _padded(orbits, name, before, after):
    """Return a field with rows of nothing in front and behind; None stays None."""
    value = getattr(orbits, name)
    if value is None:
        return None
    value = np.asarray(value)
    width = ((before, after),) + ((0, 0),) * (value.ndim - 1)
    fill = False if value.dtype == bool else np.nan
    return np.pad(value, width, constant_values=fill)


@functools.lru_cache(maxsize=4)  # the stations of a day share it
def _continued(orbits, spacing, count, orientation):
    """Return ``count`` nodes beyond the end (or, with negative spacing, the beginning)."""
    satellites = len(orbits.satellites)
    nothing = np.empty((0, satellites, 3))
    order = slice(None) if spacing > 0 else slice(None, None, -1)
    node_ns = np.asarray(orbits.time_ns, np.int64)[order]
    wanted = int(_ARC_S * NS_PER_S) // abs(spacing) + 1
    if count <= 0 or node_ns.size < NODES:
        return nothing
    node_ns = node_ns[-wanted:]
    uneven = np.flatnonzero(np.diff(node_ns) != spacing)
    node_ns = node_ns[uneven[-1] + 1 :] if uneven.size else node_ns
    if node_ns.size < NODES:
        return nothing
    position = np.asarray(orbits.position_m, float)[order][-node_ns.size :].copy()
    if orbits.manoeuvre is not None:
        moved = np.asarray(orbits.manoeuvre, bool)[order][-node_ns.size :].any(axis=0)
        position[:, moved] = np.nan
    position[:, ~np.isfinite(position[[0, -1]]).all(axis=(0, 2))] = np.nan
    _, velocity = orbit_states(orbits, orbits.satellites, node_ns[:1], int(node_ns[0]))
    sub_steps = int(np.ceil(abs(spacing) / NS_PER_S / _LONGEST_STEP_S))
    ahead, rms = continue_orbits(node_ns, position, velocity[0], count, orientation, sub_steps)
    ahead[:, ~(rms < _WORST_FIT_M)] = np.nan
    return ahead
