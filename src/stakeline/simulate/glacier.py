"""Halvard Glacier, invented: surface, bed, speed, lakes and the way of the water, as formulas.

Every field is a closed formula of glacier coordinates: ``flow_m`` along the centre line from the
upper end, ``side_m`` to the left looking downstream, both in true metres. Ice flows along lines of
equal side. Heights are above the ellipsoid. Arrays of any shape that fit one another may come in.
All numbers of the glacier are invented, within what outlet glaciers of Greenland show.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from ..earth.projection import ARCTIC
from .centre_line import CentreLine, GroundPlane
from .site import Lake
from .stations import make_base, make_sites

ICE_KG_M3, FRESH_KG_M3, SEA_KG_M3 = 917.0, 1000.0, 1028.0  # kg/m3; Cuffey & Paterson (2010), 2.2
WEIGHT = ICE_KG_M3 / FRESH_KG_M3  # -; metres of water that a metre of ice weighs
FREEBOARD = 1.0 - ICE_KG_M3 / SEA_KG_M3  # -; Archimedes
# amplitude [m], wavelength [m], direction of the wave from that of flow [rad], phase [rad]
SURFACE_WAVES = ((2.4, 5000, 0.3, 0.4), (1.2, 3100, -0.5, 2.0), (0.6, 1900, 0.9, 4.1))
BED_WAVES = ((25.0, 6500, -0.2, 1.1), (12.0, 3600, 0.5, 3.0))
EDGE = 1.55  # -; where the surface leaves the level above a lake, in its half axes
BOWL_M = 8.0  # m; rise of the potential head from the centre of a lake to its margin
ROUTE_STEP_M = 250.0


class Grids(NamedTuple):
    """Maps on EPSG:3413: axes x (n,), y (m,) rising; fields (m, n). [m], [m/d]"""

    x_m: np.ndarray
    y_m: np.ndarray
    surface_m: np.ndarray
    bed_m: np.ndarray
    thickness_m: np.ndarray
    speed_m_d: np.ndarray


@dataclass(frozen=True)
class Hollow:
    """Where a lake lies: its flow coordinate, half axes and the depth of the bed's hollow. [m]"""

    name: str
    flow_m: float
    half_length_m: float
    half_width_m: float
    depth_m: float


def _waves(waves, flow_m, side_m):
    """Return a sum of plane waves. [m]"""
    total = 0.0
    for amplitude, length, angle, phase in waves:
        across = np.cos(angle) * flow_m + np.sin(angle) * side_m
        total = total + amplitude * np.cos(2.0 * np.pi * across / length + phase)
    return total


