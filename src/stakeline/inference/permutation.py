"""Chance by shifting a catalogue of events around the record, and exact tests of pairs.

A catalogue of events is compared with one or more evenly sampled series by the contrast between
the values after an event and those before it. Under chance the catalogue could as well have begun
at any other time: all its events are shifted together around the record, so that the spacing of
the events and the memory of the series stay what they are. Trend and season must be taken out
before (:mod:`~stakeline.inference.baseline`), since a record with a trend has a step at its seam;
no contrast bridges the seam. Where something measured tells when the series are restless, contrasts
are taken by the scale of their time (:mod:`~stakeline.inference.unrest`).
"""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError, SolutionError
from . import _kernels
from .unrest import contrast_scales

LEAST_SHARE = 0.5  # of a window, or of an event's possible times, that must be present; our choice
MOST_PAIRS = 40  # pairs; beyond, half of the sign patterns are no longer quickly listed; our choice
ROUNDING = 1e-9  # relative; statistics closer than this are ties


@dataclass(frozen=True)
class Windows:
    """Samples compared: ``before`` an event with ``after`` it, the latter moved by each lag."""

    before: int
    after: int
    lags: tuple = (0,)


@dataclass(frozen=True)
class ShiftPlan:
    """All that a draw needs; any stretch of draws may be worked by itself.

    contrast, present (n, series, lags), the former over its standard deviation ``spread``
    (series, lags) [value]; an event is the entries with its number: ``place`` (sample), ``weight``,
    ``event``, ``group`` (entries,); ``shifts`` (draws, groups); ``exhaustive``: every distinct
    shift is drawn once; ``floor``: see :class:`PermutationResult`.
    """

    contrast: np.ndarray
    present: np.ndarray
    spread: np.ndarray
    place: np.ndarray
    weight: np.ndarray
    event: np.ndarray
    group: np.ndarray
    shifts: np.ndarray
    exhaustive: bool
    floor: float


@dataclass(frozen=True)
class PermutationResult:
    """What chance makes of the largest contrast.

    ``p`` for all series and lags together; ``p_series`` (series,) of each series over its lags
    alone; ``p_adjusted`` (series,) against the largest of all series (family-wise error);
    ``statistic`` (series, lags) with its sign, ``change`` (series, lags) [value] the mean
    contrast, each over the scale of its time where the series are restless, ``events_used``
    (series, lags); ``strongest`` (series index, lag index); ``draws``;
    ``resolution`` = 1 / (1 + draws); ``floor``: shifts within the range of lags see the same
    events again, so that no p much below this can come out, however strong the effect.
    """

    p: float
    p_series: np.ndarray
    p_adjusted: np.ndarray
    statistic: np.ndarray
    change: np.ndarray
    events_used: np.ndarray
    strongest: tuple
    draws: int
    resolution: float
    floor: float
    exhaustive: bool


def contrasts(values, windows):
    """Return the contrasts (n, series, lags): mean after each sample minus mean before. [value]

    ``values`` (series, n). At sample i and lag k the means run over samples i + k to i + k + after
    - 1 and i - before to i - 1; NaN where less than half of either window is present.
    """
    values = np.atleast_2d(np.asarray(values, float))
    series, n = values.shape
    good = np.isfinite(values)
    sums = np.zeros((2, series, n + 1))
    np.cumsum(np.where(good, values, 0.0), axis=1, out=sums[0, :, 1:])
    np.cumsum(good, axis=1, out=sums[1, :, 1:])

    def mean(first, length):
        ends = [np.clip(first + step, 0, n) for step in (0, length)]
        total, count = sums[:, :, ends[1]] - sums[:, :, ends[0]]
        enough = count >= max(1.0, LEAST_SHARE * length)
        return np.where(enough, total / np.maximum(count, 1.0), np.nan)

    at = np.arange(n)
    before = mean(at - windows.before, windows.before)
    found = [mean(at + lag, windows.after) - before for lag in windows.lags]
    return np.ascontiguousarray(np.moveaxis(found, (0, 1, 2), (2, 1, 0)))


def plan_shifts(time, values, onsets, windows, generator, count=9999, groups=None, unrest=None):
    """Return the :class:`ShiftPlan` of a test.

    Parameters
    ----------
    time : array (n,)
        Evenly spaced. [time]
    values : array (n,) or (series, n)
        Without trend and season; NaN is a gap. [value]
    onsets : array (events,) or (events, samples)
        When each event began, or equally likely samples of it. [time]
    windows : Windows
    generator : numpy.random.Generator
        Draws the shifts, once and here, so that the same seed gives the same p whoever works
        which stretch of them.
    count : int
        Draws wished; where there are no more distinct shifts than that, each is taken once.
    groups : array (events,), optional
        Events of one group keep their spacing, groups are shifted independently; all together
        where none are given.
    unrest : array (n,), optional
        In proportion to which the series may be restless, 0 or larger; NaN unknown.

    Raises
    ------
    SettingsError
        No event, an event outside the record, windows that do not fit, events closer than the
        window after them, uneven times.
    SolutionError
        A series that is constant or has nothing to compare.
    """
    time, values = _checked_series(time, values)
    windows = _checked_windows(windows, len(time))
    place, weight, event = _entries(time, onsets)
    _refuse_close(place, weight, event, windows)
    found = contrasts(values, windows)
    if unrest is not None:
        found = found / contrast_scales(found, unrest, windows)
    present = np.isfinite(found)
    spread = _spread(found)
    number = np.zeros(event[-1] + 1, int) if groups is None else _numbered(groups, event[-1] + 1)
    shifts, exhaustive = _shifts(len(time), number.max() + 1, count, generator)
    span = max(windows.lags) - min(windows.lags) + 1
    return ShiftPlan(
        contrast=np.where(present, found / spread, 0.0),
        present=present.astype(float),
        spread=spread,
        place=place,
        weight=weight,
        event=event,
        group=number[event],
        shifts=shifts,
        exhaustive=exhaustive,
        floor=min(1.0, (span / len(time)) ** (number.max() + 1)),
    )


