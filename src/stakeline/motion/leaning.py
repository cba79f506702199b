"""Poles that lean, from what a station shows: at a visit that sets the pole anew, or as it bends.

A pole that leans slowly cannot be told from ice that flows slowly to a side: the path takes its
wander, the speed the part along the flow. What it loses of the height, some centimetres, is in the
residual. It comes to light when hands set the pole upright: the antenna then jumps by more than
the log says that the foot was moved. A pole that bends within days shows in the series itself.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SolutionError
from ..time import iso
from .steps import rotated
from .tilt import height_loss_m, tilt_signature

LOG_SIGMA_M = 0.03  # m, how well a log knows where a pole was set; our choice
SEEN_SIGMAS = 3.0  # -, our choice
LOG_MARGIN_D = 1.5 / 24.0  # d, a logged time is known so well; our choice
STOOD_D, BENDS_D, NEXT_D = 20.0, 30.0, 5.0  # d, before, during, between windows; our choice
STOOD_M = 0.03  # m, rms about a line below which a pole is said to have stood; our choice
LEAST_WANDER_M = 0.15  # m, wander that costs 4 mm on 3 m: less is not looked at; our choice


@dataclass(frozen=True)
class Lean:
    """A pole found leaning.

    Attributes
    ----------
    begin_ns, end_ns : int
        When it leant at the latest; the end is the visit, or the end of the window. [ns]
    wander_m : float
        Of the antenna aside at the end. [m]
    toward_rad : float
        Azimuth of the wander from north; NaN where only its part across the flow is seen. [rad]
    loss_m : float
        Height that geometry says was lost at the end. [m]
    seen_m, seen_sigma_m : float
        Height that came back at the visit beyond the log, or that was seen to go. [m]
    at_visit : bool
    """

    begin_ns: int
    end_ns: int
    wander_m: float
    toward_rad: float
    loss_m: float
    seen_m: float
    seen_sigma_m: float
    at_visit: bool

    @property
    def sentence(self):
        """What is told of it."""
        size = f"{100.0 * self.wander_m:.0f} cm aside"
        cost = f"{100.0 * self.loss_m:.1f} cm of height by geometry"
        cost += f", {100.0 * self.seen_m:.1f} +-{100.0 * self.seen_sigma_m:.1f} cm seen"
        if not self.at_visit:
            return (
                f"the pole bent or began to lean after {iso(self.begin_ns)}: {size} across the "
                f"flow by {iso(self.end_ns)}, {cost}; speed and residual up hold it"
            )
        return (
            f"the pole leant when it was set anew on {iso(self.end_ns)}: {size} towards "
            f"{np.degrees(self.toward_rad) % 360.0:.0f} deg, {cost}; or the log is wrong. Speed, "
            "path and residual up before that day hold it"
        )


def leans_of(time_ns, across_m, up_m, steps, azimuth_rad, visits):
    """Return the :class:`Lean` (tuple) of a station: at its visits, then within its series.

    Parameters
    ----------
    time_ns : array (m,)
        Regular. [ns]
    across_m, up_m : array (m,)
        Across the flow, and what is left of the height; NaN in gaps. [m]
    steps : Steps
        Along, across and up of a flow towards ``azimuth_rad``.
    visits : sequence of PoleVisit
        In order; the first is the set-up.
    """
    if not visits:
        return ()
    at_visits = _at_visits(rotated(steps.only("equipment"), azimuth_rad), visits)
    return (*at_visits, *_within(time_ns, across_m, up_m, visits))


def _at_visits(steps, visits):
    """Return what jumps east, north, up beyond the log say of the pole before."""
    found, margin = [], round(LOG_MARGIN_D * NS_PER_DAY)
    for before, visit in pairwise(visits):
        here = (steps.before_ns - margin <= visit.time_ns) & (
            visit.time_ns <= steps.after_ns + margin
        )
        if visit.moved_m is None or here.sum() != 1 or not steps.logged[here].all():
            continue
        k = int(np.flatnonzero(here)[0])
        beyond = steps.size_m[k] - np.asarray(visit.moved_m)
        sigma = np.hypot(steps.sigma_m[k], LOG_SIGMA_M)
        wander = float(np.hypot(*beyond[:2]))
        if not SEEN_SIGMAS * sigma[:2].max() < wander <= before.pole_m:
            continue
        loss = float(height_loss_m(wander, before.pole_m))
        if abs(beyond[2] - loss) > SEEN_SIGMAS * sigma[2]:
            continue
        toward = float(np.arctan2(-beyond[0], -beyond[1]))
        found.append(
            Lean(
                before.time_ns, visit.time_ns, wander, toward, loss, float(beyond[2]),
                float(sigma[2]), at_visit=True,
            )
        )  # fmt: skip
    return found


def _within(time_ns, across_m, up_m, visits):
    """Return what the series shows between visits: of windows that overlap, the widest wander."""
    found = []
    edges = [visit.time_ns for visit in visits] + [int(time_ns[-1]) + 1]
    for visit, end_ns in zip(visits, edges[1:], strict=True):
        inside = (time_ns >= visit.time_ns) & (time_ns < end_ns) & np.isfinite(across_m + up_m)
        days = (time_ns[inside] - time_ns[0]) / NS_PER_DAY
        _, daily = np.unique(np.floor(days), return_index=True)
        series = days[daily], across_m[inside][daily], up_m[inside][daily]
        if len(daily) < 2:
            continue
        for begin_d in np.arange(series[0][0], series[0][-1] - STOOD_D - NEXT_D, NEXT_D):
            lean = _in_window(*series, begin_d, visit.pole_m, time_ns[0])
            if lean is None:
                continue
            if not found or lean.begin_ns >= found[-1].end_ns:
                found.append(lean)
            elif lean.wander_m > found[-1].wander_m:
                found[-1] = lean
    return found


def _in_window(days, across, up, begin_d, pole_m, origin_ns):
    """Return the Lean of one window, or None."""
    stood = (days >= begin_d) & (days < begin_d + STOOD_D)
    used = (days >= begin_d) & (days < begin_d + STOOD_D + BENDS_D)
    if stood.sum() < STOOD_D / 2 or used.sum() - stood.sum() < 5:
        return None
    line = np.polynomial.Polynomial.fit(days[stood], across[stood], 1)
    aside = across[used] - line(days[used])
    still = np.sqrt(np.mean(aside[: stood.sum()] ** 2)) < STOOD_M
    if not still or not LEAST_WANDER_M < np.abs(aside).max() <= pole_m:
        return None
    apart = np.stack([np.zeros_like(aside), aside], axis=1)
    try:
        tilt = tilt_signature(apart, up[used], pole_m, days[used][:, None] - begin_d)
    except SolutionError:
        return None
    if not tilt.leans:
        return None
    begin, end = (origin_ns + round(d * NS_PER_DAY) for d in (begin_d + STOOD_D, days[used][-1]))
    loss = tilt.largest_loss_m
    return Lean(
        int(begin), int(end), tilt.largest_wander_m, np.nan, loss, tilt.coefficient * loss,
        tilt.sigma * loss, at_visit=False,
    )  # fmt: skip
