"""Which share of their light do the panels use? Rime, snow, dirt told apart from cloud.

Cloud comes and goes within hours, cover stays for days; a closed sky still gives some light and
none gives more than the clear one. The forecast of :mod:`.health_side` (a hidden Markov model on a
grid: Rabiner 1989, Proceedings of the IEEE 77, section III), all groups alive, tells the share.
"""

from dataclasses import dataclass

import numpy as np

from .health_forecast import takes_all
from .health_parts import COVER, ZERO_A, ended, grown
from .health_side import (
    BEAM,
    CLOUD_MOVES,
    CLOUD_NEW,
    HAZE,
    LEAST_SHARE,
    MOST_H,
    YIELD_MOVES,
    YIELD_NEW,
    YIELDS,
    later,
    likelihoods,
    passages,
)
from .telemetry import DAY_H

TOLD_D, LEAST_H = 10, 24  # d looked back, and hours in them that a share takes; own choice
WIDEST = 8.0  # -, most of upper by lower bound at which a share is told; own choice
TEMPER = 0.3  # -, power of each hour's likelihood: what is wrong lasts; as the rotor's
LAW_DOUBT = 1.3  # -, by which the bounds are wider for light's laws; set on seeds 8530 to 8569
COVERED, CLEAN = 0.5, 0.8  # -: upper bound below which panels are covered; share at the end of it
COVERED_D = 3  # d in turn, to say so; set on the same
GIVES = 0.5  # -, of those hours, least with current: below, they may be dead; set on 8500 to 8569


@dataclass(frozen=True)
class Cover:
    """Share of what clean panels would bring, by day (d,).

    ``low``, ``share``, ``high``: 5, 50 and 95 %; NaN where it cannot be told. ``lit``, ``hours``:
    of the last ten days, those with light, and those of them in which the bank took all.
    ``gave``: share of these with current.
    """

    low: np.ndarray
    share: np.ndarray
    high: np.ndarray
    lit: np.ndarray
    hours: np.ndarray
    gave: np.ndarray

    def why_not(self, day):
        """Return why a day's share cannot be told; '' where it can."""
        if np.isfinite(self.share[day]):
            return ""
        if self.lit[day] < LEAST_H:
            return f"dark: light in {self.lit[day]:.0f} of the last {TOLD_D * DAY_H} hours"
        if self.hours[day] < LEAST_H:
            return (
                f"the bank took all of it in {self.hours[day]:.0f} of {self.lit[day]:.0f} hours of "
                "light: a full bank, or no meter"
            )
        return "cloud and cover cannot be told apart yet"


def cover_of(hours, design, expected, charge):
    """Return the :class:`Cover` of a station's panels; each day by what is known at its end.

    Parameters
    ----------
    hours : Hours
    design : Design
    expected : Expected
    charge : array, shape (d,)
        Of the bank by day, from the fit: only hours in which it takes all are looked at.
    """
    power = hours.panel_A * hours.battery_V
    lit = expected.clear_W.sum(axis=0) > LEAST_SHARE * design.panel_W
    useful = lit & takes_all(hours, design.bank, charge) & np.isfinite(power)
    clouds = passages(BEAM.size, CLOUD_MOVES, CLOUD_NEW)
    yields = passages(YIELDS.size, YIELD_MOVES, YIELD_NEW)
    shape = 1, HAZE.size, BEAM.size, YIELDS.size
    belief, before = np.full(shape, 1.0 / np.prod(shape)), None
    told = np.full((3, hours.days), np.nan)
    for day in range(hours.days):
        rows = day * DAY_H + np.flatnonzero(useful[day * DAY_H : (day + 1) * DAY_H])
        for row, likely in zip(rows, likelihoods(power, expected, rows), strict=True):
            if before is not None:
                belief = later(belief, row - before, clouds, yields)
            belief, before = belief * likely[:1] ** TEMPER, row
            belief /= belief.sum()
        if before is not None:
            idle = min((day + 1) * DAY_H - before, MOST_H)
            told[:, day] = _quantiles(belief.sum(axis=(0, 1, 2)) @ yields[idle])
    with np.errstate(invalid="ignore"):
        gives = useful & (hours.panel_A > ZERO_A)
    bright, within, gave = (_recent(flags) for flags in (lit, useful, gives))
    told *= np.array([[1.0 / LAW_DOUBT], [1.0], [LAW_DOUBT]])
    with np.errstate(invalid="ignore"):
        unsure = (within < LEAST_H) | (told[2] > WIDEST * told[0])
    low, share, high = np.where(unsure, np.nan, np.minimum(told, 1.0))
    return Cover(low, share, high, bright, within, gave / np.maximum(within, 1))


def _recent(flags):
    """Return how many hours of the last ten days are flagged, by day (d,)."""
    number = flags.reshape(-1, DAY_H).sum(axis=1)
    return np.convolve(number, np.ones(TOLD_D, int))[: number.size]


def covered_panels(cover, others=()):
    """Return findings of panels that give, but less than even cloud explains.

    Parameters
    ----------
    cover : Cover
    others : sequence of Finding
        Of panels that give nothing, all or a group: while one of them holds, it is the reason.
    """
    found, count = [], 0
    for day in range(cover.share.size):
        told = cover.hours[day] >= LEAST_H
        dead = any(one.holds(day) for one in others) or (told and cover.gave[day] < GIVES)
        if dead or cover.share[day] >= CLEAN:
            found = ended(found, day)
        count = 0 if dead or not cover.high[day] < COVERED else count + 1
        if count < COVERED_D:
            continue
        begins = found[-1].begins if found and found[-1].ended < 0 else day - COVERED_D + 1
        found = grown(found, COVER, begins, day, (
            f"they bring {100 * cover.low[day]:.0f} to {100 * cover.high[day]:.0f} % of what clean "
            f"ones would, with current in {100 * cover.gave[day]:.0f} % of {cover.hours[day]:.0f} "
            "hours of light: rime or snow where it comes back by itself, dirt or shade where not"
        ))  # fmt: skip
    return found


def _quantiles(weight):
    """Return the 5, 50 and 95 % of the share by weights of :data:`YIELDS`, each of a span."""
    half = 0.5 * np.log(YIELDS[1] / YIELDS[0])
    edges = np.append(np.log(YIELDS) - half, np.log(YIELDS[-1]) + half)
    grown_to = np.concatenate([[0.0], np.cumsum(weight)])
    return np.exp(np.interp((0.05, 0.5, 0.95), grown_to, edges))
