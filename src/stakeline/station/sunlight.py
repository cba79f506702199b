"""Where the Sun stands over a station, how strong it is above the air, how long the night lasts."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.interpolate import CubicSpline

from ..constants import ASTRONOMICAL_UNIT_M, NS_PER_DAY, NS_PER_S, SPEED_OF_LIGHT_M_S
from ..earth.ellipsoid import enu_from_xyz, xyz_from_geodetic
from ..earth.rotation import celestial_to_terrestrial
from ..earth.sun_moon import sun_moon_celestial
from ..errors import SettingsError

SOLAR_CONSTANT_W_M2 = 1361.0  # W/m2; Kopp & Lean (2011), Geophys. Res. Lett. 38, L01706
LIGHT_TIME_NS = round(ASTRONOMICAL_UNIT_M / SPEED_OF_LIGHT_M_S * NS_PER_S)  # ns; Sun to Earth
SUNRISE_DEG = -0.8333  # deg; 16' radius and 34' refraction, Astronomical Almanac, section A
CIVIL_TWILIGHT_DEG = -6.0  # deg; Astronomical Almanac, section M
NIGHT_STEP_NS = 600 * NS_PER_S  # ns; between looks for the day's highest Sun, own choice


@dataclass(frozen=True)
class SunCourse:
    """The Sun as seen from one place, at n times.

    Attributes
    ----------
    elevation_rad : array, shape (n,)
        Of the centre, without refraction.
    azimuth_rad : array, shape (n,)
        From north over east, 0 to 2 pi.
    distance_au : array, shape (n,)
        In astronomical units.
    """

    elevation_rad: np.ndarray
    azimuth_rad: np.ndarray
    distance_au: np.ndarray

    @property
    def above_air_W_m2(self):
        """Irradiance above the air on a plane across the beam (n,), also by night. [W/m2]"""
        return SOLAR_CONSTANT_W_M2 / self.distance_au**2


def sun_course(time_ns, latitude_rad, longitude_rad, height_m=0.0):
    """Return the :class:`SunCourse` of a place, (n,).

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
        GPS time. [ns]
    latitude_rad, longitude_rad, height_m : float
        Of the station.

    Raises
    ------
    SettingsError
        Where the latitude is not between -pi/2 and pi/2.

    Notes
    -----
    The Sun of ``earth.sun_moon`` where it stood 499 s earlier (light time, which for the Sun is
    the annual aberration too), seen from the station, not from the geocentre. UT1 is taken as UTC
    (0.004 deg at most); otherwise good to 0.001 deg.
    """
    if not abs(latitude_rad) <= 0.5 * np.pi:
        raise SettingsError(
            f"latitude {np.degrees(latitude_rad):g} deg: expected -90 to 90 deg, given in radians"
        )
    fixed = _apparent_sun(time_ns)
    station = xyz_from_geodetic(latitude_rad, longitude_rad, height_m)
    east, north, up = enu_from_xyz(fixed - station, latitude_rad, longitude_rad).T
    return SunCourse(
        elevation_rad=np.arctan2(up, np.hypot(east, north)),
        azimuth_rad=np.arctan2(east, north) % (2.0 * np.pi),
        distance_au=np.linalg.norm(fixed, axis=1) / ASTRONOMICAL_UNIT_M,
    )


def sun_course_of_days(time_ns, latitude_rad, longitude_rad, height_m=0.0):
    """Return the :class:`SunCourse` of a place for long spans, from one Sun a day.

    As :func:`sun_course`, to 0.000001 deg: direction and distance from the Earth's middle run
    smoothly from day to day, but for the Earth's even turn, and are splined between days.
    """
    time_ns = np.asarray(time_ns, np.int64)
    first = int(time_ns.min()) - NS_PER_DAY
    smooth = _daily_sun(first, (int(time_ns.max()) - first) // NS_PER_DAY + 3)
    place = (time_ns - first) / NS_PER_DAY
    behind, declination, distance = smooth(place).T
    turned = behind - 2.0 * np.pi * (place % 1.0)
    flat = np.cos(declination)
    fixed = np.column_stack(
        [flat * np.cos(turned), flat * np.sin(turned), np.sin(declination)]
    ) * distance[:, None]  # fmt: skip
    station = xyz_from_geodetic(latitude_rad, longitude_rad, height_m)
    east, north, up = enu_from_xyz(fixed - station, latitude_rad, longitude_rad).T
    return SunCourse(
        elevation_rad=np.arctan2(up, np.hypot(east, north)),
        azimuth_rad=np.arctan2(east, north) % (2.0 * np.pi),
        distance_au=distance / ASTRONOMICAL_UNIT_M,
    )


@lru_cache(maxsize=4)
def _daily_sun(first_ns, count):
    """Return the spline of the Earth-fixed Sun by day: turn left over, declination, distance.

    The same for every place, and most of the cost of a year: the last ones are kept.
    """
    days = np.arange(count)
    east, north, up = _apparent_sun(first_ns + days * NS_PER_DAY).T
    level = np.hypot(east, north)
    behind = np.unwrap(np.arctan2(north, east))  # at the same UTC each day: drifts slowly
    return CubicSpline(days, np.column_stack([behind, np.arctan2(up, level), np.hypot(level, up)]))


def _apparent_sun(time_ns):
    """Return where the geocentre sees the Sun, Earth-fixed (n, 3). [m]"""
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    celestial, _ = sun_moon_celestial(time_ns - LIGHT_TIME_NS)
    return np.einsum("nij,nj->ni", celestial_to_terrestrial(time_ns), celestial)


def refraction_rad(elevation_rad, pressure_Pa=101325.0, temperature_degC=10.0):
    """Return by how much air lifts the Sun, as an array. [rad]

    Saemundsson (1986), Sky & Telescope 72, as used by Reda & Andreas (2008), NREL/TP-560-34302,
    equation 42; zero where the upper limb is below the horizon. Near the horizon the air over
    cold snow can lift it by degrees more for hours: no formula knows.
    """
    degrees = np.degrees(np.asarray(elevation_rad, float))
    lowest = np.maximum(degrees, -1.0)
    minutes = 1.02 / np.tan(np.radians(lowest + 10.3 / (lowest + 5.11)))
    air = pressure_Pa / 101000.0 * 283.0 / (273.0 + np.asarray(temperature_degC, float))
    return np.where(degrees >= SUNRISE_DEG, np.radians(minutes / 60.0) * air, 0.0)


def declination_rad(time_ns):
    """Return the Sun's declination of date, from the geocentre (n,). [rad]"""
    fixed = _apparent_sun(time_ns)
    return np.arcsin(fixed[:, 2] / np.linalg.norm(fixed, axis=1))