@dataclass(frozen=True)
class Glacier:
    """The glacier: a centre line, where it begins to float and ends, and hollows of its bed."""

    line: CentreLine
    hollows: tuple
    grounding_flow_m: float = 78000.0
    front_flow_m: float = 90000.0
    sea_level_m: float = 26.0  # above the ellipsoid
    top_m: float = 1079.0  # height above flotation at the upper end
    route_swing_m: float = 800.0

    # ---- places ------------------------------------------------------------------------------
    def plane(self, flow_m, side_m):
        """Return x, y on the map EPSG:3413. [m]"""
        return self.line.plane.to_map(self.line.ground(flow_m, side_m))

    def place(self, flow_m, side_m):
        """Return latitude and longitude on WGS 84. [rad]"""
        return ARCTIC.inverse(*self.plane(flow_m, side_m))

    def along(self, x_m, y_m):
        """Return flow and side of map coordinates. [m]"""
        return self.line.coordinates(self.line.plane.from_map(x_m, y_m))

    def arc_scale(self, flow_m, side_m):
        """Return metres of ground along the flow by metre of ``flow_m``: 1 on the centre line."""
        return 1.0 - np.asarray(side_m, float) * self.line.curvature(np.asarray(flow_m, float))

    def azimuth_rad(self, flow_m, side_m):
        """Return the direction of flow from true north over east. [rad]"""
        return self.line.azimuth_rad(flow_m, side_m)

    def half_width_m(self, flow_m):
        """Return the distance from the centre line to the rock. [m]"""
        return 9500.0 - 0.03 * np.asarray(flow_m, float)

    def _share(self, flow_m, side_m):
        """Return the distance from the centre line as a share of the half width."""
        return np.abs(side_m) / self.half_width_m(flow_m)

    def _above(self, flow_m):
        """Return the distance up-glacier of the grounding line, 0 on the tongue. [m]"""
        return np.maximum(self.grounding_flow_m - np.asarray(flow_m, float), 0.0)

    # ---- fields ------------------------------------------------------------------------------
    def _mean_thickness_m(self, flow_m):
        """Return the thickness in the middle without bumps. [m]"""
        bent = np.maximum(flow_m - 70000.0, 0.0)
        return 690.0 - 0.0021 * flow_m - 5e-7 * bent**2

    def _profile_m(self, flow_m):
        """Return the height of the surface in the middle without undulations and lakes. [m]

        On the tongue it floats by Archimedes; up-glacier it stands above flotation, more and more.
        """
        above = self._above(flow_m)
        smooth = above**3 / (above**2 + 2000.0**2)
        share = smooth / self.grounding_flow_m
        standing = self.top_m * share * (1.25 - 0.25 * share)
        return self.sea_level_m + FREEBOARD * self._mean_thickness_m(flow_m) + standing

    def _undulation_m(self, flow_m, side_m):
        """Return waves of the surface: none at the grounding line, small ones on the tongue. [m]"""
        distance2 = (flow_m - self.grounding_flow_m) ** 2
        size = (distance2 / (distance2 + 3000.0**2)) ** 1.5
        size = size * np.where(flow_m > self.grounding_flow_m, 0.3, 1.0)
        return size * _waves(SURFACE_WAVES, flow_m, side_m)

    def _within(self, hollow, flow_m, side_m):
        """Return the square of the distance from a lake's centre in its half axes."""
        along = (flow_m - hollow.flow_m) / hollow.half_length_m
        across = (side_m - self.route_side_m(hollow.flow_m)) / hollow.half_width_m
        return along**2 + across**2

    def surface_m(self, flow_m, side_m):
        """Return the height of the surface at the start: ice, rock, or the sea off the front. [m]

        Above a lake it follows from the hydraulic potential, a bowl, and so is nearly level.
        """
        flow, side = np.asarray(flow_m, float), np.asarray(side_m, float)
        profile = self._profile_m(flow)
        surface = profile + self._undulation_m(flow, side)
        for hollow in self.hollows:
            within = self._within(hollow, flow, side)
            level = self._lowest_head_m(hollow) + BOWL_M * np.minimum(within, 4.0)
            level = level + (1.0 - WEIGHT) * self._grounded_m(flow, side)
            surface = surface + np.exp(-((within / EDGE**2) ** 4)) * (level - surface)
        beyond = np.maximum(self._share(flow, side) - 1.0, 0.0)
        rock = profile + 500.0 * beyond**2 / (beyond**2 + 0.1)
        ice = np.where(flow > self.front_flow_m, self.sea_level_m, surface)
        # within a tenth of the half width before the rock undulations die out
        near = np.clip(10.0 * (1.0 - self._share(flow, side)), 0.0, 1.0)
        ice = np.where(flow > self.front_flow_m, ice, profile + near * (ice - profile))
        return np.where(beyond > 0.0, rock, ice)

    def thickness_m(self, flow_m, side_m):
        """Return the thickness of ice; 0 on rock and off the front. [m]"""
        flow, side = np.asarray(flow_m, float), np.asarray(side_m, float)
        floating = (self.surface_m(flow, side) - self.sea_level_m) / FREEBOARD
        ice = np.where(flow > self.grounding_flow_m, floating, self._grounded_m(flow, side))
        return np.where((self._share(flow, side) >= 1.0) | (flow > self.front_flow_m), 0.0, ice)

    def _grounded_m(self, flow_m, side_m):
        """Return the thickness up-glacier of the grounding line. [m]"""
        flat = np.exp(-((self._above(flow_m) / 8000.0) ** 2))  # across, near the tongue
        valley = 1.0 - (1.0 - flat) * self._share(flow_m, side_m) ** 4
        thickness = self._mean_thickness_m(flow_m) + self._depth_m(flow_m, side_m)
        return np.maximum(thickness * valley, 0.0)

    def _lowest_head_m(self, hollow):
        """Return the potential head at the centre of a lake. [m]"""
        thickness = self._grounded_m(hollow.flow_m, self.route_side_m(hollow.flow_m))
        return self._profile_m(hollow.flow_m) - (1.0 - WEIGHT) * thickness

    def _depth_m(self, flow_m, side_m):
        """Return what bumps, the water's trough and hollows add to the thickness. [m]"""
        above2 = self._above(flow_m) ** 2
        depth = _waves(BED_WAVES, flow_m, side_m)
        off = (side_m - self.route_side_m(flow_m)) / 1800.0
        depth = depth + 110.0 * np.exp(-(off**2))
        for hollow in self.hollows:
            within = self._within(hollow, flow_m, side_m)
            depth = depth + hollow.depth_m * np.exp(-(within**2))
        return depth * (above2 / (above2 + 3000.0**2)) ** 1.5

    def bed_m(self, flow_m, side_m):
        """Return the height of the ground below the ice, or of the sea floor. [m]"""
        flow, side = np.asarray(flow_m, float), np.asarray(side_m, float)
        tongue = np.clip(flow, self.grounding_flow_m, self.front_flow_m)
        share = self._share(flow, side)
        at = np.where((flow > self.front_flow_m) & (share < 1.0), self.front_flow_m, flow)
        base = self.surface_m(at, side) - self.thickness_m(at, side)
        water = 0.02 * (tongue - self.grounding_flow_m)
        return base - np.where(share < 1.0, water, 0.0)

    def speed_m_d(self, flow_m, side_m):
        """Return the mean speed at the surface; 0 on rock and off the front. [m/d]"""
        flow = np.asarray(flow_m, float)
        share = np.clip(flow / self.front_flow_m, 0.0, 1.0)
        middle = 0.2 + 2.3 * share * (0.4 + 0.6 * share)
        across = np.maximum(1.0 - self._share(flow, side_m) ** 4, 0.0)
        return np.where(flow > self.front_flow_m, 0.0, middle * across)

    def accumulation_m_a(self, flow_m):
        """Return the snow that a mean year leaves. [m of snow/a]"""
        return 0.9 - 0.6 * np.asarray(flow_m, float) / self.front_flow_m

    def potential_head_m(self, flow_m, side_m):
        """Return the hydraulic potential over rho_water g: bed and weight of ice. [m]

        Shreve (1972), J. Glaciol. 11, equation 3, with the whole weight of the ice (flotation 1).
        """
        return self.bed_m(flow_m, side_m) + WEIGHT * self.thickness_m(flow_m, side_m)

    # ---- water -------------------------------------------------------------------------------
    def route_side_m(self, flow_m):
        """Return where the water's way crosses: its side at a flow coordinate. [m]"""
        upper, lower = self.hollows
        turns = (np.asarray(flow_m, float) - upper.flow_m) / (lower.flow_m - upper.flow_m)
        return self.route_swing_m * np.cos(np.pi * turns)

    @cached_property
    def lakes(self):
        """The lakes, the upper one first."""
        return tuple(
            Lake(
                h.name,
                h.flow_m,
                float(self.route_side_m(h.flow_m)),
                h.half_length_m,
                h.half_width_m,
                float(self.thickness_m(h.flow_m, self.route_side_m(h.flow_m))),
            )
            for h in self.hollows
        )

    @cached_property
    def route(self):
        """The water's way (k, 2) in glacier coordinates: upper lake, lower lake, grounding line."""
        length = self.grounding_flow_m - self.hollows[0].flow_m
        count = int(np.ceil(length / ROUTE_STEP_M)) + 1
        flow = np.linspace(self.hollows[0].flow_m, self.grounding_flow_m, count)
        return np.stack([flow, self.route_side_m(flow)], axis=1)

    def route_distance_m(self, flow_m, side_m):
        """Return the distance along the water's way from the upper lake's outlet, and off it. [m]

        Along: negative up-glacier of the outlet; the first and last piece go on straight. Off:
        never negative.
        """
        path = self.line.ground(self.route[:, 0], self.route[:, 1])
        pieces = np.diff(path)
        start = np.concatenate([[0.0], np.cumsum(np.abs(pieces))])
        outlet = self.hollows[0].flow_m + self.hollows[0].half_length_m
        to_outlet = np.interp(outlet, self.route[:, 0], start)
        point = self.line.ground(flow_m, side_m)
        local = (point[..., None] - path[:-1]) * np.exp(-1j * np.angle(pieces))
        low, high = np.zeros(pieces.size), np.abs(pieces)
        low[0], high[-1] = -np.inf, np.inf
        on_piece = np.clip(local.real, low, high)
        off = np.abs(local - on_piece)
        best = np.argmin(off, axis=-1)[..., None]
        along = np.take_along_axis(start[:-1] + on_piece, best, -1)[..., 0] - to_outlet
        return along, np.take_along_axis(off, best, -1)[..., 0]

    # ---- what is handed over -----------------------------------------------------------------
    def sites(self, count=None, names=None):
        """Return stations on ice in order of names: all 14, the most useful, or those named."""
        return make_sites(self, count, names)

    def base(self):
        """Return the base on rock."""
        return make_base(self)

    def outline(self, lake, points=72):
        """Return a lake's outline, counter-clockwise and closed: longitude, latitude. [deg]"""
        angle = 2.0 * np.pi * np.arange(points + 1) / points
        angle[-1] = 0.0
        flow = lake.flow_m + lake.half_length_m * np.cos(angle)
        latitude, longitude = self.place(flow, lake.side_m + lake.half_width_m * np.sin(angle))
        return np.degrees(np.stack([longitude, latitude], axis=1))

    def grids(self, step_m=500.0):
        """Return x (n,), y (m,), surface and bed (m, n) of :meth:`maps`. [m]"""
        return self.maps(step_m)[:4]

    def maps(self, step_m=500.0, border_m=3000.0):
        """Return :class:`Grids` around the glacier and the foot of its walls.

        On the tongue the bed is the sea floor: there surface less bed is more than the thickness.
        """
        flow = np.linspace(0.0, self.front_flow_m + border_m, 200)
        wall = self.half_width_m(flow) + border_m
        x, y = np.concatenate([self.plane(flow, wall), self.plane(flow, -wall)], axis=1)
        x_m, y_m = (
            step_m * np.arange(np.floor(v.min() / step_m), np.ceil(v.max() / step_m) + 1)
            for v in (x, y)
        )
        place = self.along(*np.meshgrid(x_m, y_m))
        fields = (self.surface_m, self.bed_m, self.thickness_m, self.speed_m_d)
        return Grids(x_m, y_m, *(field(*place) for field in fields))


HALVARD = Glacier(
    line=CentreLine(
        plane=GroundPlane(np.radians(79.1), np.radians(-22.0)),
        start_m=-44000.0 - 9000.0j,
        direction_rad=0.18,
        swing_rad=0.28,
        wave_m=90000.0,
    ),
    hollows=(
        Hollow("Upper Halvard", 22000.0, 2600.0, 1600.0, 60.0),
        Hollow("Lower Halvard", 48000.0, 2300.0, 1500.0, 60.0),
    ),
)
"""The invented glacier, in north-east Greenland."""
