"""What people do at a station: set-up, visits, raised and reset poles."""

from dataclasses import dataclass

import numpy as np

DAY_S = 86400.0  # s/d; definition
LEANING = "HV06"  # its pole leans; invented
UNLOGGED = "HV09"  # its pole was reset at the first visit and nobody wrote it down; invented
FIRST_D = (368.0, 386.0)  # d, first yearly visit, in May; choice


@dataclass(frozen=True)
class Visit:
    """One visit.

    Attributes
    ----------
    time_s : float
    kind : str
        ``set-up``, ``visit`` (nothing moved), ``raise`` (pole lifted to the new snow surface),
        ``reset`` (pole set anew close by).
    east_m, north_m, up_m : float
        What the marker, the pole's foot, was moved by.
    antenna_height_m : float
        Of the antenna above the marker, from the visit on.
    logged : bool
        Whether the station's log tells of it.
    note : str
    """

    time_s: float
    kind: str
    east_m: float
    north_m: float
    up_m: float
    antenna_height_m: float
    logged: bool
    note: str


def make_visits(rng, site, days):
    """Return a tuple of :class:`Visit`: the set-up at the start, then one each May."""
    height = float(np.round(rng.uniform(1.4, 1.8) if site.on_rock else rng.uniform(2.5, 3.0), 3))
    visits = [Visit(0.0, "set-up", 0.0, 0.0, 0.0, height, True, "station set up")]
    day = rng.uniform(*FIRST_D)
    while day < days:
        visits.append(_visit(rng, site, visits[-1], float(np.round(day * 24.0)) * 3600.0))
        day += 365.25 + rng.uniform(-6.0, 6.0)
    return tuple(visits)


def _visit(rng, site, before, time_s):
    """Return one yearly visit; draws the same number of times whatever happens."""
    chance, angle = rng.random(), rng.uniform(0.0, 2.0 * np.pi)
    far, level, share = rng.uniform(0.2, 1.0), rng.normal(0.0, 0.02, 2), rng.uniform(0.8, 1.05)
    height = float(np.round(rng.uniform(2.5, 3.0), 3))
    logged = not (site.name == UNLOGGED and before.kind == "set-up")
    if not logged:
        kind = "reset"
    elif site.on_rock:
        kind = "visit"
    elif site.name == LEANING:
        kind = "reset"
    else:
        kind = "visit" if chance < 0.15 else "raise" if chance < 0.75 else "reset"
    if kind == "visit":
        words = "batteries and cables looked at, nothing moved"
        return Visit(time_s, kind, 0.0, 0.0, 0.0, before.antenna_height_m, True, words)
    up = share * site.accumulation_m_a * (time_s - before.time_s) / (365.25 * DAY_S)
    east, north = level
    words = "pole lifted to the snow surface"
    if kind == "reset":
        east, north = far * np.sin(angle), far * np.cos(angle)
        words = "pole set anew close by"
    moved = (float(east), float(north), float(up))
    return Visit(time_s, kind, *moved, height, logged, words)
