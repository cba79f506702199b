"""Where satellites stand and how far away, for those that may be above the horizon.

Everything is in flat arrays (k,) of pairs of an epoch and a satellite, one satellite after the
other, each in order of time.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import GM_EARTH_M3_S2, SPEED_OF_LIGHT_M_S
from .antenna import body_axes, turning_cycles
from .ground import tide_of_the_ground
from .sky import to_fixed, to_unturned

_NODE_S = 600.0  # s, between the instants at which it is found who may be above the horizon
_BELOW_RAD = np.radians(-5.0)  # a satellite rises by half a degree a minute at most
_TRAVEL_S = 0.08  # s, usual travel time of a signal
_LIGHT_TURNS = 4


@dataclass(frozen=True)
class Sight:
    """Geometry of pairs (k,) from one antenna reference point, in axes that do not turn."""

    epoch: np.ndarray
    column: np.ndarray  # of the satellite
    sent_s: np.ndarray
    satellite_m: np.ndarray  # (k, 3)
    receiver_m: np.ndarray  # (k, 3)
    direction: np.ndarray  # (k, 3) from satellite to receiver
    elevation_rad: np.ndarray
    azimuth_rad: np.ndarray
    axes: np.ndarray  # (epochs, 3, 3) east, north, up

    def take(self, chosen):
        """Return the pairs that a mask or index array selects."""
        parts = {name: part[chosen] for name, part in vars(self).items() if name != "axes"}
        return Sight(**parts, axes=self.axes)


def look(world, station, time_s):
    """Return the :class:`Sight` at true times (n,) of all pairs above the horizon, and some more.

    The travel time is found from the state 0.08 s before reception, carried on along its
    velocity (3e-5 m off), and the state at that time is taken: 1e-9 m are left.
    """
    place = station.motion.place
    marker = station.motion.position_m(time_s) + tide_of_the_ground(place, world.sky, time_s)
    point = to_unturned(marker + station.antenna_height_m * place.axes[2], time_s)
    epoch, column = _may_be_up(world, place, time_s)
    receiver, received_s = point[epoch], time_s[epoch]
    early, velocity = world.constellation.states(received_s - _TRAVEL_S, column)
    travel_s = np.full(epoch.size, _TRAVEL_S)
    for _ in range(_LIGHT_TURNS):
        satellite = early + velocity * (_TRAVEL_S - travel_s)[:, None]
        travel_s = _length(receiver - satellite) / SPEED_OF_LIGHT_M_S
    sent_s = received_s - travel_s
    satellite, _ = world.constellation.states(sent_s, column)
    direction = receiver - satellite
    direction /= _length(direction)[:, None]
    axes = to_unturned(place.axes[None], time_s[:, None])
    east, north, up = np.einsum("kij,kj->ik", axes[epoch], -direction)
    azimuth = np.arctan2(east, north)
    return Sight(
        epoch, column, sent_s, satellite, receiver, direction, np.arcsin(up), azimuth, axes
    )


def _may_be_up(world, place, time_s):
    """Return (epoch, column) of the pairs that may be above the horizon, by satellite, then time.

    Judged by the elevation at instants 10 min apart.
    """
    count = len(world.constellation.satellites)
    node_s = np.arange(time_s[0], time_s[-1] + _NODE_S, _NODE_S)
    shape = (node_s.size, count)
    satellite, _ = world.constellation.states(np.broadcast_to(node_s[:, None], shape))
    toward = to_fixed(satellite, node_s[:, None]) - place.position_m
    up = toward @ place.axes[2] / np.linalg.norm(toward, axis=2)
    nearest = np.round((time_s - time_s[0]) / _NODE_S).astype(np.int64)
    column, epoch = np.nonzero((np.arcsin(up) > _BELOW_RAD)[nearest].T)
    return epoch, column


def bent_time_m(sight):
    """Return the delay by the Earth's gravity (k,): 2 GM/c2 times the integral of 1/r. [m]

    With s along the straight path from its point nearest to the Earth's centre, p away, that
    integral is asinh(s2/p) - asinh(s1/p). Misner, Thorne & Wheeler (1973), section 40.4.
    """
    begin, end = (_dot(at, sight.direction) for at in (sight.satellite_m, sight.receiver_m))
    p = _length(sight.receiver_m - end[:, None] * sight.direction)
    integral = np.arcsinh(end / p) - np.arcsinh(begin / p)
    return 2.0 * GM_EARTH_M3_S2 / SPEED_OF_LIGHT_M_S**2 * integral


class Antennas:
    """Ranges between phase centres, and how antennas turn, of the pairs of a :class:`Sight`."""

    def __init__(self, world, sight, time_s):
        self._world, self._sight = world, sight
        sun = world.sky.sun(time_s)[sight.epoch]
        self._body = body_axes(sight.satellite_m, sun)
        self._axes = sight.axes[sight.epoch]

    def turning_cycles(self):
        """Return by how much phases read too long as antennas turn (k,). [cycles]"""
        x, y, _ = self._body
        east, north = self._axes[:, 0], self._axes[:, 1]
        return turning_cycles(self._sight.direction, x, y, east, north)

    def path_m(self, band):
        """Return ranges between phase centres, with variations (k,); bands (m,) of satellites."""
        path = np.empty(self._sight.epoch.size)
        for name in sorted(set(band)):
            here = _run((band == name)[self._sight.column])
            path[here] = self._of_band(name, here)
        return path

    def _of_band(self, band, here):
        receiver, sender = self._world.receiver_antenna, self._world.satellite_antennas
        sight = self._sight.take(here)
        north, east, up = receiver.offset_m[band]
        there = np.einsum("i,kij->kj", [east, north, up], self._axes[here])
        offset = sender.offset_m[band][sight.column]
        body = [axis[here] for axis in self._body]
        centre = sum(offset[:, i, None] * body[i] for i in range(3))
        path = _length(sight.receiver_m + there - sight.satellite_m - centre)
        nadir = np.arccos(_dot(body[2], sight.direction))
        zenith = np.pi / 2.0 - sight.elevation_rad
        sent = sender.variation_m(band, nadir, sight.column)
        return path + sent + receiver.variation_m(band, zenith, sight.azimuth_rad)


def _run(mask):
    """Return where a mask is true: as a slice where that is one run, which copies nothing."""
    here = np.flatnonzero(mask)
    if here.size and here[-1] - here[0] + 1 == here.size:
        return slice(int(here[0]), int(here[-1]) + 1)
    return here


def _dot(one, other):
    return np.einsum("ki,ki->k", one, other)


def _length(vectors):
    return np.sqrt(_dot(vectors, vectors))


def line_of_sight(world, position_m, time_s):
    """Return the Earth-fixed satellites (n, m, 3) as signals received at times (n,) left them.

    In the axes of the reception instant. [m]

    Parameters
    ----------
    position_m : array, shape (n, 3)
        Earth-fixed receiver. [m]
    """
    receiver = to_unturned(position_m, time_s)[:, None, :]
    satellite, _ = world.constellation.states(np.asarray(time_s)[:, None] - _TRAVEL_S)
    for _ in range(_LIGHT_TURNS):
        travel_s = np.linalg.norm(receiver - satellite, axis=2) / SPEED_OF_LIGHT_M_S
        satellite, _ = world.constellation.states(np.asarray(time_s)[:, None] - travel_s)
    return to_fixed(satellite, np.asarray(time_s)[:, None])