def half_day_rad(latitude_rad, declination_rad, lowest_deg=0.0):
    """Return the hour angle at which the Sun passes ``lowest_deg``: 0 by night, pi by day. [rad]

    cos H = (sin h - sin lat sin dec) / (cos lat cos dec).
    """
    up = np.sin(np.radians(lowest_deg)) - np.sin(latitude_rad) * np.sin(declination_rad)
    across = np.cos(latitude_rad) * np.cos(declination_rad)
    return np.arccos(np.clip(up / np.maximum(across, 1e-12), -1.0, 1.0))


def daily_above_air_W_m2(latitude_rad, declination_rad, distance_au=1.0):
    """Return the day's mean irradiance of level ground above the air, as an array. [W/m2]

    S / (pi r^2) (H sin lat sin dec + cos lat cos dec sin H), H the half day (Milankovitch; Iqbal
    1983, An Introduction to Solar Radiation, equation 4.2.19).
    """
    half = half_day_rad(latitude_rad, declination_rad)
    mean = half * np.sin(latitude_rad) * np.sin(declination_rad)
    mean = mean + np.cos(latitude_rad) * np.cos(declination_rad) * np.sin(half)
    return SOLAR_CONSTANT_W_M2 / (np.pi * np.asarray(distance_au, float) ** 2) * mean


def dark_days(start_ns, days, latitude_rad, longitude_rad, highest_deg=0.0):
    """Return in which days the Sun's centre stays below ``highest_deg`` (days,).

    Parameters
    ----------
    start_ns : int
        GPS time of the first day's beginning. [ns]
    days : int
    latitude_rad, longitude_rad : float
    highest_deg : float
        0 for the geometric horizon, ``SUNRISE_DEG`` for the upper limb as seen,
        ``CIVIL_TWILIGHT_DEG`` for days without civil twilight.
    """
    elevation = _daily_elevation(start_ns, days, latitude_rad, longitude_rad)
    return elevation.max(axis=1) < np.radians(highest_deg)


def bright_days(start_ns, days, latitude_rad, longitude_rad, lowest_deg=0.0):
    """Return in which days the Sun's centre stays above ``lowest_deg`` (days,)."""
    elevation = _daily_elevation(start_ns, days, latitude_rad, longitude_rad)
    return elevation.min(axis=1) > np.radians(lowest_deg)


def _daily_elevation(start_ns, days, latitude_rad, longitude_rad):
    """Return the Sun's elevation every ten minutes (days, 144). [rad]"""
    a_day = NS_PER_DAY // NIGHT_STEP_NS
    time_ns = start_ns + NIGHT_STEP_NS * np.arange(days * a_day)
    course = sun_course(time_ns, latitude_rad, longitude_rad)
    return course.elevation_rad.reshape(days, a_day)