def chance(plan, start, count, push=None):
    """Return the largest statistics (count, series) of draws ``start`` to ``start + count - 1``.

    ``push`` (series, lags) [value] adds a change to every event, as an effect would.
    """
    push = np.zeros_like(plan.spread) if push is None else push / plan.spread
    shifts = plan.shifts[start : start + count]
    greatest = np.empty((len(shifts), plan.contrast.shape[1]))
    _kernels.shifted_statistics(
        plan.contrast,
        plan.present,
        push,
        plan.place,
        plan.weight,
        plan.event,
        plan.group,
        shifts,
        np.empty((4, *plan.contrast.shape[1:])),
        greatest,
    )
    return greatest


def conclude(plan, greatest):
    """Return the :class:`PermutationResult` of all draws (draws, series), in any order."""
    if len(greatest) != len(plan.shifts):
        raise SettingsError(
            f"{len(greatest)} draws were handed back of {len(plan.shifts)} planned: a stretch "
            "is missing or came twice"
        )
    statistic, used = _observed(plan)
    if not used.any():
        raise SolutionError(
            "no event has values before and after it: nothing to compare; take shorter windows"
        )
    own = np.abs(statistic).max(axis=1)
    above = own * (1.0 - ROUNDING)
    largest = greatest.max(axis=1)
    draws = len(greatest)
    factor = plan.spread / np.sqrt(np.maximum(used, 1.0))
    return PermutationResult(
        p=p_value((largest >= above.max()).sum(), draws),
        p_series=p_value((greatest >= above).sum(axis=0), draws),
        p_adjusted=p_value((largest[:, None] >= above).sum(axis=0), draws),
        statistic=statistic,
        change=np.where(used > 0, statistic * factor, np.nan),
        events_used=used.astype(int),
        strongest=tuple(int(i) for i in np.unravel_index(np.abs(statistic).argmax(), used.shape)),
        draws=draws,
        resolution=1.0 / (1.0 + draws),
        floor=max(plan.floor, 1.0 / (1.0 + draws)),
        exhaustive=plan.exhaustive,
    )


def permutation_test(time, values, onsets, windows, generator, **options):
    """Return the :class:`PermutationResult` at once; arguments as of :func:`plan_shifts`."""
    plan = plan_shifts(time, values, onsets, windows, generator, **options)
    return conclude(plan, chance(plan, 0, len(plan.shifts)))


def p_value(exceeding, draws):
    """Return ``(1 + exceeding) / (1 + draws)``, never 0.

    Phipson & Smyth (2010), Stat. Appl. Genet. Mol. Biol. 9, 39: what was observed is one of the
    arrangements.
    """
    return (1.0 + exceeding) / (1.0 + draws)


