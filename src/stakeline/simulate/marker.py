"""The path of one marker, the foot of a station's pole: all that moves it, part by part, exactly.

The motion of the plate is left out: a base on rock stands still.
"""

import functools
from dataclasses import dataclass

import erfa
import numpy as np

from ..constants import NS_PER_S, WGS84_A_M, WGS84_INVERSE_FLATTENING
from ..earth.projection import ARCTIC
from .bridging import surface_change_m
from .chance import stream
from .flood import YEAR_S, FlowHistory, make_flow
from .melt import MARGIN_S, make_foehns, make_melt
from .site import Site
from .smooth import Smooth
from .visits import DAY_S, LEANING, Visit, make_visits
from .weather import make_region

__all__ = ["PARTS", "Marker", "Visit", "make_marker", "make_visits"]

PARTS = (
    *("flow", "season", "melt", "response", "slip", "tide", "lake"),
    *("slope", "submergence", "strain", "settling", "tilt", "reset"),
)
EQUIPMENT = ("settling", "tilt", "reset")
PATH_STEP_M = 20.0  # m, nodes of the ground along the path; choice
AFLOAT = 0.108  # -, share of ice above the water; 1 - 917 / 1028 by Archimedes


@dataclass(frozen=True)
class Settling:
    """The pole sinks into the snow, ever more slowly after its foot was set."""

    first_m_a: float
    last_m_a: float
    memory_s: float

    def __call__(self, since_s):
        """Return how far it has sunk at times since it was set (n,). [m]"""
        since_s = np.asarray(since_s, float)
        more = (self.first_m_a - self.last_m_a) * self.memory_s
        return (self.last_m_a * since_s - more * np.expm1(-since_s / self.memory_s)) / YEAR_S


@dataclass(frozen=True)
class Lean:
    """A pole that leans from some time on: angle = greatest x^2 / (1 + x^2), x = since / memory."""

    begin_s: float
    greatest_rad: float
    memory_s: float
    azimuth_rad: float

    def __call__(self, time_s):
        """Return the angle from upright at times (n,). [rad]"""
        x = np.maximum(np.asarray(time_s, float) - self.begin_s, 0.0) / self.memory_s
        return self.greatest_rad * x * x / (1.0 + x * x)


