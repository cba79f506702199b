"""Sun, Moon and the turning Earth of the invented world.

The world's axes do not turn; its z axis is the axis of the Earth. At ``time_s = 0`` they are the
Earth-fixed ones, which then turn by the rotation rate of the Earth. Pole at zero, UT1 = UTC.
"""

from dataclasses import dataclass

import erfa
import numpy as np

from ..constants import ASTRONOMICAL_UNIT_M, EARTH_ROTATION_RAD_S, NS_PER_S
from ..time import julian_tt, julian_utc
from .smooth import Smooth

_NODE_S = 900.0  # s; the Moon's spline is then good to metres
_BEYOND_S = 7200.0  # s, how far before and after the span the sky is known


@dataclass(frozen=True)
class Sky:
    """Sun and Moon in the axes that do not turn, as functions of ``time_s``, each (n, 3). [m]"""

    start_ns: int
    sidereal_start_rad: float  # of Greenwich, at the start
    sun: Smooth
    moon: Smooth


def make_sky(start_ns, duration_s):
    """Return the :class:`Sky` of a span that begins at GPS time ``start_ns``.

    Geometric positions of ERFA (``epv00``, ``moon98``; ``c2t06a`` to the Earth): Sun 20 arcsec,
    Moon 40 km at most from the apparent ones.
    """
    node_s = np.arange(-_BEYOND_S, duration_s + 2 * _BEYOND_S, _NODE_S)
    node_ns = start_ns + np.round(node_s * NS_PER_S).astype(np.int64)
    day, fraction = julian_tt(node_ns)
    sun_au = -erfa.epv00(day, fraction)[0]["p"]
    moon_au = erfa.moon98(day, fraction)["p"]
    to_earth = erfa.c2t06a(day, fraction, *julian_utc(node_ns), 0.0, 0.0)
    splines = []
    for celestial_au in (sun_au, moon_au):
        fixed = np.einsum("nij,nj->ni", to_earth, celestial_au) * ASTRONOMICAL_UNIT_M
        splines.append(Smooth(node_s[0], _NODE_S, to_unturned(fixed, node_s)))
    sidereal = erfa.gmst06(*julian_utc(np.int64(start_ns)), *julian_tt(np.int64(start_ns)))
    return Sky(start_ns, float(sidereal), *splines)


def to_unturned(fixed_m, time_s):
    """Return Earth-fixed vectors (..., 3) at times (...) in the axes that do not turn."""
    return _turn(fixed_m, EARTH_ROTATION_RAD_S * np.asarray(time_s))


def to_fixed(unturned_m, time_s):
    """Return vectors (..., 3) of the axes that do not turn in Earth-fixed ones at times (...)."""
    return _turn(unturned_m, -EARTH_ROTATION_RAD_S * np.asarray(time_s))


def _turn(vectors, angle_rad):
    c, s = np.cos(angle_rad), np.sin(angle_rad)
    x, y, z = np.moveaxis(np.asarray(vectors, float), -1, 0)
    return np.stack(np.broadcast_arrays(c * x - s * y, s * x + c * y, z), axis=-1)
