"""A place on the invented world, and how the tide of the solid Earth moves it."""

from dataclasses import dataclass

import numpy as np

from ..constants import (
    EARTH_RADIUS_M,
    EARTH_ROTATION_RAD_S,
    GM_EARTH_M3_S2,
    GM_MOON_M3_S2,
    GM_SUN_M3_S2,
    WGS84_A_M,
    WGS84_INVERSE_FLATTENING,
)
from .sky import to_fixed

LOVE_H = {2: 0.6078, 3: 0.292}  # -; IERS Conventions (2010), table 7.2
LOVE_L = {2: 0.0847, 3: 0.015}  # -; IERS Conventions (2010), table 7.2
LOVE_H_BY_LATITUDE, LOVE_L_BY_LATITUDE = -0.0006, 0.0002  # -; the same table
K1_HEIGHT_M = -0.0253  # m; IERS Standards (1992), chapter 7, correction of the tide K1


@dataclass(frozen=True)
class Place:
    """A point on the ellipsoid WGS 84: latitude, longitude [rad], height [m]."""

    latitude_rad: float
    longitude_rad: float
    height_m: float

    @property
    def position_m(self):
        """Earth-fixed coordinates (3,), from the normal and the curvature across the meridian."""
        f = 1.0 / WGS84_INVERSE_FLATTENING
        up = self.axes[2]
        squeezed = np.array([1.0, 1.0, (1.0 - f) ** 2]) * up
        return WGS84_A_M / np.sqrt(up @ squeezed) * squeezed + self.height_m * up

    @property
    def axes(self):
        """Unit vectors east, north, up as the rows of a matrix (3, 3)."""
        east = np.array([-np.sin(self.longitude_rad), np.cos(self.longitude_rad), 0.0])
        level = np.array([np.cos(self.longitude_rad), np.sin(self.longitude_rad), 0.0])
        up = np.cos(self.latitude_rad) * level + np.array([0.0, 0.0, np.sin(self.latitude_rad)])
        return np.array([east, np.cross(up, east), up])


def tide_of_the_ground(place, sky, time_s):
    """Return the displacement by the solid Earth tide, Earth-fixed, (n, 3). [m]

    Degrees 2 and 3 of the tidal potential V of Sun and Moon: h V/g up, l grad V / g along the
    ground (Love's theory; Melchior 1983, The Tides of the Planet Earth, chapter 2), in phase, with
    Love numbers that depend on latitude; and the one correction by frequency of the IERS Standards
    (1992), for K1. Love numbers go with the equatorial radius (the true one would make it 1.3 %
    less near the pole). Left out: parts out of phase, of toroidal motion (l1) and corrections of
    other tides; at 79 deg north this leaves 0.7 mm rms level, 0.3 mm up, at most 1.5 mm.
    """
    time_s = np.asarray(time_s, float)
    position = place.position_m
    radius = EARTH_RADIUS_M
    up = position / np.linalg.norm(position)
    gravity = GM_EARTH_M3_S2 / radius**2
    by_latitude = 1.5 * up[2] ** 2 - 0.5
    h = LOVE_H | {2: LOVE_H[2] + LOVE_H_BY_LATITUDE * by_latitude}
    el = LOVE_L | {2: LOVE_L[2] + LOVE_L_BY_LATITUDE * by_latitude}
    moved = np.zeros((time_s.size, 3))
    for body, gm in ((sky.sun, GM_SUN_M3_S2), (sky.moon, GM_MOON_M3_S2)):
        fixed = to_fixed(body(time_s), time_s)
        distance = np.linalg.norm(fixed, axis=1)
        toward = fixed / distance[:, None]
        x = toward @ up
        along = toward - x[:, None] * up
        legendre = {2: (1.5 * x**2 - 0.5, 3.0 * x), 3: (2.5 * x**3 - 1.5 * x, 7.5 * x**2 - 1.5)}
        for degree, (value, slope) in legendre.items():
            scale = gm / distance * (radius / distance) ** degree / gravity
            moved += (scale * h[degree] * value)[:, None] * up
            moved += (scale * el[degree] * slope)[:, None] * along
    return moved + _k1(place, sky, time_s)[:, None] * up


def _k1(place, sky, time_s):
    """Return the height by the resonance at K1 (n,). [m]

    -0.0253 m sin(lat) cos(lat) sin(sidereal time + longitude).
    """
    sidereal = sky.sidereal_start_rad + EARTH_ROTATION_RAD_S * time_s
    factor = K1_HEIGHT_M * np.sin(place.latitude_rad) * np.cos(place.latitude_rad)
    return factor * np.sin(sidereal + place.longitude_rad)
