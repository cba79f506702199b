"""How the flow of the ice changes: with the season, with melt, as floods pass, by slips.

Changes are shares of the mean speed. All numbers are invented, of the size that outlet glaciers of
Greenland show (some per cent by season, ten per cent in a melt event; from memory).
"""

from dataclasses import dataclass

import numpy as np

from ..time import NS_PER_DAY, day_of_year
from .course import Course
from .slips import Slips, make_slips
from .water import Event

DAY_S = 86400.0  # s/d; definition
YEAR_S = 365.25 * DAY_S  # s/a; definition of the Julian year
HOUR_S = 3600.0  # s/h; definition
OFF_ROUTE_M = 3000.0  # m, the answer falls by e; invented
UPSTREAM_M = 700.0  # m, up-glacier of the water the answer falls by e in the square; invented
AFLOAT_M = 8000.0  # m, on floating ice the answer falls by e; invented
MELT = 0.11  # -, share of the speed in a strong melt near the front; invented
FASTEST_D = 150.0  # d, day of the year of greatest speed without melt; invented
SLIPS_WITHIN_M = 16000.0  # m up-glacier of the grounding line, there ice sticks and slips; invented


@dataclass(frozen=True)
class Pulse:
    """A change that rises smoothly, holds, and falls exponentially; its slope never jumps.

    Attributes
    ----------
    begin_s, rise_s : float
    lasts_s : float
        From the begin to the end of the plateau.
    fall_s : float
        The fall is (1 + x) exp(-x), x the time since the plateau over this.
    size : float
        Share of the speed on the plateau.
    event : Event or None
        The drainage that it goes with.
    """

    begin_s: float
    rise_s: float
    lasts_s: float
    fall_s: float
    size: float
    event: Event | None = None

    def __call__(self, time_s):
        """Return the share at times (n,)."""
        since = np.asarray(time_s, float) - self.begin_s
        x = np.clip(since / self.rise_s, 0.0, 1.0)
        after = np.maximum(since - self.lasts_s, 0.0) / self.fall_s
        return self.size * x * x * (3.0 - 2.0 * x) * (1.0 + after) * np.exp(-after)


@dataclass(frozen=True)
class Season:
    """The year's rhythm: ``size cos(2 pi (t - fastest) / a)``, as a share of the speed."""

    size: float
    fastest_s: float

    def __call__(self, time_s):
        """Return the share at times (n,)."""
        return self.size * np.cos(self._angle(time_s))

    def integral(self, time_s):
        """Return the integral from the start to times (n,). [s]"""
        rate = 2.0 * np.pi / YEAR_S
        return self.size / rate * (np.sin(self._angle(time_s)) - np.sin(self._angle(0.0)))

    def _angle(self, time_s):
        return 2.0 * np.pi * (np.asarray(time_s, float) - self.fastest_s) / YEAR_S


@dataclass(frozen=True, eq=False)
class FlowHistory:
    """The flow of one station, by parts, at every instant.

    With mean speed u that grows by a with distance, and a share s(t) of change, dx/dt = (u + a x)
    (1 + s); so x = u (exp(a T) - 1) / a with T the integral of 1 + s: no step by step, no rounding.

    Attributes
    ----------
    speed_m_d : float
        Mean speed where the station stood at the start.
    stretch_a : float
        a above. [1/a]
    parts : dict of str to Course or Season
        ``season``, ``melt``, ``response``: shares of the speed.
    slips : Slips or None
    answers : tuple of Pulse
        What ``response`` is made of: one for each drainage, of size 0 where nothing answers.
    """

    speed_m_d: float
    stretch_a: float
    parts: dict
    slips: Slips | None
    answers: tuple = ()

    def share(self, time_s):
        """Return a dict of each part's share of the speed at times (n,)."""
        return {name: part(time_s) for name, part in self.parts.items()}

    def integral_s(self, time_s):
        """Return a dict of the integral of each part's share from the start to times (n,). [s]"""
        return {name: part.integral(time_s) for name, part in self.parts.items()}

    def along_m(self, time_s):
        """Return a dict of way along the path at times (n,): ``flow``, the parts, ``slip``. [m]

        ``flow`` is the way without any change; each part's way is its share of the difference.
        """
        time_s = np.asarray(time_s, float)
        grow_s = self.stretch_a / YEAR_S
        sums = self.integral_s(time_s)
        extra = sum(sums.values())
        speed = self.speed_m_d / DAY_S
        way = {"flow": speed * _grown(grow_s, time_s)}
        factor = speed * np.exp(grow_s * time_s) * _by(grow_s, extra)
        way |= {name: factor * part for name, part in sums.items()}
        way["slip"] = np.zeros(time_s.shape)
        if self.slips is not None:
            way["slip"] = self.slips.moved_m(time_s)
        return way

    def travelled_m(self, time_s):
        """Return the way along the path from the start to times (n,). [m]"""
        return sum(self.along_m(time_s).values())

    def speed_at_m_d(self, time_s):
        """Return the speed at times (n,), slips included. [m/d]"""
        time_s = np.asarray(time_s, float)
        sums, shares = self.integral_s(time_s), self.share(time_s)
        clock = time_s + sum(sums.values())
        speed = self.speed_m_d * np.exp(self.stretch_a / YEAR_S * clock)
        speed = speed * (1.0 + sum(shares.values()))
        if self.slips is not None:
            speed = speed + self.slips.speed_m_s(time_s) * DAY_S
        return speed