def paired_permutation(differences):
    """Return (p, patterns as extreme, all patterns) of paired differences, exactly, two-sided.

    Fisher (1935), *The Design of Experiments*, section 21: under chance each difference could
    have had the other sign; counted are the patterns whose sum is at least as far from zero. Sums
    of two halves are listed and joined by search, so that up to 40 pairs cost a second.
    """
    d = np.asarray(differences, float)
    if d.ndim != 1 or not 2 <= d.size <= MOST_PAIRS or not np.isfinite(d).all():
        raise SettingsError(
            f"differences of shape {d.shape}; expected 2 to {MOST_PAIRS} finite values: leave "
            "out pairs that lack a value"
        )
    bar = abs(d.sum()) - ROUNDING * np.abs(d).sum()
    first, second = _sums(d[: d.size // 2]), np.sort(_sums(d[d.size // 2 :]))
    above = len(second) - np.searchsorted(second, bar - first, side="left")
    below = np.searchsorted(second, -bar - first, side="right")
    patterns = 2**d.size
    extreme = min(int(above.sum() + below.sum()), patterns)
    return extreme / patterns, extreme, patterns


def _sums(d):
    """Sums of d under all patterns of signs (2^n,)."""
    total = np.zeros(1)
    for value in d:
        total = np.concatenate([total + value, total - value])
    return total


def _observed(plan):
    """Return the statistic with its sign, and the events used (series, lags)."""
    total = np.zeros(plan.contrast.shape[1:])
    used = np.zeros_like(total)
    for number in range(plan.event[-1] + 1):
        of = plan.event == number
        weight, at = plan.weight[of][:, None, None], plan.place[of]
        seen = (weight * plan.present[at]).sum(axis=0)
        enough = seen >= LEAST_SHARE
        total += np.where(enough, (weight * plan.contrast[at]).sum(axis=0), 0.0) / np.where(
            enough, seen, 1.0
        )
        used += enough
    return total / np.sqrt(np.maximum(used, 1.0)), used


def _shifts(n, groups, count, generator):
    """Return the shifts (draws, groups) without the one that moves nothing, and if they are all."""
    if count < 1:
        raise SettingsError(f"{count} draws; expected at least 1")
    if float(n) ** groups - 1.0 <= count:
        axes = np.meshgrid(*[np.arange(n)] * groups, indexing="ij")
        return np.stack([a.ravel() for a in axes], axis=1)[1:], True
    if groups == 1:
        return 1 + generator.choice(n - 1, (count, 1), replace=False), False
    return generator.integers(n, size=(count, groups)), False


def _entries(time, onsets):
    """Return place, weight and event number of the entries of a catalogue.

    An event takes the first sample that is not before it.
    """
    onsets = np.asarray(onsets, float)
    if onsets.size == 0:
        raise SettingsError("no event was given: there is nothing to test")
    onsets = onsets[:, None] if onsets.ndim == 1 else onsets
    step = (time[-1] - time[0]) / (len(time) - 1)
    outside = ~((onsets > time[0]) & (onsets <= time[-1])).all(axis=1)
    if outside.any():
        worst = int(np.argmax(outside))
        raise SettingsError(
            f"event {worst + 1} at {onsets[worst].mean():g} is outside the record from "
            f"{time[0]:g} to {time[-1]:g}, or on its edge: leave it out"
        )
    index = np.ceil((onsets - time[0]) / step - ROUNDING).astype(int)
    place, weight, event = [], [], []
    for number, row in enumerate(index):
        where, times = np.unique(row, return_counts=True)
        place.append(where)
        weight.append(times / times.sum())
        event.append(np.full(len(where), number))
    return np.concatenate(place), np.concatenate(weight), np.concatenate(event)


def _refuse_close(place, weight, event, windows):
    middle = np.bincount(event, weight * place)
    order = np.argsort(middle, kind="stable")
    apart = np.diff(middle[order])
    if (apart < windows.after).any():
        first = int(np.argmax(apart < windows.after))
        a, b = order[first] + 1, order[first + 1] + 1
        raise SettingsError(
            f"events {a} and {b} are {apart[first]:g} samples apart, closer than the window of "
            f"{windows.after} after an event: join them, or take a shorter window"
        )


def _spread(found):
    """Return the standard deviation (series, lags) of the contrasts of each series."""
    empty = ~np.isfinite(found).any(axis=(0, 2))
    if empty.any():
        raise SolutionError(
            f"series {int(np.argmax(empty)) + 1} has no place with values both before and after: "
            "leave it out, or take shorter windows"
        )
    count = np.isfinite(found).sum(axis=0)
    clean = np.where(np.isfinite(found), found, 0.0)
    mean = clean.sum(axis=0) / np.maximum(count, 1)
    away = np.where(np.isfinite(found), found - mean, 0.0)
    spread = np.sqrt((away**2).sum(axis=0) / np.maximum(count - 1, 1))
    flat = (spread <= ROUNDING * np.abs(clean).max(axis=0)).any(axis=1)
    if flat.any():
        raise SolutionError(
            f"series {int(np.argmax(flat)) + 1} does not vary: nothing can be tested with it; "
            "is it a stuck sensor?"
        )
    return spread


def _numbered(groups, events):
    groups = np.asarray(groups)
    if groups.shape != (events,):
        raise SettingsError(f"groups of shape {groups.shape}; expected one for each event")
    return np.unique(groups, return_inverse=True)[1].reshape(-1)


def _checked_series(time, values):
    time, values = np.asarray(time, float), np.atleast_2d(np.asarray(values, float))
    if time.ndim != 1 or values.ndim != 2 or values.shape[1] != len(time) or len(time) < 3:
        raise SettingsError(
            f"time {time.shape} and values {values.shape}; expected (n,) and (series, n), n >= 3"
        )
    steps = np.diff(time)
    if not (steps > 0.0).all() or np.ptp(steps) > 1e-3 * np.median(steps):
        raise SettingsError("times are not evenly spaced: put gaps in as NaN")
    return time, values


def _checked_windows(windows, n):
    lags = tuple(int(lag) for lag in windows.lags)
    if windows.before < 1 or windows.after < 1 or not lags or min(lags) < 0:
        raise SettingsError(
            f"windows of {windows.before} before and {windows.after} after, lags {lags}; "
            "expected at least one sample each, and one lag or more from 0 up"
        )
    if windows.before + windows.after + max(lags) >= n:
        raise SettingsError(
            f"windows of {windows.before} before and {windows.after} after with lags up to "
            f"{max(lags)} do not fit into {n} samples"
        )
    return Windows(int(windows.before), int(windows.after), lags)