@dataclass(frozen=True, eq=False)
class Marker:
    """One marker of the campaign; see :func:`make_marker`.

    Attributes
    ----------
    site : Site
    flow : FlowHistory or None
        None on rock.
    water : Water
    tide : Tide or None
    start_ns : int
    visits : tuple of Visit
    path : Smooth or None
        Flow and side coordinate and height of the start's surface along the path. [m]
    settling : tuple of Settling
        One for each visit.
    lean : Lean or None
    """

    site: Site
    flow: FlowHistory | None
    water: object
    tide: object
    start_ns: int
    visits: tuple
    path: Smooth | None
    settling: tuple
    lean: Lean | None

    @property
    def place(self):
        """Where the marker stood at ``time_s = 0``, the tide left aside."""
        return self.site.place

    def parts_m(self, time_s):
        """Return a dict of parts (:data:`PARTS`), each (n, 3), at times (n,). [m]

        Along the flow of the start, across it to the left looking downstream, and up. Their sum is
        the displacement.

        - ``flow``: mean speed, growing along the path; ``season``, ``melt``, ``response``,
          ``slip``: what changes of speed add to the way. All along the bent path.
        - ``tide``: the tide's lift and the answer of the flow.
        - ``lake``: the lakes' lift where the marker then is.
        - ``slope``: the surface of the start along the path travelled, undulations included.
        - ``submergence``: the marker goes down as snow buries it.
        - ``strain``: ice thins as it is stretched more than in the mean.
        - ``settling``, ``tilt``, ``reset``: equipment.
        """
        time_s = np.asarray(time_s, float)
        parts = {name: np.zeros((time_s.size, 3)) for name in PARTS}
        if self.flow is None:
            return parts
        ways = self.flow.along_m(time_s)
        rise, ways["tide"] = self._tide_m(time_s)
        way = sum(ways.values())
        toward = _chord(self.site.turn_rad_m * way)
        for name, part in ways.items():
            parts[name][:, :2] = part[:, None] * toward
        flow, side, surface = self.path(way).T
        lakes = self.water.lakes
        parts["tide"][:, 2] = rise
        parts["lake"][:, 2] = surface_change_m(self.water, lakes, flow, side, time_s)
        parts["slope"][:, 2] = surface - self.path(np.zeros(1))[0, 2]
        parts["submergence"][:, 2] = -self.site.accumulation_m_a * time_s / YEAR_S
        parts["strain"][:, 2] = self._strain_m(time_s)
        parts["settling"][:, 2] = -self._settled_m(time_s)
        parts["tilt"][:] = self._turned(self._tilt_m(time_s))
        parts["reset"][:] = self._turned(self._reset_m(time_s))
        return parts

    def displacement_m(self, time_s):
        """Return east, north, up (n, 3) at times (n,). [m]

        East and north in the plane that touches the ellipsoid's parallel surface at the place; up
        is the change of height above the ellipsoid.
        """
        return self._east_north_up(sum(self.parts_m(time_s).values()))

    def ice_m(self, time_s):
        """Return the displacement (n, 3) of the ice alone, without equipment. [m]"""
        parts = self.parts_m(time_s)
        total = sum(part for name, part in parts.items() if name not in EQUIPMENT)
        return self._east_north_up(total)

    def position_m(self, time_s):
        """Return the Earth-fixed marker (n, 3), without the tide of the solid Earth. [m]"""
        return fixed_m(self.place, self.displacement_m(time_s))

    def speed_m_d(self, time_s):
        """Return the speed of the ice along its path at times (n,), without the tide's. [m/d]"""
        time_s = np.asarray(time_s, float)
        return np.zeros(time_s.shape) if self.flow is None else self.flow.speed_at_m_d(time_s)

    def ground_m(self, time_s):
        """Return flow and side coordinate of the ice (n, 2) at times (n,). [m]"""
        time_s = np.asarray(time_s, float)
        if self.flow is None:
            return np.tile([self.site.flow_m, self.site.side_m], (time_s.size, 1))
        return self.path(self.flow.travelled_m(time_s))[:, :2]

    def antenna_height_m(self, time_s):
        """Return the true height of the antenna above the marker at times (n,). [m]"""
        return np.array([v.antenna_height_m for v in self.visits])[self._visit(time_s)]

    def _visit(self, time_s):
        """Return the number of the last visit at times; the set-up before it."""
        begin = [v.time_s for v in self.visits]
        return np.maximum(np.searchsorted(begin, time_s, side="right") - 1, 0)

    def _tide_m(self, time_s):
        """Return the tide's lift and the way along the flow (n,). [m]"""
        if self.tide is None:
            return np.zeros(time_s.size), np.zeros(time_s.size)
        time_ns = self.start_ns + np.round(time_s * NS_PER_S).astype(np.int64)
        lift = self.tide.lift_m(time_ns, self.site.grounding_m)
        return lift, self.tide.answer_m(time_ns, self.site.grounding_m)

    def _strain_m(self, time_s):
        """Return the height lost by stretching beyond the mean's (n,). [m]

        -H (du/dx) times the integral of the change of speed; afloat, only the share above water
        counts. The change is taken as even within some thicknesses.
        """
        stretched = self.site.stretch_a / YEAR_S * sum(self.flow.integral_s(time_s).values())
        share = AFLOAT if self.site.grounding_m > 0.0 else 1.0
        return -share * self.site.thickness_m * stretched

    def _settled_m(self, time_s):
        """Return how far the pole has sunk since the start, over all visits (n,). [m]"""
        total = np.zeros(time_s.size)
        ends = [v.time_s for v in self.visits[1:]] + [np.inf]
        for visit, end_s, settling in zip(self.visits, ends, self.settling, strict=True):
            since = np.minimum(time_s, end_s) - visit.time_s
            total += settling(np.maximum(since, 0.0))
        return total

    def _tilt_m(self, time_s):
        """Return east, north, up (n, 3) of the antenna by the pole's lean. [m]

        L sin to the side and L (1 - cos) down, until the pole is set anew.
        """
        moved = np.zeros((time_s.size, 3))
        if self.lean is None:
            return moved
        anew = [v.time_s for v in self.visits if v.kind == "reset"]
        standing = time_s < min(anew, default=np.inf)
        angle = np.where(standing, self.lean(time_s), 0.0)
        length = self.antenna_height_m(time_s)
        moved[:, 0] = length * np.sin(angle) * np.sin(self.lean.azimuth_rad)
        moved[:, 1] = length * np.sin(angle) * np.cos(self.lean.azimuth_rad)
        moved[:, 2] = -length * (1.0 - np.cos(angle))
        return moved

    def _reset_m(self, time_s):
        """Return east, north, up (n, 3) of all steps so far. [m]"""
        steps = np.cumsum([(v.east_m, v.north_m, v.up_m) for v in self.visits], axis=0)
        return steps[self._visit(time_s)]

    def _turned(self, moved):
        """Return along, across, up of east, north, up."""
        sine, cosine = np.sin(self.site.azimuth_rad), np.cos(self.site.azimuth_rad)
        east, north, up = moved.T
        return np.stack([east * sine + north * cosine, north * sine - east * cosine, up], axis=1)

    def _east_north_up(self, moved):
        """Return east, north, up of along, across, up."""
        return _along_to_east(moved, self.site.azimuth_rad)


