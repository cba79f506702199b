"""How small a change would have been called one: the decision made again on changes put in.

All drainages are moved to other days together, a change is put into the speeds there, in every
station with a shape of its own, and is decided upon as the change of the drainages themselves is:
by shifts, by the pooled interval and by the doubts that depend on the change.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from ..errors import StakelineError
from ..inference.baseline import prepare, with_covariates
from ..inference.counter_tests import both_ways, holm
from ..inference.injection import (
    Doubts,
    Trials,
    amplitudes_put_in,
    doubts_put_in,
    draw_trials,
    response_put_in,
)
from ..inference.permutation import ROUNDING, chance, conclude, p_value, plan_shifts
from ..inference.pooling import joint_covariance, probability_above, series_correlation
from ..inference.power import WISHED
from ..inference.response import begin, fit_noise_rounds
from ..inference.shape import Events, columns
from ..inference.verdict import ALPHA, LARGE_SHARE, SURELY, UNDER_WAY
from .decide_melt import MELT, melt_taken_off
from .decide_station import causes_compared, mean_of, shape_grid, usual_choices
from .decide_ways import by_ways

TRIALS = 60  # moved catalogues; choice: a power of 80 % is then known to 5 points
SIZES = 0.05 * 1.3 ** np.arange(27)  # %, changes put in, to 46 %; choice
SAMPLES = 8  # of each onset, in the tests of trials; choice
DRAWS = 999  # shifts in the tests of trials; choice
FINE = 4  # parts of a day, over which the mean of a way from day to day is taken; choice


@dataclass(frozen=True)
class Power:
    """Share ``called`` (a,) of trials with a change (a,) [%] that are told as what they are.

    ``smallest`` [%] is that of 80 in 100, infinite where none is; ``trials`` counted.
    """

    change: np.ndarray
    called: np.ndarray
    smallest: float
    trials: int

    def at(self, change):
        """Return the share called at a change, between those tried. [%]"""
        return float(np.interp(np.log(change), np.log(self.change), self.called))


def trials_of(part, asked):
    """Return the Trials of each question with events and stations; None of the others."""
    there = [k for k, q in enumerate(asked) if q.events is not None and q.responding]
    found = [None] * len(asked)
    if not there:
        return found
    days = asked[there[0]].days
    drawn = draw_trials(
        [asked[k].events for k in there], shape_grid(part),
        [len(asked[k].responding) for k in there], (days[0], days[-1]),
        (part.before_d, part.lag_d[1] + part.after_d), SIZES,
        np.random.default_rng([part.seed, 6]), TRIALS, _restless(part, asked[there[0]]),
    )  # fmt: skip
    for k, trials in zip(there, drawn, strict=True):
        found[k] = trials
    return found


def _restless(part, question):
    """Return a function of onsets (k, events): the mean melt about each; None without melt."""
    if melt_taken_off(part, question) is None:
        return None
    melt, days = np.nan_to_num(question.causes[MELT]), question.days
    gone = np.concatenate([[0.0], np.cumsum(melt)])

    def about(onset):
        ends = (onset - part.before_d, onset + part.lag_d[1] + part.after_d)
        first, last = (np.interp(at, days, gone[:-1]) for at in ends)
        return last - first

    return about


@dataclass
class Again:
    """One lake's trials: its test by shifts at any of them, and its doubts about all.

    ``days`` (n,), ``rest`` (series, n) and ``responses`` (k, series, n) of unit size, as the main
    test sees them, without baseline; ``unrest`` (n,) or None.
    """

    part: object
    trials: Trials
    windows: object
    days: np.ndarray
    rest: np.ndarray
    responses: np.ndarray
    unrest: np.ndarray | None
    doubts: Doubts
    explained: np.ndarray
    tests: dict = field(default_factory=dict)

    def test(self, number, size):
        """Return (p, statistic, null (draws,)) of a trial with the change of a number."""
        if (number, size) not in self.tests:
            self.tests[number, size] = self._test(number, size)
        return self.tests[number, size]

    def _test(self, number, size):
        trials, days = self.trials, self.days
        put_in = trials.sign[number] * SIZES[size] * self.responses[number]
        step = days[1] - days[0]
        onsets = trials.blurred(number, (days[0] + step, days[-1]))
        thin = max(1, onsets.shape[1] // SAMPLES)
        draws = min(self.part.permutations, DRAWS)
        try:
            plan = plan_shifts(
                days, self.rest + put_in, onsets[:, ::thin], self.windows,
                np.random.default_rng([self.part.seed, 5]), draws, unrest=self.unrest,
            )  # fmt: skip
            null = chance(plan, 0, len(plan.shifts))
            result = conclude(plan, null)
        except StakelineError:  # this trial's days lie in gaps: nothing is found
            return 1.0, 0.0, np.full(min(len(days) - 1, draws), np.inf)
        return result.p, float(np.abs(result.statistic).max()), null.max(axis=1)


def again_of(part, question, stations, trials, windows):
    """Return the :class:`Again` of a lake; arguments as of ``solve_lake``."""
    as_tested = by_ways(part, question)
    twice = as_tested is not question
    rest, responses = _records(part, as_tested, stations, trials, twice)
    melt = None if melt_taken_off(part, as_tested) is None else as_tested.causes[MELT]
    alike = _mean_responses(part, question, trials)
    return Again(
        part, trials, windows, as_tested.days, rest, responses, melt,
        _doubts(part, question, trials, alike), _explained(part, question, trials, alike),
    )  # fmt: skip


def _records(part, question, stations, trials, twice):
    """Return (rest (series, n), responses (k, series, n)), both without baseline."""
    grid, baseline, days = shape_grid(part), usual_choices(part, question).baseline, question.days
    fitted = {s.station: s for s in stations if s.fit is not None}
    rest = np.full((len(question.responding), len(days)), np.nan)
    responses = np.full((len(trials), *rest.shape), np.nan)
    for place, speeds in enumerate(question.responding):
        ready = prepare(days, speeds.percent, baseline)
        there, table = ready.present, [ready.values]
        for k in range(len(trials)):
            one = grid.only(trials.shape[k, place])
            table.append(_seen(days, trials.begun(k), one, part.window_d, twice).sum(axis=0)[there])
        found = fitted.get(speeds.station)
        if found is not None:
            table[0] = table[0] - _own(question, found, grid, part.window_d, twice)[there]
        table = np.array(table).T
        table = (table - ready.design @ (ready.design.T @ table)).T
        rest[place, there], responses[:, place, there] = table[0], table[1:]
    return rest, responses


def _own(question, found, grid, width, twice):
    """Return the response (n,) that was found at the drainages themselves."""
    known = question.events.only(list(found.seen))
    events = Events(known.middle, np.median(known.end, axis=1))
    shapes = _seen(question.days, events, grid.only(found.fit.best), width, twice)
    return np.nan_to_num(found.fit.each) @ shapes


def _seen(days, events, one, width, twice):
    """Return responses (events, n) as slopes of days show them, or ways from day to day."""
    parts = (np.arange(FINE) + 0.5) / FINE - 0.5 if twice else np.zeros(1)
    return np.mean(
        [columns(days + width * p, events, one, width, 0)[:, :, 0] for p in parts], axis=0
    )


def _mean_responses(part, question, trials):
    """Return the mean response (k, n) of the stations with a speed, of unit size."""
    days, grid, found = question.days, shape_grid(part), []
    there = np.isfinite([s.percent for s in question.responding])
    for k in range(len(trials)):
        each = [response_put_in(days, trials, k, grid, s, part.window_d) for s in trials.shape[k]]
        found.append(mean_of(np.where(there, each, np.nan)))
    return np.array(found)


def _problem(part, question, grid, choices, noise):
    """Return the Problem of the mean speed, its noise known."""
    mean = mean_of([s.percent for s in question.responding])
    problem = begin(question.days, mean, question.events, grid, choices)
    fit_noise_rounds(problem, noise)
    return problem


def _doubts(part, question, trials, responses):
    """Return the Doubts about what is put in, by the mean of the stations."""
    grid, usual = shape_grid(part), usual_choices(part, question)
    problem = _problem(part, question, both_ways(grid, part.earlier_d), usual, "memory")
    return doubts_put_in(problem, trials, responses, grid, part.earlier_d)


def _explained(part, question, trials, responses):
    """Return the largest share (k, a) of what is put in that a cause seems to explain, 0 or more.

    0 as well where a cause cannot be compared: then the decision does not count it either.
    """

    def amplitudes(choices):
        problem = _problem(part, question, shape_grid(part), choices, choices.noise)
        return amplitudes_put_in(problem, trials, responses)

    largest = np.zeros((len(trials), len(SIZES)))
    for causes, choices in causes_compared(part, question):
        tables = [np.reshape(cause, (len(question.days), -1)) for cause in causes.values()]
        try:
            alone = amplitudes(choices) if tables else None
            for table in tables:
                baseline = with_covariates(choices.baseline, table)
                beside = amplitudes(replace(choices, baseline=baseline))
                largest = np.fmax(largest, 1.0 - beside / alone)
        except StakelineError:
            return np.zeros_like(largest)
    return largest


def power_of(lakes, tested, pairs):
    """Return the :class:`Power` of a decision; None where it cannot be told.

    Parameters
    ----------
    lakes : sequence of LakeFound
        Decided upon together.
    tested : sequence of LakeFound
        All that were tested: one lake's p is adjusted for their number.
    pairs : sequence of (first event number, StationFound)
        As of ``pooled_of``.
    """
    pairs = [(first, s) for first, s in pairs if s.put_in is not None]
    if not pairs or any(f.again is None for f in (*lakes, *tested)):
        return None
    decision = _Decision(lakes, tested, pairs)
    found = np.array([decision.found(k) for k in range(TRIALS)])
    placebos = any(f.question.placebos for f in lakes)
    called = (found & ~decision.blocked()).mean(axis=0) * (1.0 - ALPHA * placebos)
    return Power(SIZES, called, _reached(called), TRIALS)


def _reached(called):
    """Return the size at which the share wished is reached first; infinite where none does. [%]"""
    if called.max() < WISHED:
        return np.inf
    after = int(np.argmax(called >= WISHED))
    if after == 0:
        return float(SIZES[0])
    at = np.interp(WISHED, called[after - 1 : after + 1], np.log(SIZES[after - 1 : after + 1]))
    return float(np.exp(at))


class _Decision:
    """A decision made again on each trial."""

    def __init__(self, lakes, tested, pairs):
        self.lakes, self.tested, self.pairs = lakes, tested, pairs
        residuals = np.array([s.fit.residual for _, s in pairs])
        self.correlation = np.maximum(series_correlation(residuals), 0.0)
        self.sign = lakes[0].again.trials.sign

    def found(self, number):
        """Say at which sizes (a,) a trial is found: from the least one on, by halving."""
        low, high = -1, len(SIZES) - 1
        if not self._called(number, high):
            return np.zeros(len(SIZES), bool)
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (low, middle) if self._called(number, middle) else (middle, high)
        return np.arange(len(SIZES)) >= high

    def _called(self, number, size):
        return self._p(number, size) <= ALPHA and self._outside(number, size)

    def _p(self, number, size):
        if len(self.lakes) == 1:
            p = holm([f.again.test(number, size)[0] for f in self.tested])
            return p[[f is self.lakes[0] for f in self.tested].index(True)]
        each = [f.again.test(number, size) for f in self.lakes]
        largest = np.max([null for _, _, null in each], axis=0)
        bar = max(statistic for _, statistic, _ in each) * (1.0 - ROUNDING)
        return p_value((largest >= bar).sum(), len(largest))

    def _outside(self, number, size):
        """Say whether the pooled interval lies on the right side of 0."""
        each, covariances, events, kept = [], [], [], []
        for place, (first, station) in enumerate(self.pairs):
            estimates, spread = (part[number, size] for part in station.put_in)
            known = np.isfinite(estimates)
            if known.any():
                kept.append(place)
                each.append(estimates[known])
                covariances.append(spread[np.ix_(known, known)])
                events.append(first + np.array(station.seen)[known])
        if not each:
            return False
        covariance = joint_covariance(covariances, events, self.correlation[np.ix_(kept, kept)])
        above = probability_above(np.concatenate(each), covariance, np.concatenate(events))
        return (above if self.sign[number] > 0.0 else 1.0 - above) >= 1.0 - 0.5 * ALPHA

    def blocked(self):
        """Say for each trial and size (k, a) whether a doubt forbids to call it a response."""
        early = np.nanmax([f.again.doubts.early for f in self.lakes], axis=0)
        trend = np.array([f.again.doubts.trend_p for f in self.lakes])
        least = np.nanmin(trend, axis=0) * len(trend)  # the least of Holm's
        explained = np.max([f.again.explained for f in self.lakes], axis=0)
        return (early > SURELY) | (least < UNDER_WAY) | (explained > LARGE_SHARE)
