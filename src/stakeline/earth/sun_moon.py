"""Where the Sun and the Moon stand, in Earth-fixed metres."""

import erfa
import numpy as np

from ..constants import ASTRONOMICAL_UNIT_M, NS_PER_DAY
from ..time import julian_tt
from .interpolation import through_grid
from .rotation import celestial_to_terrestrial

_SUN_GRID_NS = NS_PER_DAY // 6
_MOON_GRID_NS = NS_PER_DAY // 24


def sun_moon(time_ns, orientation=None):
    """Return geocentric Sun and Moon in the Earth-fixed frame, each (n, 3). [m]

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
        GPS time. [ns]
    orientation : EarthOrientation, optional
        Pole and UT1; without it the frame is turned by up to 0.9 s of rotation.

    Notes
    -----
    Geometric positions (no light time, no aberration). The Sun comes from ERFA's ``epv00`` (some
    5 km), the Moon from ``moon98`` (some 10 arcsec and 20 km, of no effect on tides above
    0.01 mm); both on a coarse grid, interpolated in the inertial frame to a few metres.
    """
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    turn = celestial_to_terrestrial(time_ns, orientation)
    sun, moon = sun_moon_celestial(time_ns)
    return (turn @ sun[:, :, None])[:, :, 0], (turn @ moon[:, :, None])[:, :, 0]


def sun_moon_celestial(time_ns):
    """Return geocentric Sun and Moon in the celestial frame (GCRS axes), each (n, 3). [m]"""
    sun = through_grid(_sun_exact, time_ns, _SUN_GRID_NS)
    moon = through_grid(_moon_exact, time_ns, _MOON_GRID_NS)
    return sun, moon


def _sun_exact(time_ns):
    heliocentric, _ = erfa.epv00(*julian_tt(time_ns))
    return -heliocentric["p"] * ASTRONOMICAL_UNIT_M


def _moon_exact(time_ns):
    return erfa.moon98(*julian_tt(time_ns))["p"] * ASTRONOMICAL_UNIT_M
