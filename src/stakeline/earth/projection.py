"""Polar stereographic map coordinates, with the scale that a map speed must be divided by."""

from dataclasses import dataclass

import numpy as np

from ..constants import WGS84_A_M, WGS84_INVERSE_FLATTENING
from ..errors import SettingsError


@dataclass(frozen=True)
class PolarStereographic:
    """A polar stereographic map: true scale at one parallel, one meridian straight up or down.

    ``true_scale_rad`` is the parallel of true scale; its sign says which pole is in the middle.
    Formulas: IOGP Guidance Note 7-2 (373-7-2, 2019), section 3.2.2 (EPSG method 9829, variant B).
    """

    true_scale_rad: float
    central_longitude_rad: float = 0.0
    false_easting_m: float = 0.0
    false_northing_m: float = 0.0
    a_m: float = WGS84_A_M
    inverse_flattening: float = WGS84_INVERSE_FLATTENING

    def __post_init__(self):
        if not 0.0 < abs(self.true_scale_rad) <= np.pi / 2.0:
            raise SettingsError(
                f"the parallel of true scale is {np.degrees(self.true_scale_rad)} deg; a polar map "
                "needs one between the equator and a pole, such as 70 or -71 deg"
            )

    @property
    def pole(self):
        """1 in the north, -1 in the south."""
        return 1.0 if self.true_scale_rad > 0.0 else -1.0

    @property
    def eccentricity(self):
        """First eccentricity of the ellipsoid; no unit."""
        flattening = 1.0 / self.inverse_flattening
        return np.sqrt(flattening * (2.0 - flattening))

    def forward(self, latitude_rad, longitude_rad):
        """Return easting and northing. [m]"""
        t = self._t(self.pole * np.asarray(latitude_rad, float))
        angle = np.asarray(longitude_rad, float) - self.central_longitude_rad
        rho = self._radius(t)
        easting = self.false_easting_m + rho * np.sin(angle)
        return easting, self.false_northing_m - self.pole * rho * np.cos(angle)

    def inverse(self, easting_m, northing_m):
        """Return geodetic latitude and longitude, longitude in (-pi, pi]. [rad]"""
        x = np.asarray(easting_m, float) - self.false_easting_m
        y = -self.pole * (np.asarray(northing_m, float) - self.false_northing_m)
        chi = np.pi / 2.0 - 2.0 * np.arctan(np.hypot(x, y) / self._radius(1.0))
        longitude = self.central_longitude_rad + np.arctan2(x, y)
        longitude = np.pi - np.mod(np.pi - longitude, 2.0 * np.pi)
        return self.pole * self._geodetic(chi), longitude

    def point_scale(self, latitude_rad):
        """Return length on the map over length on the ellipsoid; no unit.

        Snyder (1987), USGS Professional Paper 1395, equation 21-32. The same in every direction.
        """
        latitude = self.pole * np.asarray(latitude_rad, float)
        t = self._t(latitude)
        m = self._m(latitude)
        at_pole = np.pi / 2.0 - latitude < 1e-8
        ratio = t / np.where(at_pole, 1.0, m)
        # towards the pole t/m goes to sqrt((1 + e)^(1 + e) (1 - e)^(1 - e)) / 2 (equation 21-35)
        e = self.eccentricity
        limit = np.sqrt((1.0 + e) ** (1.0 + e) * (1.0 - e) ** (1.0 - e)) / 2.0
        return self._radius(1.0) / self.a_m * np.where(at_pole, limit, ratio)

    def convergence(self, longitude_rad):
        """Return the angle from map north to true north, positive clockwise. [rad]"""
        angle = np.asarray(longitude_rad, float) - self.central_longitude_rad
        return np.pi - np.mod(np.pi + self.pole * angle, 2.0 * np.pi)

    def _t(self, latitude):
        """Return tan(pi/4 - conformal latitude / 2), latitude counted positive at the pole."""
        sine = self.eccentricity * np.sin(latitude)
        stretch = ((1.0 - sine) / (1.0 + sine)) ** (self.eccentricity / 2.0)
        return np.tan(np.pi / 4.0 - latitude / 2.0) / stretch

    def _m(self, latitude):
        """Return the radius of a parallel over the equatorial radius."""
        return np.cos(latitude) / np.sqrt(1.0 - (self.eccentricity * np.sin(latitude)) ** 2)

    def _radius(self, t):
        """Return the map's distance from the pole. [m]"""
        parallel = abs(self.true_scale_rad)
        if np.pi / 2.0 - parallel < 1e-12:
            e = self.eccentricity
            return 2.0 * self.a_m * t / np.sqrt((1.0 + e) ** (1.0 + e) * (1.0 - e) ** (1.0 - e))
        return self.a_m * self._m(parallel) * t / self._t(parallel)

    def _geodetic(self, chi):
        """Return geodetic from conformal latitude: series of the Guidance Note, 3.2.2 (to e^8)."""
        e2 = self.eccentricity**2
        terms = (
            e2 / 2 + 5 * e2**2 / 24 + e2**3 / 12 + 13 * e2**4 / 360,
            7 * e2**2 / 48 + 29 * e2**3 / 240 + 811 * e2**4 / 11520,
            7 * e2**3 / 120 + 81 * e2**4 / 1120,
            4279 * e2**4 / 161280,
        )
        return chi + sum(c * np.sin(2.0 * (k + 1) * chi) for k, c in enumerate(terms))


ARCTIC = PolarStereographic(np.radians(70.0), np.radians(-45.0))
"""EPSG:3413, the map of Greenland and the Arctic."""

ANTARCTIC = PolarStereographic(np.radians(-71.0), 0.0)
"""EPSG:3031, the map of Antarctica."""

KNOWN = {3413: ARCTIC, 3031: ANTARCTIC}


def projection(epsg):
    """Return the polar map of an EPSG code; SettingsError for one that is not known."""
    try:
        return KNOWN[int(epsg)]
    except (KeyError, ValueError):
        known = ", ".join(f"EPSG:{code}" for code in KNOWN)
        raise SettingsError(f"map EPSG:{epsg} is not known; known are {known}") from None


def point_scale(latitude_rad, epsg):
    """Return length on a known map over length on the ellipsoid; no unit.

    At 80 S on EPSG:3031 it is 0.9802: a speed taken from map coordinates is 2 % too small there.
    """
    return projection(epsg).point_scale(latitude_rad)
