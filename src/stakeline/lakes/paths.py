"""The water's way from a lake: a line with true distances, stations beside it, times of passing."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError
from . import _kernels
from .grid import MapGrid, checked_field
from .routing import ENDS

SMOOTH_CELLS = 3  # cells before and after that a point of a line is the mean of; choice


@dataclass(frozen=True, eq=False)
class Route:
    """The water's way from the lowest head of a lake to where it leaves the grid.

    Attributes
    ----------
    lake : str
    grid : MapGrid
    row, column : arrays, shape (k,)
        Cells in the order of the flow.
    x_m, y_m : arrays, shape (k,)
        The line through them, the steps of the grid smoothed away. [m]
    distance_m : array, shape (k,)
        True length from the lake's outlet (the last cell inside the lake); negative before. [m]
    head_m : array, shape (k,)
        Filled head: never rising.
    end : str
        Where it ends, in words of :data:`~stakeline.lakes.routing.ENDS`.
    """

    lake: str
    grid: MapGrid
    row: np.ndarray
    column: np.ndarray
    x_m: np.ndarray
    y_m: np.ndarray
    distance_m: np.ndarray
    head_m: np.ndarray
    end: str

    @property
    def length_m(self):
        """True length from the outlet to the end. [m]"""
        return float(self.distance_m[-1])

    @property
    def downstream(self):
        """True (k,) from the outlet on."""
        return self.distance_m >= 0.0


@dataclass(frozen=True, eq=False)
class Beside:
    """Where places lie beside a route.

    Attributes
    ----------
    along_m : array, shape (p,)
        True distance along the route from the lake's outlet at the nearest point; negative above
        it. [m]
    off_m : array, shape (p,)
        True distance from the route, positive to the left looking downstream. [m]
    beyond : array of bool, shape (p,)
        The nearest point is the end of the route: the place may lie below it.
    """

    along_m: np.ndarray
    off_m: np.ndarray
    beyond: np.ndarray

    def passed(self, reach_m):
        """Return True (p,) where the lake's water passes within a distance."""
        return (np.abs(self.off_m) <= reach_m) & (self.along_m >= 0.0)


def follow(drainage, lake, name="lake"):
    """Return the :class:`Route` of a lake's water.

    Parameters
    ----------
    drainage : Drainage
    lake : array of bool, shape (m, n)
        Cells of the lake, e.g. :meth:`~stakeline.lakes.grid.MapGrid.inside`.
    name : str

    Raises
    ------
    SettingsError
        Where the lake has no cell, cells without data, or touches the place where the water leaves.

    Notes
    -----
    One cell after another by least transversal deviation (Orlandini et al. 2003, Water Resour.
    Res. 39(6), 1144, all deviations remembered), on the facets of Tarboton (1997), Water Resour.
    Res. 33, figure 2. Through sinks the way goes by the fewest cells to their outlet. The line is
    the mean over seven cells, so that its length is not that of a staircase.
    """
    cells = drainage.cells
    lake = checked_field(cells.grid, lake, name, bool)
    check_lake(cells, lake, name)
    flat = cells.bordered(lake, False)
    inside = np.flatnonzero(flat)
    start = inside[np.argmin(drainage.head[inside])]
    path = np.empty(drainage.order.size, np.int32)
    arguments = drainage.level, drainage.back, cells.offsets, cells.distance_m
    path = path[: _kernels.trace(*arguments, start, path)].copy()
    outlet = np.flatnonzero(flat[path])[-1]
    row, column = cells.row_column(path)
    x, y = _smooth(cells.grid.x_m[column]), _smooth(cells.grid.y_m[row])
    distance = line_lengths_m(cells.grid, x, y)
    head = drainage.level[path].astype(float)
    end = ENDS[cells.leaves[path[-1]]]
    return Route(name, cells.grid, row, column, x, y, distance - distance[outlet], head, end)


def check_lake(cells, lake, name):
    """Raise SettingsError for a lake without cells, or with cells that hold no water's way."""
    missing = np.count_nonzero(lake & ~cells.within(cells.carries))
    if missing or not lake.any():
        raise SettingsError(
            f"lake '{name}' has {np.count_nonzero(lake)} cells, {missing} of them without surface "
            "or bed: a lake needs data below all of it"
        )
    reached = cells.within(cells.leaves)[lake].max()
    if reached:
        raise SettingsError(
            f"lake '{name}' reaches the {ENDS[reached]}, where water leaves: its route would have "
            "no length; take a larger grid, or look at the outline"
        )