def _by(rate_s, time_s):
    """Return (exp(rate t) - 1) / (rate t), 1 at 0."""
    x = rate_s * np.asarray(time_s, float)
    small = np.abs(x) < 1e-12
    return np.where(small, 1.0, np.expm1(x) / np.where(small, 1.0, x))


def _grown(rate_s, time_s):
    """Return (exp(rate t) - 1) / rate, t for no rate. [s]"""
    return time_s * _by(rate_s, time_s)


def make_flow(rng, scenario, water, glacier, site, days, *, melt, start_ns):
    """Return the :class:`FlowHistory` of a station on ice.

    Parameters
    ----------
    rng : numpy.random.Generator
        The station's own.
    scenario : Scenario
    water : Water
    glacier : Glacier
    site : Site
    days : float
    melt : Melt
        From :func:`~.melt.make_melt`, one for all stations.
    start_ns : int
    """
    by_season, by_melt, by_flood, by_slip = rng.spawn(4)
    day = day_of_year(start_ns)[1] + (start_ns % NS_PER_DAY) / NS_PER_DAY
    fastest = (FASTEST_D + by_season.uniform(-10.0, 10.0) - day) * DAY_S
    lower = 0.25 + 0.75 * site.flow_m / glacier.front_flow_m
    extra = MELT * lower * by_melt.uniform(0.85, 1.15) * melt.strength
    answers = flood_answers(by_flood, scenario, water, glacier, site)
    response = _total(answers, melt.time_s)
    first_s = float(melt.time_s[0])
    parts = {
        "season": Season(by_season.uniform(0.02, 0.045), fastest),
        "melt": Course(first_s, HOUR_S, extra),
        "response": Course(first_s, HOUR_S, response),
    }
    slips = None
    if -SLIPS_WITHIN_M < site.grounding_m < 0.0:
        slips = make_slips(by_slip, site.speed_m_d, days)
    return FlowHistory(site.speed_m_d, site.stretch_a, parts, slips, answers)


def _total(pulses, time_s):
    return sum((pulse(time_s) for pulse in pulses), np.zeros(time_s.size))


def reach(glacier, water, lake_index, site):
    """Return (distance from a lake's outlet along the route [m], weight of the answer there).

    1 on the water's way; it falls off the way, up-glacier of the outlet, below the lake that
    swallows the upper flood, and on floating ice. Distance is negative up-glacier of the outlet.
    """
    along, off = (float(v) for v in glacier.route_distance_m(site.flow_m, site.side_m))
    lakes = water.lakes
    into = lakes[1].flow_m - lakes[1].half_length_m
    out = lakes[lake_index].flow_m + lakes[lake_index].half_length_m
    outlet = float(glacier.route_distance_m(out, lakes[lake_index].side_m)[0])
    beyond = max(outlet - along, 0.0)
    if lake_index == 0:
        beyond += max(along - float(glacier.route_distance_m(into, lakes[1].side_m)[0]), 0.0)
    weight = np.exp(-off / OFF_ROUTE_M - (beyond / UPSTREAM_M) ** 2)
    weight *= np.exp(-max(site.grounding_m, 0.0) / AFLOAT_M)
    return along - outlet, float(weight)


def flood_answers(rng, scenario, water, glacier, site):
    """Return how passing water changes the speed: a tuple of :class:`Pulse`, one by event.

    Arrival = onset + distance / speed of the water; then a lag, a rise, a plateau while water
    passes, a decay; as large as the scenario says, by the event's volume over the greatest one, by
    the station's place (:func:`reach`) and by its own chance.
    """
    answers = []
    own = rng.uniform(0.75, 1.0)
    largest = max((e.volume_m3 for e in water.events), default=1.0)
    names = [lake.name for lake in water.lakes]
    for event in water.events:
        lag_s, rise_s, fall_s = rng.uniform([2.0, 8.0, 72.0], [10.0, 30.0, 240.0]) * HOUR_S
        distance, weight = reach(glacier, water, names.index(event.lake), site)
        begin_s = water.arrival_s(event, distance) + lag_s
        lasts_s = max(event.end_s - event.onset_s, rise_s)
        size = scenario.response * event.volume_m3 / largest * weight * own
        answers.append(Pulse(begin_s, rise_s, lasts_s, fall_s, size, event))
    return tuple(answers)
