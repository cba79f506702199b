"""The centre line of the invented glacier: from glacier coordinates to the ground and to the map.

The line lies in a ground plane: the stereographic picture of the ellipsoid about the middle of the
glacier, where a metre is a metre within 2e-5 over its whole length. Complex numbers are points of
that plane, with axes along those of the polar map EPSG:3413 in the middle.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import jv

from ..earth.projection import ARCTIC

HARMONICS = 9  # -; of the curve: J_9(0.3) is 1e-13
ROUNDS = 12  # -; Newton steps of the way back, quadratic


@dataclass(frozen=True)
class GroundPlane:
    """Plane of true metres about a point, made from the polar map by one Moebius transformation.

    On the sphere of conformal latitude all stereographic pictures are Moebius transformations of
    one another (Snyder 1987, USGS Professional Paper 1395, chapter 21); scale 1 in the middle.
    """

    latitude_rad: float
    longitude_rad: float

    @cached_property
    def _constants(self):
        """Return the map's radius of the equator, the middle on the unit picture, and the size."""
        equator_m = -ARCTIC.forward(0.0, ARCTIC.central_longitude_rad)[1]
        x, y = ARCTIC.forward(self.latitude_rad, self.longitude_rad)
        middle = complex(x, y) / equator_m
        scale = ARCTIC.point_scale(self.latitude_rad)
        return equator_m, middle, equator_m * (1.0 + abs(middle) ** 2) / scale

    def from_map(self, x_m, y_m):
        """Return points of the plane (complex) of map coordinates. [m]"""
        equator_m, middle, size_m = self._constants
        z = (np.asarray(x_m, float) + 1j * np.asarray(y_m, float)) / equator_m
        return size_m * (z - middle) / (1.0 + np.conj(middle) * z)

    def to_map(self, point_m):
        """Return map coordinates x, y of points of the plane. [m]"""
        equator_m, middle, size_m = self._constants
        w = point_m / size_m
        z = equator_m * (w + middle) / (1.0 - np.conj(middle) * w)
        return z.real, z.imag

    def turn_rad(self, point_m):
        """Return by how much the map's directions are turned, counter-clockwise, from here."""
        _, middle, size_m = self._constants
        return -2.0 * np.angle(1.0 - np.conj(middle) * point_m / size_m)


@dataclass(frozen=True)
class CentreLine:
    """A sine-generated curve (Langbein & Leopold 1966, USGS Professional Paper 422-H).

    Its direction is ``direction_rad + swing_rad sin(2 pi flow / wave_m)``, counter-clockwise from
    the x axis of the plane; ``start_m`` is its upper end. Positions are its exact integral, by the
    series of Jacobi and Anger (Abramowitz & Stegun 1964, 9.1.41-45).
    """

    plane: GroundPlane
    start_m: complex
    direction_rad: float
    swing_rad: float
    wave_m: float

    def direction(self, flow_m):
        """Return the direction of flow in the ground plane. [rad]"""
        return self.direction_rad + self.swing_rad * np.sin(2 * np.pi * flow_m / self.wave_m)

    def curvature(self, flow_m):
        """Return the change of direction by distance, positive to the left. [rad/m]"""
        k = 2.0 * np.pi / self.wave_m
        return self.swing_rad * k * np.cos(k * flow_m)

    def _line(self, flow_m):
        """Return points of the centre line (complex). [m]"""
        k = 2.0 * np.pi / self.wave_m
        total = jv(0, self.swing_rad) * flow_m + 0j
        for n in range(1, HARMONICS + 1):
            phase = n * k * flow_m
            part = 2j * (1.0 - np.cos(phase)) if n % 2 else 2.0 * np.sin(phase)
            total = total + jv(n, self.swing_rad) * part / (n * k)
        return self.start_m + np.exp(1j * self.direction_rad) * total

    def ground(self, flow_m, side_m):
        """Return points of the ground plane (complex) of glacier coordinates. [m]"""
        flow = np.asarray(flow_m, float)
        return self._line(flow) + 1j * np.asarray(side_m, float) * np.exp(1j * self.direction(flow))

    def coordinates(self, point_m):
        """Return flow and side of points of the ground plane: Newton's method. [m]

        For points nearer to the line than its radius of curvature, which is the glacier with its
        rock walls and more.
        """
        axis = np.exp(1j * self.direction_rad)
        flow = ((point_m - self.start_m) * np.conj(axis)).real
        for _ in range(ROUNDS):
            rest = (point_m - self._line(flow)) * np.exp(-1j * self.direction(flow))
            flow = flow + rest.real / np.maximum(1.0 - rest.imag * self.curvature(flow), 0.3)
        rest = (point_m - self._line(flow)) * np.exp(-1j * self.direction(flow))
        return flow, rest.imag

    def azimuth_rad(self, flow_m, side_m):
        """Return the direction of flow from true north over east, in [0, 2 pi). [rad]"""
        point = self.ground(flow_m, side_m)
        on_map = self.direction(np.asarray(flow_m, float)) + self.plane.turn_rad(point)
        _, longitude = ARCTIC.inverse(*self.plane.to_map(point))
        return np.mod(np.pi / 2.0 - on_map - ARCTIC.convergence(longitude), 2.0 * np.pi)