def line_lengths_m(grid, x_m, y_m):
    """Return true distances along a line of map coordinates (k,), from its start. [m]"""
    middle = 0.5 * (x_m[1:] + x_m[:-1]), 0.5 * (y_m[1:] + y_m[:-1])
    step = np.hypot(np.diff(x_m), np.diff(y_m)) / grid.scale(*middle)
    return np.concatenate([[0.0], np.cumsum(step)])


def _smooth(values):
    """Return means over as many cells before as after, fewer near the ends, which stay."""
    index = np.arange(values.size)
    half = np.minimum(SMOOTH_CELLS, np.minimum(index, index[::-1]))
    total = np.concatenate([[0.0], np.cumsum(values - values[0])])
    return values[0] + (total[index + half + 1] - total[index - half]) / (2 * half + 1)


def beside(route, x_m, y_m):
    """Return where places on the map (p,) lie beside a route: :class:`Beside`."""
    place = np.atleast_1d(np.asarray(x_m, float)) + 1j * np.atleast_1d(np.asarray(y_m, float))
    line = route.x_m + 1j * route.y_m
    step = np.diff(line)
    kept = np.abs(step) > 0.0
    start, step = line[:-1][kept], step[kept]
    before, after = route.distance_m[:-1][kept], route.distance_m[1:][kept]
    local = (place[:, None] - start) / step
    share = np.clip(local.real, 0.0, 1.0)
    gap = np.abs(local - share) * np.abs(step)
    best = np.argmin(gap, axis=1)
    pick = np.arange(place.size), best
    side = np.where(local.imag[pick] >= 0.0, 1.0, -1.0)
    off = side * gap[pick] / route.grid.scale(place.real, place.imag)
    along = before[best] + share[pick] * (after[best] - before[best])
    return Beside(along, off, (best == step.size - 1) & (local.real[pick] > 1.0))


def lakes_on(route, places, names):
    """Return the lakes a route enters below its own: (name, entry, exit) with distances. [m]

    ``places`` (m, n) holds the numbers 1.. of the lakes in ``names``; 0 elsewhere.
    """
    number = np.where(route.downstream, places[route.row, route.column], 0)
    found = []
    for k in dict.fromkeys(number[number > 0]):
        at = np.flatnonzero(number == k)
        if names[k - 1] != route.lake:
            found.append((names[k - 1], *route.distance_m[at[[0, -1]]].tolist()))
    return tuple(found)


def parting_m(route, other, tolerance_m):
    """Return the distance along a route at which another first lies farther off than a tolerance.

    NaN where they stay together. [m]
    """
    below = route.downstream
    away = np.abs(beside(other, route.x_m[below], route.y_m[below]).off_m) > tolerance_m
    return float(route.distance_m[below][np.argmax(away)]) if away.any() else np.nan


@dataclass(frozen=True, eq=False)
class Arrival:
    """When water that leaves a lake would pass places, by its speed.

    Attributes
    ----------
    speed_m_s : array, shape (v,)
    delay_s : array, shape (p, v)
        Time since leaving the outlet; NaN where the route does not pass. [s]
    """

    speed_m_s: np.ndarray
    delay_s: np.ndarray

    def window_ns(self, start_ns, end_ns=None):
        """Return (earliest, latest) GPS times of places passed, as pairs (p, 2). [ns]

        ``start_ns`` is when water began to leave, ``end_ns`` the latest that it may have been.
        Places not passed have the least int64, which numpy calls "not a time".
        """
        times = np.full((len(self.delay_s), 2), np.iinfo(np.int64).min)
        passed = np.isfinite(self.delay_s).all(axis=1)
        delay_ns = np.round(self.delay_s[passed] * 1e9).astype(np.int64)
        times[passed, 0] = start_ns + delay_ns.min(axis=1)
        times[passed, 1] = (start_ns if end_ns is None else end_ns) + delay_ns.max(axis=1)
        return times


def arrival_times(places, speed_m_s, reach_m=5000.0):
    """Return :class:`Arrival` at places beside a route.

    Parameters
    ----------
    places : Beside
        Of :func:`beside`.
    speed_m_s : array, shape (v,)
        Speeds of the front of the water, such as a range of 0.01 to 1. [m/s]
    reach_m : float
        Farthest off the route at which water still passes. [m]

    Raises
    ------
    SettingsError
        For a speed that is not positive.

    Notes
    -----
    Distance over speed: a lake on the way that must first fill, or water that spreads and comes
    late, is not in it.
    """
    speed = np.atleast_1d(np.asarray(speed_m_s, float))
    if not (np.isfinite(speed) & (speed > 0.0)).all():
        raise SettingsError(f"water speeds of {speed.tolist()} m/s; expected positive ones")
    along = np.where(places.passed(reach_m) & ~places.beyond, places.along_m, np.nan)
    return Arrival(speed, along[:, None] / speed)
