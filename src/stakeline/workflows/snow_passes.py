"""From a day's observations and orbits to one height of the antenna above the snow."""

from dataclasses import dataclass

import numpy as np

from ..constants import EARTH_ROTATION_RAD_S, NS_PER_DAY, NS_PER_S
from ..earth.climate import climate
from ..earth.ellipsoid import enu_axes, geodetic_from_xyz
from ..satellites.broadcast import broadcast_orbits
from ..satellites.orbits import orbit_states, turn_about_z
from ..signals.reflections import (
    HIGHEST_RAD,
    LEAST_PASSES,
    LOWEST_RAD,
    agreed_height,
    arc_heights,
    bent_elevation,
    joined,
)
from ..signals.reflections_input import signal_strengths

_NODE_S = 900.0  # between nodes of satellites; sin(e) between them is good to 2e-6
_AROUND_NS = 5400 * NS_PER_S  # so far around a span passes are followed, to see them whole
_TOGETHER_S = 60.0  # s; strengths of so long are averaged, as swings last minutes; our choice
_MASK = (np.sin(LOWEST_RAD - np.radians(0.5)), np.sin(HIGHEST_RAD))  # the air lifts by some 0.2 deg


@dataclass(frozen=True)
class SnowDay:
    """Height of the antenna above the snow in one span of time, by reflections.

    ``height_m`` and ``sigma_m`` are NaN where there is none and ``said`` then tells why;
    ``passes`` had a height, ``used`` of them agree; ``arcs`` counts them by signal, ``signals``
    names these.
    """

    time_ns: int
    height_m: float
    sigma_m: float
    passes: int
    used: int
    arcs: int
    signals: tuple
    said: tuple


def snow_day(observations, products, place_m, begin_ns, end_ns, systems="GREC"):
    """Return the :class:`SnowDay` of a span.

    Parameters
    ----------
    observations : Observations
        Of the span and, where there are any, of the hours around it.
    products : Products
        Precise orbits, or broadcast messages.
    place_m : array, shape (3,)
        Of the antenna, Earth-fixed; a kilometre does not matter. [m]
    begin_ns, end_ns : int
        A pass counts where its middle lies in between. [ns]
    systems : str
        Letters of the systems used.
    """
    middle_ns = _middle(observations.time_ns, begin_ns, end_ns)
    rows, time_ns = _rows(observations, begin_ns - _AROUND_NS, end_ns + _AROUND_NS)
    strengths, notes = signal_strengths(observations, rows, systems)
    if not strengths:
        said = tuple(notes) or ("the files hold no signal strengths",)
        return SnowDay(middle_ns, np.nan, np.nan, 0, 0, 0, (), said)
    sky = _Sky(observations, products, np.asarray(place_m, float), rows, time_ns)
    parts = [arc_heights(*sky.averaged(signal)) for signal in strengths]
    inside = [(part.time_ns >= begin_ns) & (part.time_ns < end_ns) for part in parts]
    found = [
        int((np.isfinite(part.height_m) & own).sum())
        for part, own in zip(parts, inside, strict=True)
    ]
    names = tuple(signal.name for signal, n in zip(strengths, found, strict=True) if n)
    arcs = joined(*parts)
    own = (arcs.time_ns >= begin_ns) & (arcs.time_ns < end_ns)
    height, sigma, passes, used = agreed_height(arcs, own)
    said = tuple(notes) if np.isfinite(height) else (*notes, _why(int(own.sum()), passes))
    return SnowDay(middle_ns, height, sigma, passes, used, sum(found), names, said)


