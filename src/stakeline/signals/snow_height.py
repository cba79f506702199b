"""Snow below an antenna through time: against the log of the station, and against burial."""

from dataclasses import dataclass

import numpy as np
from scipy.special import stdtrit

from ..constants import NS_PER_DAY

READING_M = 0.02  # m; of an antenna height read in the field; common practice, no source
PHASE_CENTRE_M = 0.10  # m; it lies so far above the reference point at most; from memory
RESTLESS_M = 0.10  # m; drift and trodden snow within a day; our choice
CHANGE_M_D = 0.005  # m/d; snow, settling and melt; twice that is 3.7 m in a year; our choice
WARN = 2.0  # sigmas beyond which log and reflections contradict each other
BURIED_M = 0.5  # m; an antenna nearer to the snow may be gone after the next storm; our choice
RECENT_D = 28.0  # d; of the straight line; our choice
LEAST_ROWS = 7  # of the straight line, over at least as many days; our choice
HORIZON_D = 365.0  # d; no straight line tells of later; our choice
_LEVEL = 0.975  # upper end of a 95 % interval


@dataclass(frozen=True)
class Contradiction:
    """A standing of the antenna where the log and reflections are further apart than sigmas allow.

    ``number`` counts standings from 0. ``logged_m`` and ``found_m`` are what the antenna was moved
    by against the snow (0: how high it stood at the set-up), at ``time_ns``; ``sigma_m`` of their
    difference allows for what snow may have done in ``apart_d`` days.
    """

    number: int
    time_ns: int
    logged_m: float
    found_m: float
    sigma_m: float
    apart_d: float


@dataclass(frozen=True)
class Trend:
    """A straight line through the last weeks of heights (n,).

    Height ``level_m`` and rate ``rate_m_d`` hold at ``middle_ns``; half widths are those of 95 %
    intervals under scatter that the lag-one correlation describes.
    """

    middle_ns: int
    last_ns: int
    span_d: float
    level_m: float
    level_half_width_m: float
    rate_m_d: float
    rate_half_width_m_d: float

    def at(self, days):
        """Return the line and half its 95 % interval at days after the last height."""
        since = np.asarray(days) + (self.last_ns - self.middle_ns) / NS_PER_DAY
        half = np.hypot(self.level_half_width_m, self.rate_half_width_m_d * since)
        return self.level_m + self.rate_m_d * since, half


@dataclass(frozen=True)
class Burial:
    """When a line comes down to a height; times in ns, None where not within the horizon."""

    earliest_ns: int
    time_ns: int
    latest_ns: int | None


def standing_of(time_ns, begins_ns):
    """Return which standing of the antenna each time belongs to; ``begins_ns`` ascending."""
    return np.maximum(np.searchsorted(begins_ns, time_ns, side="right") - 1, 0)


def contradictions(time_ns, height_m, sigma_m, begins_ns, above_m):
    """Return the :class:`Contradiction` list of a station's log and its reflections.

    At the set-up the antenna is as high above the snow as above its marker, if that lies at the
    snow; a visit that moves the antenna leaves the snow where it is.

    Parameters
    ----------
    time_ns, height_m, sigma_m : array (n,)
        Heights above the snow by reflections, ascending; NaN where there is none. [ns, m, m]
    begins_ns, above_m : array (k,)
        When each standing of the antenna began, and its height above the first marker. [ns, m]
    """
    good = np.flatnonzero(np.isfinite(height_m))
    number = standing_of(time_ns, begins_ns)[good]
    found = []
    for k in range(len(begins_ns)):
        own, before = good[number == k], good[number < k]
        if not own.size or (k and not before.size):
            continue
        row = own[0]
        logged, seen, sigma = above_m[k], height_m[row], sigma_m[row]
        apart_d = (time_ns[row] - begins_ns[k]) / NS_PER_DAY
        extra = PHASE_CENTRE_M
        if k:
            other = before[-1]
            logged = logged - above_m[number[before.size - 1]]
            seen = seen - height_m[other]
            sigma = np.hypot(sigma, sigma_m[other])
            apart_d = (time_ns[row] - time_ns[other]) / NS_PER_DAY
            extra = READING_M
        snow = RESTLESS_M + CHANGE_M_D * max(apart_d, 0.0)
        sigma = float(np.sqrt(sigma**2 + READING_M**2 + extra**2 + snow**2))
        if abs(seen - logged) > WARN * sigma:
            found.append(
                Contradiction(
                    k, int(time_ns[row]), float(logged), float(seen), sigma, float(apart_d)
                )
            )
    return found


def recent_trend(time_ns, height_m, since_ns):
    """Return the :class:`Trend` of the last weeks; None where there is too little.

    Rows after ``since_ns`` count (the last time that the antenna was moved), all alike: snow
    drifts by more than the heights are unsure. The scatter's memory widens the intervals: with
    its lag-one correlation r, n rows are worth n (1 - r) / (1 + r) (Bayley & Hammersley 1946, J.
    R. Stat. Soc. Suppl. 8, 184, for a first-order process).
    """
    good = np.isfinite(height_m) & (time_ns >= since_ns)
    if not good.any():
        return None
    last_ns = int(time_ns[good][-1])
    good &= time_ns > last_ns - RECENT_D * NS_PER_DAY
    days, height = (time_ns[good] - last_ns) / NS_PER_DAY, np.asarray(height_m)[good]
    if days.size < LEAST_ROWS or np.ptp(days) < LEAST_ROWS:
        return None
    centre = days.mean()
    rate = (days - centre) @ height / ((days - centre) @ (days - centre))
    left = height - height.mean() - rate * (days - centre)
    squares = left @ left
    memory = float(np.clip(left[1:] @ left[:-1] / squares, 0.0, 0.9)) if squares > 0.0 else 0.0
    worth = days.size * (1.0 - memory) / (1.0 + memory)
    free = max(worth - 2.0, 1.0)
    sigma = np.sqrt(squares / days.size * worth / free)
    half = float(stdtrit(free, _LEVEL) * sigma / np.sqrt(worth))
    return Trend(
        int(last_ns + round(centre * NS_PER_DAY)), last_ns, float(np.ptp(days)),
        float(height.mean()), half, float(rate), half / float(np.std(days)),
    )  # fmt: skip


def burial(trend, level_m=BURIED_M):
    """Return the :class:`Burial` of a trend that comes down to a height within a year; else None.

    The dates are those at which the line, and the edges of its 95 % interval, reach it; honest as
    long as snow goes on as in the last weeks. One storm can be earlier.
    """
    days = np.arange(0.0, HORIZON_D, 0.25)
    line, half = trend.at(days)

    below = [curve <= level_m for curve in (line - half, line, line + half)]
    if trend.rate_m_d >= 0.0 or not below[1].any():
        return None
    earliest, middle, latest = (
        trend.last_ns + int(days[edge.argmax()] * NS_PER_DAY) for edge in below
    )
    return Burial(earliest, middle, latest if below[2].any() else None)
