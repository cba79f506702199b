"""Displacement of the ground by the solid Earth tide and the pole tide."""

import numpy as np

from ..constants import EARTH_RADIUS_M, NS_PER_DAY
from ..errors import SolutionError
from ..time import decimal_year, julian_tt, utc_from_gps
from ._kernels import body_tide, frequency_tide
from .ellipsoid import xyz_from_enu

_MASS_RATIO = np.array([332946.0482, 0.0123000371])
"""Mass of Sun and Moon in Earth masses; IERS Conventions (2010), section 7.1.1 (its routine)."""

_LOVE = (
    *(0.6078, -0.0006, 0.292, 0.0847, 0.0002, 0.015),  # h0 h2 h3 l0 l2 l3
    *(-0.0025, -0.0022, -0.0007, -0.0007),  # imaginary: h diurnal, semi-diurnal; l likewise
    *(0.0012, 0.0024),  # l(1) diurnal, semi-diurnal
)
"""Love and Shida numbers; IERS Conventions (2010), table 7.2."""

_DIURNAL = (
    np.array(
        [  # s  h  p  N' ps   R_ip   R_op   T_ip   T_op [mm]; IERS Conventions (2010), table 7.3a
            (-3, 0, 2, 0, 0, -0.01, 0.0, 0.0, 0.0),
            (-3, 2, 0, 0, 0, -0.01, 0.0, 0.0, 0.0),
            (-2, 0, 1, -1, 0, -0.02, 0.0, 0.0, 0.0),
            (-2, 0, 1, 0, 0, -0.08, 0.0, -0.01, 0.01),
            (-2, 2, -1, 0, 0, -0.02, 0.0, 0.0, 0.0),
            (-1, 0, 0, -1, 0, -0.10, 0.0, 0.0, 0.0),
            (-1, 0, 0, 0, 0, -0.51, 0.0, -0.02, 0.03),
            (-1, 2, 0, 0, 0, 0.01, 0.0, 0.0, 0.0),
            (0, -2, 1, 0, 0, 0.01, 0.0, 0.0, 0.0),
            (0, 0, -1, 0, 0, 0.02, 0.0, 0.0, 0.0),
            (0, 0, 1, 0, 0, 0.06, 0.0, 0.0, 0.0),
            (0, 0, 1, 1, 0, 0.01, 0.0, 0.0, 0.0),
            (0, 2, -1, 0, 0, 0.01, 0.0, 0.0, 0.0),
            (1, -3, 0, 0, 1, -0.06, 0.0, 0.0, 0.0),
            (1, -2, 0, -1, 0, 0.01, 0.0, 0.0, 0.0),
            (1, -2, 0, 0, 0, -1.23, -0.07, 0.06, 0.01),
            (1, -1, 0, 0, -1, 0.02, 0.0, 0.0, 0.0),
            (1, -1, 0, 0, 1, 0.04, 0.0, 0.0, 0.0),
            (1, 0, 0, -1, 0, -0.22, 0.01, 0.01, 0.0),
            (1, 0, 0, 0, 0, 12.00, -0.80, -0.67, -0.03),
            (1, 0, 0, 1, 0, 1.73, -0.12, -0.10, 0.0),
            (1, 0, 0, 2, 0, -0.04, 0.0, 0.0, 0.0),
            (1, 1, 0, 0, -1, -0.50, -0.01, 0.03, 0.0),
            (1, 1, 0, 0, 1, 0.01, 0.0, 0.0, 0.0),
            (0, 1, 0, 1, -1, -0.01, 0.0, 0.0, 0.0),  # as the routine has it; 166,564 is 1 1 0 1 -1
            (1, 2, -2, 0, 0, -0.01, 0.0, 0.0, 0.0),
            (1, 2, 0, 0, 0, -0.11, 0.01, 0.01, 0.0),
            (2, -2, 1, 0, 0, -0.01, 0.0, 0.0, 0.0),
            (2, 0, -1, 0, 0, -0.02, 0.0, 0.0, 0.0),
        ]
    )
    * np.r_[np.ones(5), np.full(4, 1e-3)]
)

