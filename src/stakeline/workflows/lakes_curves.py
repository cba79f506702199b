"""Level of a lake's surface, water below it and discharge through time, with their intervals."""

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import uniform_filter1d

from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import StakelineError
from ..lakes.combined import independent
from ..lakes.curve import ramp, rate_at, relaxed
from ..lakes.event_record import LEVEL
from ..lakes.fit import MEMORY_D
from ..lakes.levelling import grid_of, hidden_m, kept_of, metre_draws
from ..motion.smoother import smooth

DRAWS = 100  # of curves through time; choice
MISFIT_ROWS = 9  # over which what a curve misses is averaged: a day of means of 3 h; choice
LEAST_SEEN = 0.02  # -, of a change that goes on, below which no more is added to it; choice
DAY_S = NS_PER_DAY / NS_PER_S  # s/d; definition


@dataclass(frozen=True, eq=False)
class LakeCurves:
    """Curves (n,) at the rows of a lake's series; intervals are (3, n): low, median, high.

    ``measured_m`` is the mean of the stations over the lake less that of the controls, waves of
    the day and offsets of stations taken off; ``level_m`` the course through it from the first row
    on. ``stored_m3``: water since the first row; ``outflow_m3_s`` positive where water leaves; both
    None where volumes cannot be judged. ``inflow_m3_s`` (3, phases): between events.
    """

    time_ns: np.ndarray
    measured_m: np.ndarray
    sigma_m: np.ndarray
    level_m: np.ndarray
    stored_m3: np.ndarray | None
    outflow_m3_s: np.ndarray | None
    inflow_m3_s: np.ndarray
    note: str = ""


def lake_curves(history, volumes, levelling, rng):
    """Return the :class:`LakeCurves` of a lake.

    Parameters
    ----------
    history : LakeHistory
    volumes : sequence of LakeVolume or None
        Of its events, then of its slow changes, in their order.
    levelling : Levelling or None
        None where there are no volumes.
    rng : numpy.random.Generator

    Notes
    -----
    Between events the surface follows the smoother of the noise model; within them the courses of
    the fits. Their sizes are taken as known once fitted: size and slow level leave the same
    heights, so the level's interval is that of the smoother and of what the curve misses of the
    heights over a day. Water and discharge follow the roof: courses times the volume of a metre of
    surface, by all events of the lake together, whose outline and ice they share. Slow changes
    count with that volume too, and what the surface's own levelling hides of all of them since the
    first row is added, by draws of the ice (:mod:`~stakeline.lakes.levelling`).
    Where the smoother finds no solution, curves are those of the events alone, and ``note`` says
    so.
    """
    series, events = history.series, (*history.events, *history.slow)
    slow, sigma, rate, offset, surface, sizes, note = _smoothed(series, history.model, events)
    draws = _all_draws(events, sizes, series, rng)
    level = slow + surface
    missed = uniform_filter1d(series.up_m - offset - level, MISFIT_ROWS, mode="nearest")
    sigma = np.hypot(sigma, missed)
    wide = 1.959964 * sigma  # 97.5 % point of the normal distribution; definition
    none = np.zeros((DRAWS, len(series.day)))
    moved = sum((d[0] for d in draws), none) + slow, sum((d[1] for d in draws), none) + rate
    return LakeCurves(
        series.time_ns(series.day), series.up_m - offset - level[0], series.sigma_m * 1.0,
        np.stack([level - wide, level, level + wide]) - level[0],
        *_water(history, volumes, levelling, (*moved, np.hypot(sigma, sigma[0])), rng), note,
    )  # fmt: skip


def _water(history, volumes, levelling, moved, rng):
    """Return intervals (stored water, outflow, inflow of phases) by draws of the surface's motion.

    ``moved``: what the surface would do at once (DRAWS, n) [m], its rate [m/d], and how surely it
    is known against the first row (n,). [m]
    """
    series, events = history.series, (*history.events, *history.slow)
    per_m, samples = metre_draws(events, volumes, rng, DRAWS)
    if per_m is None:
        return None, None, np.full((3, len(history.phases)), np.nan)
    day, per_m = series.day, per_m[:, None]
    grid = grid_of(day)
    level = moved[0] - moved[0][:, :1]
    hidden, rate = hidden_m(day, level, kept_of(levelling, samples, grid), grid)
    inflow = np.empty((3, len(history.phases)))
    for k, phase in enumerate(history.phases):
        ends = (np.array([phase.begin_ns[1], phase.end_ns[1]]) - series.start_ns) / NS_PER_DAY
        more = np.array([np.diff(np.interp(ends, day, row))[0] for row in hidden]) / np.ptp(ends)
        seen = phase.rate_m_d + phase.sigma_m_d * rng.standard_normal(DRAWS)
        inflow[:, k] = _interval(per_m[:, 0] * (seen + more) / DAY_S)
    unsure = moved[2] * rng.standard_normal((DRAWS, 1)) * (day > day[0])
    stored = _interval(per_m * (level + hidden + unsure))
    return stored, _interval(-per_m * (moved[1] + rate) / DAY_S), inflow