def _along_to_east(moved, azimuth_rad):
    sine, cosine = np.sin(azimuth_rad), np.cos(azimuth_rad)
    along, across, up = moved.T
    east, north = along * sine - across * cosine, along * cosine + across * sine
    return np.stack([east, north, up], axis=1)


def _chord(turned_rad):
    """Return along, across (n, 2) of an arc that has turned so far (right), by metre of arc."""
    half = 0.5 * turned_rad
    shorter = np.sinc(half / np.pi)
    return np.stack([shorter * np.cos(half), -shorter * np.sin(half)], axis=1)


def fixed_m(place, moved):
    """Return Earth-fixed positions (n, 3) of displacements (n, 3) from a place. [m]

    East and north are those of the plane at the place; the point is set on its normal where its
    height above the ellipsoid has changed by "up", to a micrometre.
    """
    east, north, up = place.axes
    level = place.position_m + moved[:, :1] * east + moved[:, 1:2] * north
    lift = moved[:, 2] - np.sum(moved[:, :2] ** 2, axis=1) / (2.0 * WGS84_A_M)
    for _ in range(3):
        position = level + lift[:, None] * up
        height = _geodetic(position)[2]
        lift = lift + place.height_m + moved[:, 2] - height
    return level + lift[:, None] * up


def _geodetic(position_m):
    """Return latitude, longitude [rad] and height [m] above the ellipsoid."""
    longitude, latitude, height = erfa.gc2gde(WGS84_A_M, 1.0 / WGS84_INVERSE_FLATTENING, position_m)
    return latitude, longitude, height


def make_path(glacier, site, first_m, last_m):
    """Return a :class:`Smooth` of flow, side, surface height along a station's path. [m]"""
    count = int(np.ceil((last_m - first_m) / PATH_STEP_M)) + 2
    way = first_m + PATH_STEP_M * np.arange(count)
    moved = np.zeros((count, 3))
    moved[:, :2] = way[:, None] * _chord(site.turn_rad_m * way)
    latitude, longitude, _ = _geodetic(fixed_m(site.place, _along_to_east(moved, site.azimuth_rad)))
    flow, side = glacier.along(*ARCTIC.forward(latitude, longitude))
    return Smooth(first_m, PATH_STEP_M, np.stack([flow, side, glacier.surface_m(flow, side)], 1))


@functools.lru_cache(maxsize=2)
def _melt_of(seed, scenario, glacier, water, start_ns, days):
    foehns = make_foehns(stream(seed, "melt"), scenario, water)
    weather = stream(seed, "region"), start_ns, days + MARGIN_S / DAY_S
    return make_melt(make_region(*weather, foehns), glacier)


def make_marker(seed, scenario, glacier, water, tide, site, days, start_ns, visits):
    """Return the :class:`Marker` of a site.

    Parameters
    ----------
    seed : int
        Chance comes from the streams ``region`` and ``melt`` (one for all) and, by name of the
        site, ``flow`` and ``pole``.
    scenario : Scenario
    glacier : Glacier
    water : Water
    tide : Tide or None
        None: no tide.
    site : Site
    days : float
        Length of the campaign; some days before and after it are covered too. [d]
    start_ns : int
        GPS time of the start.
    visits : tuple of Visit
    """
    visits, start_ns = tuple(visits), int(start_ns)
    if site.on_rock:
        return Marker(site, None, water, tide, start_ns, visits, None, (), None)
    melt = _melt_of(seed, scenario, glacier, water, start_ns, days)
    by_flow, by_pole = stream(seed, site.name, "flow"), stream(seed, site.name, "pole")
    flow = make_flow(by_flow, scenario, water, glacier, site, days, melt=melt, start_ns=start_ns)
    ends_m = flow.travelled_m(np.array([melt.time_s[0], melt.time_s[-1]]))
    path = make_path(glacier, site, ends_m[0] - 100.0, ends_m[1] + 100.0)
    settling = tuple(
        Settling(by_pole.uniform(0.04, 0.06), by_pole.uniform(0.01, 0.02), 60.0 * DAY_S)
        for _ in visits
    )
    lean = None
    if site.name == LEANING:
        begin, greatest = by_pole.uniform(40.0, 80.0) * DAY_S, by_pole.uniform(0.10, 0.16)
        lean = Lean(begin, greatest, 150.0 * DAY_S, by_pole.uniform(0.0, 2.0 * np.pi))
    return Marker(site, flow, water, tide, start_ns, visits, path, settling, lean)
