"""Water under Halvard Glacier: lakes that fill over months, drain in days and feed each other.

Every figure is invented, of the size that active lakes under the ice of Greenland and Antarctica
show in published altimetry (metres of roof, months to fill; from memory).
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import brentq
from scipy.special import betainc, betaln

from .course import Course

DAY_S = 86400.0  # s/d; definition
NODES_S = 2.0 * DAY_S  # s, distance of the nodes of inflow; invented
MARGIN_S = 10.0 * DAY_S  # s, kept before and after the campaign; choice
RESIDUE_M = 1.5  # m, depth of water that no drainage takes; invented
FIRST_DAY = (113.0, 147.0)  # d, first drainage of the upper lake; choice: late summer
PERIOD_D = (158.0, 182.0)  # d, from one drainage of the upper lake to the next; choice
LAST_D = {"upper": (4.0, 9.0), "lower": (6.0, 14.0)}  # d, length of a drainage; invented
WATER_M_S = (0.16, 0.45)  # m/s, speed of the water under the ice; invented
SHARE_TO_PASS = 0.5  # -, share of the upper flood that fills the lower lake to the brim; choice


@dataclass(frozen=True)
class Event:
    """One drainage of one lake.

    The discharge is V x^a (1 - x)^b / (B(a + 1, b + 1) T), with x the share of the length T that
    is over: it rises, falls, and holds the volume V exactly (B: the beta function, DLMF 5.12.1).

    Attributes
    ----------
    lake : str
    onset_s, end_s : float
        First and last water. [s]
    volume_m3 : float
    rise, fall : float
        The exponents a and b.
    cause : str
        ``threshold``: the lake was full; ``cascade``: a flood from above filled it.
    """

    lake: str
    onset_s: float
    end_s: float
    volume_m3: float
    rise: float
    fall: float
    cause: str

    @property
    def peak_s(self):
        """Time of greatest discharge. [s]"""
        return self.onset_s + (self.end_s - self.onset_s) * self.rise / (self.rise + self.fall)

    @property
    def peak_m3_s(self):
        """Greatest discharge. [m3/s]"""
        return float(self.discharge_m3_s(np.array([self.peak_s]))[0])

    def discharge_m3_s(self, time_s):
        """Return the discharge at times (n,), 0 outside the event. [m3/s]"""
        share, inside = self._share(time_s)
        x, length = share[inside], self.end_s - self.onset_s
        scale = self.volume_m3 / length / np.exp(betaln(self.rise + 1.0, self.fall + 1.0))
        discharge = np.zeros(share.shape)
        discharge[inside] = scale * x**self.rise * (1.0 - x) ** self.fall
        return discharge

    def drained_m3(self, time_s):
        """Return the volume that has left until times (n,). [m3]"""
        share, inside = self._share(time_s)
        drained = np.where(share >= 1.0, self.volume_m3, 0.0)
        part = betainc(self.rise + 1.0, self.fall + 1.0, share[inside])
        drained[inside] = self.volume_m3 * part
        return drained

    def _share(self, time_s):
        share = (np.asarray(time_s, float) - self.onset_s) / (self.end_s - self.onset_s)
        return share, (share > 0.0) & (share < 1.0)


@dataclass(frozen=True, eq=False)
class Water:
    """All water of one campaign, known at every instant.

    Attributes
    ----------
    lakes : tuple of Lake
        The upper lake and the lower lake.
    supply : tuple of Course
        What melt at the bed brings to each lake. [m3/s]
    start_m3 : tuple of float
        Water in each lake at the start.
    events : tuple of Event
        By onset.
    speed_m_s : float
        Of the water on its way.
    travel_s : float
        From the upper lake to the lower one.
    days : float
    """

    lakes: tuple
    supply: tuple
    start_m3: tuple
    events: tuple
    speed_m_s: float
    travel_s: float
    days: float

    def of(self, lake_index):
        """Return the events of a lake."""
        return tuple(e for e in self.events if e.lake == self.lakes[lake_index].name)

    def arrival_s(self, event, distance_m):
        """Return when the first water of an event is at a distance from its outlet. [s]"""
        return event.onset_s + max(distance_m, 0.0) / self.speed_m_s

    def inflow_m3_s(self, lake_index, time_s):
        """Return what enters a lake at times (n,): its own supply and the flood from above."""
        inflow = self.supply[lake_index](time_s)
        if lake_index:
            inflow = inflow + self.discharge_m3_s(0, np.asarray(time_s, float) - self.travel_s)
        return inflow

    def discharge_m3_s(self, lake_index, time_s):
        """Return what leaves a lake at times (n,), never negative. [m3/s]"""
        time_s = np.asarray(time_s, float)
        return sum((e.discharge_m3_s(time_s) for e in self.of(lake_index)), np.zeros(time_s.shape))

    def volume_m3(self, lake_index, time_s):
        """Return the water in a lake at times (n,): start + inflow - outflow. [m3]"""
        time_s = np.asarray(time_s, float)
        volume = self.start_m3[lake_index] + self.supply[lake_index].integral(time_s)
        for event in self.of(lake_index):
            volume = volume - event.drained_m3(time_s)
        if lake_index:
            for event in self.of(0):
                volume = volume + event.drained_m3(time_s - self.travel_s)
        return volume

    def level_m(self, lake_index, time_s):
        """Return the height of a lake's roof at times (n,) above that at the start. [m]

        The roof moves as a block: volume = area x height.
        """
        volume = self.volume_m3(lake_index, time_s) - self.start_m3[lake_index]
        return volume / self.lakes[lake_index].area_m2


def make_water(rng, scenario, lakes, days, *, route_m=None):
    """Return the :class:`Water` of a campaign.

    The upper lake drains whenever it has filled to its brim; the flood reaches the lower lake
    after its travel and fills that to the brim, which drains 0.5 to 3 days later. A drainage ends
    when the roof is back on its floor. Each lake drains some 1.6 to 5.8 m of roof.

    Parameters
    ----------
    rng : numpy.random.Generator
    scenario : Scenario
        Where it does not drain, nothing enters and nothing leaves.
    lakes : tuple of Lake
        The upper lake and the lower lake.
    days : float
        Length of the campaign. [d]
    route_m : float, optional
        Way of the water from the upper lake's outlet to the lower lake's shore; else the straight
        one. [m]
    """
    if route_m is None:
        shores_m = lakes[0].half_length_m + lakes[1].half_length_m
        step = (lakes[1].flow_m - lakes[0].flow_m, lakes[1].side_m - lakes[0].side_m)
        route_m = float(np.hypot(*step)) - shores_m
    speed = rng.uniform(*WATER_M_S)
    if not scenario.drains:
        none = Course(0.0, DAY_S, np.zeros(2))
        start = tuple(RESIDUE_M * lake.area_m2 for lake in lakes)
        return Water(tuple(lakes), (none, none), start, (), speed, route_m / speed, days)
    drop = _drops_m(rng, lakes)
    period_s = rng.uniform(*PERIOD_D) * DAY_S
    upper_m3, lower_m3 = (d * lake.area_m2 for d, lake in zip(drop, lakes, strict=True))
    supply = (
        _supply(rng, upper_m3 / period_s, days),
        _supply(rng, (lower_m3 - upper_m3) / period_s, days),
    )
    first_s = rng.uniform(*FIRST_DAY) * DAY_S
    start_upper = RESIDUE_M * lakes[0].area_m2 + upper_m3 - supply[0].integral(first_s)
    brim_m = (drop[0], drop[1] - (1.0 - SHARE_TO_PASS) * upper_m3 / lakes[1].area_m2)
    to_pass = supply[1].integral(first_s) + SHARE_TO_PASS * upper_m3
    start_lower = (RESIDUE_M + brim_m[1]) * lakes[1].area_m2 - to_pass
    start = (float(start_upper), float(start_lower))
    water = Water(tuple(lakes), supply, start, (), speed, route_m / speed, days)
    water = _drain(rng, water, 0, brim_m[0], LAST_D["upper"])
    return _drain(rng, water, 1, brim_m[1], LAST_D["lower"])


def _drops_m(rng, lakes):
    """Return how far the roofs sink: the lower lake takes in all water of the upper one."""
    areas = lakes[0].area_m2 / lakes[1].area_m2
    upper = float(np.clip(rng.uniform(2.0, 4.2), 1.6, max(1.6, 3.3 / areas)))
    lower = float(np.clip(upper * areas / rng.uniform(0.55, 0.68), 1.8, 5.4))
    return upper, lower


def _supply(rng, mean_m3_s, days):
    """Return the supply of a lake: its mean, slowly varying by a tenth, never negative."""
    first, last = -MARGIN_S, days * DAY_S + MARGIN_S
    time_s = np.arange(first, last + NODES_S, NODES_S)
    factor = np.ones(time_s.size)
    for length_d in (330.0, 120.0, 45.0, 17.0):
        phase = rng.uniform(0.0, 2.0 * np.pi)
        share = 0.05 * rng.uniform(0.5, 1.5)
        factor += share * np.sin(2.0 * np.pi * time_s / (length_d * DAY_S) + phase)
    return Course(first, NODES_S, mean_m3_s * np.maximum(factor, 0.2))


def _drain(rng, water, lake_index, brim_m, length_d):
    """Return the water with all drainages of a lake, one after the other."""
    lake = water.lakes[lake_index]
    brim_m3 = (RESIDUE_M + brim_m) * lake.area_m2
    after_s = 0.0
    while True:
        full_s = _full_s(water, lake_index, brim_m3, after_s)
        if full_s is None:
            return water
        cause = "cascade" if _flooded(water, lake_index, full_s) else "threshold"
        wait_s = rng.uniform(0.5, 3.0) * DAY_S if lake_index else 0.0
        length_s = rng.uniform(*length_d) * DAY_S
        floor_m3 = lake.area_m2 * RESIDUE_M * rng.uniform(0.9, 1.1)
        rise, fall = rng.uniform(1.6, 2.6), rng.uniform(2.0, 3.6)
        onset_s = full_s + wait_s
        left_m3 = float(water.volume_m3(lake_index, np.array([onset_s + length_s]))[0])
        if onset_s >= water.days * DAY_S:
            return water
        new = Event(lake.name, onset_s, onset_s + length_s, left_m3 - floor_m3, rise, fall, cause)
        events = tuple(sorted((*water.events, new), key=lambda e: e.onset_s))
        water, after_s = replace(water, events=events), new.end_s


def _full_s(water, lake_index, brim_m3, after_s):
    """Return when the lake is next full, to a millisecond; None: not in this campaign. [s]"""
    time_s = np.append(np.arange(after_s, water.days * DAY_S, 3600.0), water.days * DAY_S)
    above = np.flatnonzero(water.volume_m3(lake_index, time_s) >= brim_m3)
    if not above.size:
        return None
    k = above[0]
    if k == 0:
        return float(time_s[0])
    return brentq(
        lambda t: float(water.volume_m3(lake_index, np.array([t]))[0]) - brim_m3,
        time_s[k - 1],
        time_s[k],
        xtol=1e-3,
    )


def _flooded(water, lake_index, time_s):
    """Say whether a flood from above has entered the lake in the last ten days."""
    if not lake_index:
        return False
    return any(e.onset_s <= time_s - water.travel_s <= e.end_s + 10.0 * DAY_S for e in water.of(0))