def _all_draws(events, sizes, series, rng):
    """Return (courses, rates) of each event, as :func:`_draws`.

    Events that overlap were sampled together: they are drawn together. What they come to in the
    end is what the smoother found beside its slow level, for each draw: the heights afterwards know
    the sum of both.
    """
    draws, group, reach = [], [], -np.inf
    for event, size in sorted(
        zip(events, sizes, strict=True), key=lambda e: np.median(e[0].onset_d)
    ):
        if np.median(event.onset_d) > reach and group:
            draws += _drawn_together(group, series, rng)
            group = []
        group.append((event, size))
        reach = max(reach, float(np.quantile(event.end_days(), 0.975)))
    return draws + (_drawn_together(group, series, rng) if group else [])


def _drawn_together(group, series, rng):
    pick = rng.choice(len(group[0][0].change_m), DRAWS)
    change = np.array([event.change_m[pick] for event, _ in group])
    change[-1] += sum(size for _, size in group) - change.sum(axis=0)
    return [_draws(e, series, pick, c[:, None]) for (e, _), c in zip(group, change, strict=True)]


def _draws(event, series, pick, change):
    """Return (courses (s, n) of the roof in metres of surface, their rates [m/d])."""
    onset = event.onset_d[pick] + (event.origin_ns - series.start_ns) / NS_PER_DAY
    length, rise, fall = (v[pick, None] for v in (event.length_d, event.rise, event.fall))
    share = (series.day - onset[:, None]) / length
    seen = ramp(share[:, -1:], rise, fall) - ramp(share[:, :1], rise, fall)
    change = change / np.maximum(seen, LEAST_SEEN)
    inside = (share > 0.0) & (share < 1.0)
    speed = np.where(inside, rate_at(share, rise, fall), 0.0) * change / length
    return change * ramp(share, rise, fall), speed


def _smoothed(series, model, events):
    """Return (slow level, its sigma, its rate, what is no level, courses of events, sizes, note).

    ``sizes``: what each event comes to at the last row, less the first, beside the slow level.
    """
    count, zero = len(series.day), np.zeros(len(series.day))
    ramps = [c for event in events for c in _median_courses(event, series)]
    known = series.design[:, 2:]
    table = np.column_stack([np.ones(count), series.day, known, *ramps])
    kept = _kept(table)
    own = kept - 2 < known.shape[1]
    columns = table[:, kept]
    try:
        found = smooth(series.time_ns(series.day), series.up_m, series.sigma_m, model, columns)
    except StakelineError as problem:
        sizes = [float(np.median(event.change_m)) for event in events]
        middle = sum((m * c for m, c in zip(sizes, ramps[::2], strict=True)), zero)
        note = f"level between events is not smoothed: {problem}"
        return zero, series.sigma_m, zero, zero, middle, sizes, note
    value = found.regression_value
    other, surface = columns[:, own] @ value[own], columns[:, ~own] @ value[~own]
    rest = series.up_m - other - surface
    sizes = np.zeros(len(ramps))
    sizes[kept[~own] - 2 - known.shape[1]] = value[~own]
    sizes *= [ramp[-1] - ramp[0] for ramp in np.repeat(ramps[::2], 2, axis=0)]
    found = smooth(series.time_ns(series.day), rest, series.sigma_m, model)
    return (
        found.position_m, found.position_sigma_m, found.velocity_m_d, other, surface,
        sizes.reshape(-1, 2).sum(axis=1), "",
    )  # fmt: skip


def _kept(table):
    """Return the numbers of the columns after offset and line that can be told apart."""
    kept = []
    for k in range(2, table.shape[1]):
        trial = table[:, [0, 1, *kept, k]]
        if independent(trial).shape[1] == trial.shape[1]:
            kept.append(k)
    return np.array(kept, int)


def _median_courses(event, series):
    """Return the median course of the roof (n,), and a late copy of it, as the ice follows."""
    middle = [float(np.median(v)) for v in (event.length_d, event.rise, event.fall)]
    onset = float(np.median(event.onset_d)) + (event.origin_ns - series.start_ns) / NS_PER_DAY
    grid = series.step_d * np.arange(series.place[-1] + 1)
    course = ramp((grid - onset) / middle[0], *middle[1:])
    return course[series.place], relaxed(course, series.step_d, MEMORY_D)[series.place]


def _interval(draws):
    tail = 0.5 * (1.0 - LEVEL)
    return np.quantile(draws, [tail, 0.5, 1.0 - tail], axis=0)