_ZONAL = (
    np.array(
        [  # s  h  p  N' ps   R_ip   R_op   T_ip   T_op [mm]; IERS Conventions (2010), table 7.3b
            (0, 0, 0, 1, 0, 0.47, 0.16, 0.23, 0.07),
            (0, 2, 0, 0, 0, -0.20, -0.11, -0.12, -0.05),
            (1, 0, -1, 0, 0, -0.11, -0.09, -0.08, -0.04),
            (2, 0, 0, 0, 0, -0.13, -0.15, -0.11, -0.07),
            (2, 0, 0, 1, 0, -0.05, -0.06, -0.05, -0.03),
        ]
    )
    * np.r_[np.ones(5), np.full(4, 1e-3)]
)


def solid_tide(xyz, time_ns, sun, moon, *, restore_mean=False):
    """Return the displacement by the solid Earth tide, Earth-fixed, shape (n, 3). [m]

    Parameters
    ----------
    xyz : array, shape (3,)
        Earth-fixed station. [m]
    time_ns : int64 array, shape (n,)
        GPS time. [ns]
    sun, moon : arrays, shape (n, 3)
        Earth-fixed geocentric positions (:func:`stakeline.earth.sun_moon.sun_moon`). [m]
    restore_mean : bool, default False
        False: coordinates are conventional tide-free as those of ITRF. True: only the periodic
        part is returned (mean tide; the permanent deformation stays in the coordinate).

    Raises
    ------
    SolutionError
        Where the station is no place on Earth.

    Notes
    -----
    IERS Conventions (2010), section 7.1.1.1, step 1 (degrees 2 and 3, out-of-phase parts,
    latitude dependence) and section 7.1.1.2, step 2 (tables 7.3a and 7.3b); the permanent part is
    section 7.1.1.2, equations 7.14.
    """
    xyz = np.ascontiguousarray(xyz, float)
    radius = np.linalg.norm(xyz)
    if xyz.shape != (3,) or not 6.2e6 < radius < 6.6e6:
        raise SolutionError(f"the solid tide needs a station on the ground (3 numbers), not {xyz}")
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    xyz = _off_the_axis(xyz)
    sun, moon = np.atleast_2d(np.asarray(sun, float)), np.atleast_2d(np.asarray(moon, float))
    if not sun.shape == moon.shape == (time_ns.size, 3):
        raise SolutionError(
            f"Sun {sun.shape} and Moon {moon.shape} must be one row of three for each of the "
            f"{time_ns.size} epochs"
        )
    bodies = np.stack([sun, moon])
    out = np.zeros((time_ns.size, 3))
    body_tide(xyz, bodies, _MASS_RATIO, EARTH_RADIUS_M, _LOVE, out)
    frequency_tide(xyz, tide_arguments(time_ns), _DIURNAL, _ZONAL, out)
    return out - permanent_tide(xyz) if restore_mean else out


def _off_the_axis(xyz):
    """Return the point, moved by 1 mm where it stands exactly on the axis (no east there)."""
    return xyz if np.hypot(xyz[0], xyz[1]) > 1e-3 else xyz + np.array([1e-3, 0.0, 0.0])


def permanent_tide(xyz):
    """Return the time-independent part of the tide at a station, Earth-fixed, shape (3,). [m]

    sqrt(5/4pi) H0 (h, l) with H0 = -0.31460 m and the latitude-dependent Love numbers:
    IERS Conventions (2010), section 7.1.1.2, equations 7.14.
    """
    x, y, z = np.asarray(xyz, float) / np.linalg.norm(xyz)
    cos_lat, sin_lat = np.hypot(x, y), z
    h0, h2, _, l0, l2 = _LOVE[:5]
    factor = np.sqrt(5.0 / (4.0 * np.pi)) * -0.31460
    dependence = 1.0 - 1.5 * cos_lat**2
    up = factor * (h0 + h2 * dependence) * (1.5 * sin_lat**2 - 0.5)
    north = factor * (l0 + l2 * dependence) * 3.0 * cos_lat * sin_lat
    return xyz_from_enu([0.0, north, up], np.arctan2(sin_lat, cos_lat), np.arctan2(y, x))


