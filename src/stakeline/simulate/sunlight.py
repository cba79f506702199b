"""Where the sun stands over the invented glacier, and what light reaches the ground."""

import numpy as np

from ..constants import NS_PER_DAY
from ..time import MJD_UNIX_EPOCH, utc_from_gps

J2000_MJD = 51544.5  # d; definition of the epoch J2000.0
HAURWITZ_W_M2 = 1098.0  # W/m2; Haurwitz (1945), J. Meteorol. 2, clear sky, from memory
HAURWITZ_LOSS = 0.059  # -; the same
CLOUD_LOSS, CLOUD_POWER = 0.75, 3.4  # -; Kasten & Czeplak (1980), Solar Energy 24, from memory
DIFFUSE_CLEAR, DIFFUSE_CLOUD = 0.3, 0.7  # -; the same paper: diffuse share 0.3 + 0.7 cloud^2


def sun_position(time_ns, latitude_rad, longitude_rad):
    """Return (elevation, azimuth from north over east) of the sun's centre, no refraction. [rad]

    Low-precision formulas of the Astronomical Almanac, section C (0.01 deg from 1950 to 2050);
    sidereal time 18.697374558 h + 24.06570982441908 h/d (Astronomical Almanac, section B, short
    form). UT1 is taken as UTC.

    Parameters
    ----------
    time_ns : array, shape (n,)
        GPS time. [ns]
    latitude_rad, longitude_rad : float
    """
    utc = utc_from_gps(time_ns)
    day = utc // NS_PER_DAY - int(J2000_MJD - MJD_UNIX_EPOCH - 0.5) - 1
    since = day + 0.5 + (utc % NS_PER_DAY) / NS_PER_DAY
    anomaly = np.radians((357.528 + 0.9856003 * since) % 360.0)
    ecliptic = np.radians(
        (280.460 + 0.9856474 * since) % 360.0
        + 1.915 * np.sin(anomaly)
        + 0.020 * np.sin(2 * anomaly)
    )
    obliquity = np.radians(23.439 - 0.0000004 * since)
    declination = np.arcsin(np.sin(obliquity) * np.sin(ecliptic))
    ascension = np.arctan2(np.cos(obliquity) * np.sin(ecliptic), np.cos(ecliptic))
    sidereal = np.radians((18.697374558 + 24.06570982441908 * since) % 24.0 * 15.0)
    hour = sidereal + longitude_rad - ascension
    east = -np.cos(declination) * np.sin(hour)
    north = np.cos(latitude_rad) * np.sin(declination)
    north = north - np.sin(latitude_rad) * np.cos(declination) * np.cos(hour)
    up = np.sin(latitude_rad) * np.sin(declination)
    up = up + np.cos(latitude_rad) * np.cos(declination) * np.cos(hour)
    return np.arcsin(np.clip(up, -1.0, 1.0)), np.arctan2(east, north)


def irradiance(elevation_rad, cloud):
    """Return (global, diffuse) irradiance on the level ground, (n,). [W/m2]

    Clear sky 1098 sin(e) exp(-0.059 / sin(e)) (Haurwitz 1945), less 0.75 cloud^3.4, of which
    0.3 + 0.7 cloud^2 is diffuse (Kasten & Czeplak 1980).
    """
    height = np.maximum(np.sin(elevation_rad), 1e-3)
    clear = HAURWITZ_W_M2 * height * np.exp(-HAURWITZ_LOSS / height)
    total = clear * (1.0 - CLOUD_LOSS * cloud**CLOUD_POWER)
    return total, total * (DIFFUSE_CLEAR + DIFFUSE_CLOUD * cloud**2)


def on_plane(elevation_rad, azimuth_rad, total_W_m2, diffuse_W_m2, facing_rad, albedo):
    """Return the irradiance on a vertical plane that faces an azimuth, (n,). [W/m2]

    Beam by the angle of incidence; half the sky and half the ground are seen, both evenly bright
    (Liu & Jordan 1963, Solar Energy 7).
    """
    height = np.maximum(np.sin(elevation_rad), 1e-3)
    beam = (total_W_m2 - diffuse_W_m2) / height
    incidence = np.cos(elevation_rad) * np.cos(azimuth_rad - facing_rad)
    return beam * np.maximum(incidence, 0.0) + 0.5 * (diffuse_W_m2 + albedo * total_W_m2)