def snow_days(observations, products, place_m, systems="GREC"):
    """Return a :class:`SnowDay` for each GPS day of the observations; see :func:`snow_day`."""
    days = np.unique(observations.time_ns // NS_PER_DAY) * NS_PER_DAY
    return [
        snow_day(observations, products, place_m, begin, begin + NS_PER_DAY, systems)
        for begin in days.tolist()
    ]


def _middle(time_ns, begin_ns, end_ns):
    """Return the middle of the epochs between two times; of the times where there are none."""
    own = time_ns[(time_ns >= begin_ns) & (time_ns < end_ns)]
    first, last = (own[0], own[-1]) if own.size else (begin_ns, end_ns)
    return int(first + (last - first) // 2)


def _rows(observations, begin_ns, end_ns):
    """Return (rows of the epochs between two times, their times [ns])."""
    first, last = np.searchsorted(observations.time_ns, (begin_ns, end_ns))
    begin, end = observations.row_start[[first, last]]
    count = np.diff(observations.row_start[first : last + 1])
    return np.arange(begin, end), np.repeat(observations.time_ns[first:last], count)


class _Sky:
    """Elevations of rows of the observations, and the means of strengths over a minute."""

    def __init__(self, observations, products, place_m, rows, time_ns):
        self.first_row, self.time_ns = int(rows[0]), time_ns
        present = np.bincount(observations.satellite[rows]) > 0
        self.satellites = np.flatnonzero(present)
        column = (np.cumsum(present) - 1)[observations.satellite[rows]]
        sine = sine_of_elevation(products, place_m, self.satellites, column, time_ns)
        with np.errstate(invalid="ignore"):
            self.low = (sine > _MASK[0]) & (sine < _MASK[1])
        self.elevation = np.full(rows.size, np.nan)
        self.elevation[self.low] = _as_it_arrives(np.arcsin(sine[self.low]), place_m, time_ns[0])
        self.cell = time_ns // int(_TOGETHER_S * NS_PER_S)
        self.cell = (self.cell - self.cell[0]) * self.satellites.size + column

    def averaged(self, signal):
        """Return times, satellites, elevations, strengths and wavelengths, a row for a minute."""
        here = signal.rows - self.first_row
        good = self.low[here] & np.isfinite(signal.strength_dB_Hz)
        here = here[good]
        cell = self.cell[here]
        count = np.bincount(cell)
        cells = np.flatnonzero(count)
        columns = ((self.time_ns[here] - self.time_ns[0]).astype(float), self.elevation[here])
        columns += (signal.strength_dB_Hz[good], signal.wavelength_m[good])
        since, *rest = (np.bincount(cell, c)[cells] / count[cells] for c in columns)
        time_ns = self.time_ns[0] + np.round(since).astype(np.int64)
        return (time_ns, self.satellites[cells % self.satellites.size], *rest)


def _why(arcs, passes):
    """Return in words why a span has no height."""
    if not arcs:
        return "no satellite rises or sets through the elevations used"
    if passes < LEAST_PASSES:
        return f"reflections in fewer than {LEAST_PASSES} passes of satellites"
    return "the heights of passes do not agree: no level surface, or several"


def sine_of_elevation(products, place_m, satellites, column, time_ns):
    """Return the sine of the elevation (k,), in straight lines; NaN where not known.

    Cubics between nodes of value and rate (Hermite): no orbit is interpolated at each epoch.

    Parameters
    ----------
    products : Products
    place_m : array, shape (3,)
        Earth-fixed. [m]
    satellites : int array, shape (m,)
    column : int array, shape (k,)
        Which of them.
    time_ns : int64 array, shape (k,)
        Ascending. [ns]
    """
    node_s = (time_ns - time_ns[0]) / (_NODE_S * NS_PER_S)
    node = node_s.astype(np.int64)
    node_ns = time_ns[0] + np.arange(int(node[-1]) + 2) * int(_NODE_S * NS_PER_S)
    value, rate = _nodes(products, place_m, satellites, node_ns)
    u = node_s - node
    below, above = node * satellites.size + column, (node + 1) * satellites.size + column
    y, z = value.ravel(), rate.ravel() * _NODE_S
    back = 1.0 - u
    found = back * back * ((1.0 + 2.0 * u) * y[below] + u * z[below])
    return found + u * u * ((3.0 - 2.0 * u) * y[above] - back * z[above])


def _nodes(products, place_m, satellites, node_ns):
    """Return the sine of the elevation and its rate [1/s], each (nodes, satellites)."""
    if products.orbits is not None:
        place, speed = orbit_states(products.orbits, satellites, node_ns, int(node_ns[0]))
    else:
        place, speed, _ = broadcast_orbits(products.broadcast, satellites, node_ns, int(node_ns[0]))
    angle = -EARTH_ROTATION_RAD_S * (node_ns - node_ns[0])[:, None] / NS_PER_S
    place, speed = turn_about_z(place, angle), turn_about_z(speed, angle)
    speed[..., 0] += EARTH_ROTATION_RAD_S * place[..., 1]
    speed[..., 1] -= EARTH_ROTATION_RAD_S * place[..., 0]
    latitude, longitude, _ = geodetic_from_xyz(place_m)
    up = enu_axes(latitude, longitude)[2]
    away = place - place_m
    distance = np.linalg.norm(away, axis=2)
    sine = away @ up / distance
    closing = np.einsum("nmi,nmi->nm", away, speed) / distance
    return sine, (speed @ up - sine * closing) / distance


def _as_it_arrives(elevation_rad, place_m, time_ns):
    """Return elevations with the bending of the usual air of the place."""
    air = climate(*geodetic_from_xyz(place_m), time_ns)
    warmth_degC = float(np.ravel(air.temperature_K)[0]) - 273.15
    return bent_elevation(elevation_rad, float(np.ravel(air.pressure_hPa)[0]), warmth_degC)
