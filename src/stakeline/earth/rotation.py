"""The rotation of the Earth: pole, UT1, and the matrix from the celestial to the Earth's frame."""

import erfa
import numpy as np

from ..constants import NS_PER_DAY
from ..errors import ProductError
from ..time import gps_minus_utc_s, iso, julian_tt, utc_from_gps
from .interpolation import through_grid

_GRID_NS = NS_PER_DAY // 12
"""Nodes of the slow part (precession, nutation); its interpolation error is below 1e-12 rad."""


def orientation_at(orientation, time_ns):
    """Return pole, UT1 - UTC and celestial pole offsets at GPS times.

    Parameters
    ----------
    orientation : EarthOrientation or None
        Daily table; None gives zeros (up to 20 m at a satellite, 0.9 s of rotation).
    time_ns : int64 array, shape (n,)
        GPS time. [ns]

    Returns
    -------
    pole_x_rad, pole_y_rad, ut1_minus_utc_s, dx_rad, dy_rad : arrays, shape (n,)

    Raises
    ------
    ProductError
        Where a time is outside the table; it says what the table covers.

    Notes
    -----
    Linear between the days of the table (IERS Conventions (2010), section 5.1 asks for more only
    below 0.1 mas). UT1 is interpolated as UT1 - TAI so that a leap second makes no ramp. The
    diurnal and semi-diurnal tides in pole and UT1 (up to 1 mas) are not added.
    """
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    if orientation is None:
        return tuple(np.zeros(time_ns.size) for _ in range(5))
    utc_ns = utc_from_gps(time_ns)
    node = np.asarray(orientation.time_utc_ns, np.int64)
    _check_cover(node, utc_ns)
    origin = node[0]
    x, nodes = (utc_ns - origin).astype(float), (node - origin).astype(float)
    ut1_gps = np.asarray(orientation.ut1_minus_utc_s) - gps_minus_utc_s(node)
    columns = (
        orientation.pole_x_rad,
        orientation.pole_y_rad,
        ut1_gps,
        np.nan_to_num(orientation.dx_rad),
        np.nan_to_num(orientation.dy_rad),
    )
    xp, yp, ut1, dx, dy = (np.interp(x, nodes, column) for column in columns)
    return xp, yp, ut1 + gps_minus_utc_s(utc_ns), dx, dy


def _check_cover(node, utc_ns):
    if node.size == 0:
        raise ProductError("the Earth orientation table is empty; give a file with daily values")
    if utc_ns.size and (utc_ns.min() < node[0] or utc_ns.max() > node[-1]):
        raise ProductError(
            f"Earth orientation covers {iso(node[0])} to {iso(node[-1])} UTC, but "
            f"{iso(utc_ns.min())} to {iso(utc_ns.max())} is asked for; give a file that covers "
            "these days"
        )


def celestial_pole(time_ns):
    """Return X, Y and s of IAU 2006/2000A, shape (n, 3). [rad]

    IERS Conventions (2010), section 5.4.4; ERFA routine ``xys06a`` at two-hourly nodes.
    """
    return through_grid(_celestial_pole_exact, time_ns, _GRID_NS)


def _celestial_pole_exact(time_ns):
    return np.stack(erfa.xys06a(*julian_tt(time_ns)), axis=-1)


def celestial_to_terrestrial(time_ns, orientation=None):
    """Return the matrices (n, 3, 3) that turn celestial (GCRS) into Earth-fixed vectors.

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
        GPS time. [ns]
    orientation : EarthOrientation, optional
        Pole, UT1 and celestial pole offsets; without it UT1 = UTC and a pole at zero.

    Notes
    -----
    IERS Conventions (2010), equation 5.1 with the celestial intermediate origin: W(t) R(t) Q(t).
    """
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    xp, yp, ut1_utc, dx, dy = orientation_at(orientation, time_ns)
    x, y, s = celestial_pole(time_ns).T
    intermediate = erfa.c2ixys(x + dx, y + dy, s)
    pole = erfa.pom00(xp, yp, erfa.sp00(*julian_tt(time_ns)))
    return erfa.c2tcio(intermediate, earth_rotation_angle(time_ns, ut1_utc), pole)


def earth_rotation_angle(time_ns, ut1_minus_utc_s):
    """Return the Earth rotation angle at GPS times. [rad]

    IERS Conventions (2010), equation 5.15 (ERFA routine ``era00``).
    """
    utc = utc_from_gps(time_ns)
    day = 2440587.5 + utc // NS_PER_DAY  # Julian date of 1970-01-01T00: definition
    fraction = (utc % NS_PER_DAY) / NS_PER_DAY + np.asarray(ut1_minus_utc_s) / 86400.0
    return erfa.era00(day, fraction)