def tide_arguments(time_ns):
    """Return Doodson's tau, s, h, p, N', ps as the step-2 corrections use them, (n, 6). [rad]

    Polynomials of the routine that goes with IERS Conventions (2010), section 7.1.1.2; tau grows
    with UT (here UTC: less than 0.9 s apart, 1e-4 of a correction of 12 mm), the rest with TT.
    """
    day, fraction = julian_tt(time_ns)
    t = ((day - 2451545.0) + fraction) / 36525.0
    hours = (utc_from_gps(time_ns) % NS_PER_DAY) / NS_PER_DAY * 24.0
    s = _polynomial(t, 218.31664563, 481267.88194, -0.0014663889, 0.00000185139)
    tau = hours * 15.0 - s
    tau += _polynomial(t, 280.4606184, 36000.7700536, 0.00038793, -0.0000000258)
    s += _polynomial(t, 0.0, 1.396971278, 0.000308889, 0.000000021, 0.000000007)
    columns = (
        tau,
        s,
        _polynomial(t, 280.46645, 36000.7697489, 0.00030322222, 0.000000020, -0.00000000654),
        _polynomial(t, 83.35324312, 4069.01363525, -0.01032172222, -0.0000124991, 5.263e-8),
        _polynomial(t, 234.95544499, 1934.13626197, -0.00207561111, -0.00000213944, 1.65e-8),
        _polynomial(t, 282.93734098, 1.71945766667, 0.00045688889, -0.00000001778, -3.34e-9),
    )
    return np.ascontiguousarray(np.radians(np.stack(columns, axis=-1) % 360.0))


def _polynomial(t, *coefficients):
    return np.polynomial.polynomial.polyval(t, coefficients)


def secular_pole(time_ns):
    """Return x and y of the secular pole, each (n,). [rad]

    IERS Conventions (2010), section 7.1.4, update of 1 February 2018, equation 21:
    x = 55.0 + 1.677 (t - 2000), y = 320.5 + 3.460 (t - 2000) mas.
    """
    years = decimal_year(np.atleast_1d(np.asarray(time_ns, np.int64))) - 2000.0
    mas = np.radians(1.0 / 3.6e6)
    return (55.0 + 1.677 * years) * mas, (320.5 + 3.460 * years) * mas


def pole_tide(xyz, time_ns, xp_rad, yp_rad):
    """Return the displacement by the pole tide, Earth-fixed, shape (n, 3). [m]

    Parameters
    ----------
    xyz : array, shape (3,)
        Earth-fixed station. [m]
    time_ns : int64 array, shape (n,)
        GPS time. [ns]
    xp_rad, yp_rad : arrays, shape (n,)
        Pole (:func:`stakeline.earth.rotation.orientation_at`). [rad]

    Notes
    -----
    IERS Conventions (2010), equations 7.24 and 7.26, with the secular pole of the 2018 update.
    """
    x, y, z = np.asarray(xyz, float) / np.linalg.norm(xyz)
    longitude, latitude = np.arctan2(y, x), np.arcsin(z)
    mean_x, mean_y = secular_pole(time_ns)
    arcsec = np.degrees(1.0) * 3600.0
    m1, m2 = (xp_rad - mean_x) * arcsec, -(yp_rad - mean_y) * arcsec
    enu = pole_tide_enu(np.pi / 2.0 - latitude, longitude, m1, m2)
    return xyz_from_enu(enu, latitude, longitude)


def pole_tide_enu(colatitude_rad, longitude_rad, m1_arcsec, m2_arcsec):
    """Return east, north, up (..., 3) of the pole tide. [m]

    IERS Conventions (2010), equation 7.26, whose horizontal axes are south and east.
    """
    sin_lon, cos_lon = np.sin(longitude_rad), np.cos(longitude_rad)
    along = m1_arcsec * cos_lon + m2_arcsec * sin_lon
    across = m1_arcsec * sin_lon - m2_arcsec * cos_lon
    up = -33e-3 * np.sin(2.0 * colatitude_rad) * along
    north = 9e-3 * np.cos(2.0 * colatitude_rad) * along
    east = 9e-3 * np.cos(colatitude_rad) * across
    return np.stack([east, north, up], axis=-1)
