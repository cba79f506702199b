"""What one station's speed says about a catalogue of drainages, and what a doubter would ask."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..errors import StakelineError
from ..inference.baseline import Baseline, with_covariates
from ..inference.counter_tests import placebo_events, pre_trend, reverse_test
from ..inference.injection import estimates_put_in
from ..inference.response import Choices, begin, fit_noise_rounds, fit_response
from ..inference.scan import scan_shapes
from ..inference.shape import ShapeGrid, columns
from .decide_covariates import fortnight_periods, fortnight_taken_off, influences_taken_off
from .decide_melt import MELT, melt_columns, melt_taken_off
from .decide_ways import coarser

YEAR_D = 365.25
SEASON_D = 300.0  # of record, from which a season is taken out; choice
PLACEBO_DRAWS = 499  # catalogues of placebo events; choice
LEAST_AROUND = 0.5  # of the days before and after an onset that must have a speed; choice
DAY_STEP = 1.0  # d, step of lags before an event: less than a day means of days cannot tell
FIXED_D = 10.0  # d, plateau of one of the other choices
AS_MEASURED = "as planned"
OFF_ROUTE = "the speed of stations off the route"


@dataclass(frozen=True)
class Fitted:
    """One choice at one station: event by event, all of them, and the lag; or the ``problem``."""

    each: np.ndarray
    covariance: np.ndarray
    residual: np.ndarray
    lag: float = np.nan
    problem: str = ""


@dataclass(frozen=True)
class StationFound:
    """What was found at one station.

    ``seen``: numbers of the events that its record holds; ``fit``: its Response to these, None
    where there is none; ``single``: {number of the event: Response to it alone}; ``put_in``:
    estimates and covariances of the trials of power; ``pre_trend``, ``before_probability``,
    ``placebo``: counter-tests; ``others``: {label:
    :class:`Fitted`}; ``problems``: sentences.
    """

    station: str
    seen: tuple
    fit: object = None
    single: dict = field(default_factory=dict)
    put_in: tuple | None = None
    pre_trend: object = None
    before_probability: float = np.nan
    placebo: object = None
    others: dict = field(default_factory=dict)
    problems: tuple = ()


def shape_grid(part):
    """Return the :class:`ShapeGrid` of the settings: plateaus as long as the events and longer."""
    return ShapeGrid(_lags(part), part.rise_d, part.longer_d, part.decay_d, as_event=True)


def _lags(part):
    first, last = part.lag_d
    return tuple(first + part.lag_step_d * np.arange(int((last - first) / part.lag_step_d) + 1))


def usual_choices(part, question):
    """Return the :class:`Choices` of the settings: trend, season where the record has one, melt.

    And what the user gave, and the fortnight where the tide moves a station.
    """
    taken = fortnight_taken_off(part, question)
    baseline = usual_baseline(question, influences_taken_off(part, question), taken)
    return Choices(baseline, width=part.window_d)


def usual_baseline(question, influences=None, fortnight=False):
    """Return the :class:`Baseline` of a question: trend, season, ``influences`` (n, c) if given."""
    span = np.ptp(question.days) if len(question.days) else 0.0
    periods = (YEAR_D,) if span >= SEASON_D else ()
    periods += fortnight_periods(span) if fortnight else ()
    return Baseline(1, periods, influences)


def other_choices(part, question):
    """Return {label: (grid, choices)} of the table of other choices."""
    grid, usual = shape_grid(part), usual_choices(part, question)
    base = usual.baseline
    season = YEAR_D in base.periods
    periods = tuple(p for p in base.periods if p != YEAR_D)
    found = {
        "noise of independent days": (grid, replace(usual, noise="white")),
        "noise by a power law": (grid, replace(usual, noise="power law")),
        "no season" if season else "with a season": (
            grid, replace(usual, baseline=replace(
                base, periods=periods if season else (YEAR_D, *periods))),
        ),
        "trend of second degree": (grid, replace(usual, baseline=replace(base, trend=2))),
        f"plateau of {FIXED_D:g} d for all": (
            ShapeGrid(_lags(part), part.rise_d, (FIXED_D,), part.decay_d), usual,
        ),
        "no decay": (
            ShapeGrid(_lags(part), part.rise_d, part.longer_d, (0.0,), as_event=True), usual,
        ),
    }  # fmt: skip
    for label, baseline in _other_baselines(part, question, base):
        found[label] = (grid, replace(usual, baseline=baseline))
    label, other = wider_lags(part)
    if label:
        found[label] = (shape_grid(other), usual)
    beside = placebo_mean(question)
    if beside is not None:
        found["stations off the route taken off"] = (
            grid, replace(usual, baseline=with_covariates(base, beside)),
        )  # fmt: skip
    return found


def wider_lags(part):
    """Return (label, settings) with lags up to twice as long, in steps twice as long; '' if 0."""
    first, last = part.lag_d
    other = part.model_copy(
        update={"lag_d": (first, 2.0 * last), "lag_step_d": 2.0 * part.lag_step_d}
    )
    return f"lags up to {2.0 * last:g} d" if last > 0.0 else "", other


def _other_baselines(part, question, base):
    """Yield (label, Baseline) with one influence more or less than as planned."""
    whole = {"influences": influences_taken_off(part, question)}
    taken = fortnight_taken_off(part, question)
    other = usual_baseline(question, **whole, fortnight=not taken)
    if question.tides and other.periods != base.periods:
        yield f"fortnight {'not ' * taken}taken off", other
    off = {MELT} if melt_taken_off(part, question) is not None else set()
    for name in (MELT, *question.given):
        if name in off or name in question.given:
            less = influences_taken_off(part, question, less=name)
            label = "melt" if name == MELT else name
            yield f"{label} not taken off", replace(base, covariates=less)
    for name, cause in question.causes.items():
        if name not in off and name not in question.given:
            more = melt_columns(cause) if name == MELT else cause
            yield f"{name} taken off", with_covariates(base, more)


def placebo_mean(question):
    """Return the mean speed (n,) of the placebo stations [%]; None where there are none."""
    return mean_of([s.percent for s in question.placebos]) if question.placebos else None


def causes_compared(part, question):
    """Return ((causes by name, Choices that hold none of them), ...): off the route, measured.

    What a change is compared with: the placebo stations, then melt and what the user gave.
    """
    usual = usual_choices(part, question)
    off_route = {OFF_ROUTE: placebo_mean(question)} if question.placebos else {}
    measured = {
        name: melt_columns(cause) if name in (MELT, *question.given) else cause
        for name, cause in question.causes.items()
    }
    plain = replace(usual, baseline=usual_baseline(question))
    return (off_route, usual), (measured, plain)


def mean_of(rows):
    """Return the mean (n,) of the values that are there in rows (k, n); NaN where there is none."""
    table = np.array(rows, float)
    known = np.isfinite(table)
    count = known.sum(axis=0)
    total = np.where(known, table, 0.0).sum(axis=0)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def daily_grid(part):
    """Return the shapes with lags of whole days, for what comes before an event.

    Less than a day means of days cannot tell.
    """
    lags = tuple(np.arange(part.lag_d[0], part.lag_d[1] + 0.5 * DAY_STEP, DAY_STEP))
    return ShapeGrid(lags, part.rise_d, part.longer_d, part.decay_d, as_event=True)


class Attempts:
    """What is tried about one ``subject``; what cannot be done becomes a sentence."""

    def __init__(self, subject, problems=()):
        self.subject, self.problems = subject, list(problems)

    def attempt(self, what, function, *arguments, **options):
        """Return the result, or None and one more problem."""
        try:
            return function(*arguments, **options)
        except StakelineError as problem:
            self.problems.append(f"{self.subject}: {what}: {problem}")
            return None


def events_seen(part, question, speeds):
    """Return the numbers of the events around which a station has half of its days or more."""
    onset = question.events.middle
    there = np.isfinite(speeds.percent)
    found = []
    for number, at in enumerate(onset):
        sides = (
            (question.days > at - part.before_d) & (question.days < at),
            (question.days > at) & (question.days < at + part.after_d),
        )
        wished = LEAST_AROUND * part.before_d, LEAST_AROUND * part.after_d
        days = [there[side].sum() * part.window_d for side in sides]
        if days[0] >= wished[0] and days[1] >= wished[1]:
            found.append(number)
    return tuple(found)


def solve_station(task):
    """Return the :class:`StationFound` of ``(part, question, index)``; for worker processes."""
    part, question, index = task
    speeds = question.responding[index]
    seen = events_seen(part, question, speeds)
    name = speeds.station
    if not seen:
        return StationFound(name, seen, problems=(f"{name}: no event lies in its record",))
    return _Station(part, question, index, seen).everything()


class _Station(Attempts):
    """One station at work: its series, the events that it saw, what went wrong."""

    def __init__(self, part, question, index, seen):
        self.index, self.speeds = index, question.responding[index]
        super().__init__(self.speeds.station)
        self.part, self.question, self.seen = part, question, seen
        self.events = question.events.only(np.array(seen))
        self.grid, self.choices = shape_grid(part), usual_choices(part, question)
        self.series = question.days, self.speeds.percent, self.events

    def everything(self):
        """Return the :class:`StationFound`."""
        sigma, part = self.speeds.sigma_percent, self.part
        problem = self.attempt("response", self.fitted)
        fit = None if problem is None else problem.report(self.choices.level)
        if fit is None:
            return StationFound(self.speeds.station, self.seen, problems=tuple(self.problems))
        random = np.random.default_rng([part.seed, 1])
        before = self.attempt(
            "order in time", reverse_test, *self.series, daily_grid(part), part.earlier_d,
            self.choices, sigma,
        )  # fmt: skip
        return StationFound(
            self.speeds.station, self.seen, fit, self.single(fit),
            self.put_in(problem),
            self.attempt("change before", pre_trend, *self.series, self.grid, part.earlier_d,
                         self.choices, sigma),
            np.nan if before is None else before.before,
            self.attempt("other times", placebo_events, *self.series, self.grid, random,
                         part.before_d + part.after_d, self.choices, PLACEBO_DRAWS),
            self.others(), tuple(self.problems),
        )  # fmt: skip

    def fitted(self):
        """Return the Problem of the station, its noise known."""
        problem = begin(*self.series, self.grid, self.choices, self.speeds.sigma_percent)
        fit_noise_rounds(problem, self.choices.noise)
        return problem

    def put_in(self, problem):
        """Return what the station makes of the changes put in; None where there are none."""
        trials = self.question.trials
        if trials is None:
            return None
        shapes = trials.shape[:, self.index]
        return estimates_put_in(problem, trials.only(list(self.seen)), shapes)

    def single(self, fit):
        """Return {event: Response to it alone}, the others taken out as covariates."""
        if len(self.seen) == 1:
            return {self.seen[0]: fit}
        best = self.grid.only(fit.best)
        sample = int(np.argmax(fit.joint[:, fit.best]))
        shapes = columns(self.question.days, self.events, best, self.part.window_d, sample)[:, :, 0]
        found = {}
        for place, number in enumerate(self.seen):
            rest = np.delete(np.arange(len(self.seen)), place)
            baseline = with_covariates(self.choices.baseline, shapes[rest].T)
            one = self.attempt(
                f"event {number + 1} alone", fit_response, *self.series[:2],
                self.events.only(np.array([place])), self.grid,
                replace(self.choices, baseline=baseline), self.speeds.sigma_percent,
            )  # fmt: skip
            if one is not None:
                found[number] = one
        return found

    def others(self):
        """Return {label: Fitted} under other choices; what cannot be estimated says why."""
        sigma = self.speeds.sigma_percent
        found = {
            label: self.otherwise(self.series, grid, choices, sigma)
            for label, (grid, choices) in other_choices(self.part, self.question).items()
        }
        label, part, question = coarser(self.part, self.question)
        speeds = question.responding[self.index]
        series = question.days, speeds.percent, self.events
        choices = usual_choices(part, question)
        found[label] = self.otherwise(series, self.grid, choices, speeds.sigma_percent)
        return found

    def otherwise(self, series, grid, choices, sigma):
        """Return the Fitted of one other choice."""
        try:
            fit = fit_response(*series, grid, choices, sigma)
        except StakelineError as problem:
            nothing = np.full(len(self.seen), np.nan)
            square = np.full((len(nothing), len(nothing)), np.nan)
            empty = np.full(len(series[0]), np.nan)
            return Fitted(nothing, square, empty, problem=str(problem))
        return Fitted(fit.each, fit.each_covariance, fit.residual, fit.lag)


def solve_placebo(task):
    """Return the p of a response of a placebo station, NaN where there is none, and the reason."""
    part, question, index = task
    speeds = question.placebos[index]
    seen = events_seen(part, question, speeds)
    if not seen:
        return np.nan, f"{speeds.station}: no event lies in its record"
    try:
        found = scan_shapes(
            question.days, speeds.percent, question.events.only(np.array(seen)), shape_grid(part),
            np.random.default_rng([part.seed, 2, index]), usual_choices(part, question),
            speeds.sigma_percent,
        )  # fmt: skip
    except StakelineError as problem:
        return np.nan, f"{speeds.station}: {problem}"
    return found.p, ""
