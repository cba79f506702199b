"""All stations below one lake, or below all lakes, together: tests, pooled change, verdict."""

from dataclasses import dataclass, field

import numpy as np

from ..errors import StakelineError
from ..inference.arrival import arrival_speed
from ..inference.baseline import without_baseline
from ..inference.coincidence import coincidence
from ..inference.counter_tests import (
    holm,
    leave_one_out,
    other_causes,
    placebo_events,
    pre_trend,
    reverse_test,
)
from ..inference.dose import dose_response
from ..inference.permutation import Windows, chance, conclude, contrasts, plan_shifts
from ..inference.pooling import joint_covariance, pool, series_correlation
from ..inference.propagation import LEAST_SERIES, draw_lags, propagation
from .decide_arrival import arrival_times, arrivals_of
from .decide_choices import tests_otherwise
from .decide_melt import MELT, melt_taken_off
from .decide_power import again_of
from .decide_record import Question
from .decide_station import (
    DAY_STEP,
    Attempts,
    causes_compared,
    mean_of,
    shape_grid,
    usual_choices,
)
from .decide_ways import by_ways

SHIFTS, POOLED = "circular shifts", "pooled change"
PLACEBO_DRAWS = 999  # catalogues of placebo events; choice
LOUD = 3.0  # sigmas of the mean contrast, from which a change is found without the lakes; choice
DOSE_DRAWS = 999  # permutations of sizes and changes; choice
SLACK_D = 2.0  # d, by which a change found without the lakes may come later; choice


@dataclass(frozen=True)
class LakeFound:
    """What was found of one lake: tests, none of them yet against those of other lakes.

    ``stations``: StationFound of the responding ones; ``placebo_p`` {station: p, adjusted};
    ``chance``: PermutationResult; ``null`` (draws,) largest statistics of chance and ``observed``;
    ``retests`` {label: p, observed, null} of the main test under other choices; ``pooled``: Pooled;
    ``by_event`` {event: Pooled of its stations}; ``others`` {label: Pooled or None}; ``again``:
    Again, by which power is told; ``order``: Order; the rest by its name, None where it could not
    be had; ``problems``: sentences.
    """

    question: Question
    stations: tuple = ()
    placebo_p: dict = field(default_factory=dict)
    chance: object = None
    null: np.ndarray = field(default_factory=lambda: np.zeros(0))
    observed: float = np.nan
    retests: dict = field(default_factory=dict)
    pooled: object = None
    by_event: dict = field(default_factory=dict)
    left_out: object = None
    others: dict = field(default_factory=dict)
    again: object = None
    pre_trend: object = None
    order: object = None
    placebo: object = None
    causes: tuple = ()
    speed: object = None
    dose: object = None
    coincidence: object = None
    problems: tuple = ()

    @property
    def fitted(self):
        """The stations with a response estimated."""
        return tuple(s for s in self.stations if s.fit is not None)


def why_not(question):
    """Return why a question cannot be asked; '' where it can."""
    if question.events is None:
        reasons = [line for line in question.left_out if line.startswith(f"{question.lake} ")]
        more = f" ({'; '.join(reasons)})" if reasons else ""
        return f"no drainage of {question.lake} can be used{more}"
    if not question.responding:
        return f"no moving station stands on the route of {question.lake}'s water"
    return ""


def solve_lake(part, question, stations, placebos):
    """Return the :class:`LakeFound` of a question.

    Parameters
    ----------
    part : DecidePart
    question : Question
    stations : sequence of StationFound
    placebos : sequence of (p, problem)
        Of the placebo stations of the question, in their order.
    """
    why = why_not(question)
    if why:
        return LakeFound(question, problems=(why,))
    return _Lake(part, question, tuple(stations), tuple(placebos)).everything()


def pooled_of(found, label=None):
    """Return the Pooled change of stations and events.

    Parameters
    ----------
    found : sequence of (first event number, StationFound)
        Events of different lakes get numbers of their own by adding the first.
    label : str, optional
        One of the other choices; as planned where none is given.

    Raises
    ------
    SolutionError
        Where nothing was estimated.
    """
    return pool(*pool_parts(found, label))


def pool_parts(found, label=None):
    """Return (estimates, covariance, events, series) of :func:`pooled_of`."""
    each, covariances, events, residuals = [], [], [], []
    for first, station in found:
        fit = station.fit if label is None else station.others[label]
        covariance = fit.each_covariance if label is None else fit.covariance
        known = np.isfinite(fit.each)
        if not known.any():
            continue
        each.append(fit.each[known])
        covariances.append(covariance[np.ix_(known, known)])
        events.append(first + np.array(station.seen)[known])
        residuals.append(fit.residual)
    if not each:
        return np.zeros(0), np.zeros((0, 0)), np.zeros(0, int), np.zeros(0, int)
    correlation = np.maximum(series_correlation(np.array(residuals)), 0.0)
    covariance = joint_covariance(covariances, events, correlation)
    series = np.repeat(np.arange(len(each)), [len(e) for e in each])
    return np.concatenate(each), covariance, np.concatenate(events), series


def windows_of(part):
    """Return the :class:`Windows` of the main test: days before, days after, lags."""
    first, last = (round(lag / part.window_d) for lag in part.lag_d)
    before, after = (max(1, round(d / part.window_d)) for d in (part.before_d, part.after_d))
    return Windows(before, after, tuple(range(first, last + 1)))


def rest_of(part, question, baseline=None):
    """Return the responding speeds (series, n) without their baseline, as planned if None. [%]"""
    baseline = usual_choices(part, question).baseline if baseline is None else baseline
    return np.array(
        [without_baseline(question.days, s.percent, baseline) for s in question.responding]
    )


def main_test(part, question, baseline=None):
    """Return (PermutationResult, largest statistics of chance (draws,)) of one lake.

    The drainages of all lakes are shifted alike: draw by draw their statistics belong together.
    Speeds are those from day to day where motion tells them. Where melt is taken off, ice is taken
    to be restless as it melts.
    """
    question = by_ways(part, question)
    melt = None if melt_taken_off(part, question) is None else question.causes[MELT]
    plan = plan_shifts(
        question.days, rest_of(part, question, baseline), question.events.onset, windows_of(part),
        np.random.default_rng([part.seed, 5]), part.permutations, unrest=melt,
    )  # fmt: skip
    greatest = chance(plan, 0, len(plan.shifts))
    return conclude(plan, greatest), greatest.max(axis=1)


class _Lake(Attempts):
    """One lake at work."""

    def __init__(self, part, question, stations, placebos):
        super().__init__(question.lake)
        self.part, self.question, self.stations = part, question, stations
        self.placebos = placebos
        self.random = np.random.default_rng([part.seed, 3])
        self.grid, self.choices = shape_grid(part), usual_choices(part, question)
        self.windows = windows_of(part)
        self.problems += [line for s in stations for line in s.problems]
        self.problems += [line for _, line in placebos if line]

    def everything(self):
        """Return the :class:`LakeFound`."""
        found = [(0, s) for s in self.stations if s.fit is not None]
        mean = (
            self.question.days,
            mean_of([s.percent for s in self.question.responding]),
            self.question.events,
        )
        usual = self.grid, self.choices
        shifted, null = self.shifts()
        return LakeFound(
            self.question, self.stations, self.placebo_p(), shifted, null,
            np.nan if shifted is None else float(np.abs(shifted.statistic).max()),
            tests_otherwise(self.part, self.question, main_test),
            self.attempt(POOLED, pooled_of, found), self.by_event(found),
            self.attempt("leaving events out", leave_one_out, *pool_parts(found)),
            self.others(found), self.again(),
            self.attempt("change before", pre_trend, *mean, self.grid, self.part.earlier_d,
                         self.choices),
            self.attempt("order in time", reverse_test, *mean, self.grid, self.part.earlier_d,
                         self.choices),
            self.attempt("other times", placebo_events, *mean, *usual[:1], self.random,
                         self.part.before_d + self.part.after_d, self.choices, PLACEBO_DRAWS),
            tuple(self.attempt("other causes", self.causes, mean) or ()),
            self.attempt("speed along the route", self.speed, found),
            self.attempt("size and change", self.dose, found),
            self.attempt("coincidence", self.coincide), tuple(self.problems),
        )  # fmt: skip

    def shifts(self):
        """Return (PermutationResult or None, largest statistics of chance (draws,))."""
        found = self.attempt(SHIFTS, main_test, self.part, self.question)
        return (None, np.zeros(0)) if found is None else found

    def placebo_p(self):
        """Return {placebo station: p adjusted for their number}."""
        pairs = zip(self.question.placebos, self.placebos, strict=True)
        kept = [(s.station, p) for s, (p, _) in pairs if np.isfinite(p)]
        adjusted = holm([p for _, p in kept]) if kept else ()
        return {name: float(p) for (name, _), p in zip(kept, adjusted, strict=True)}

    def by_event(self, found):
        """Return {event: Pooled of its stations}."""
        each, covariance, events, series = pool_parts(found)
        pooled = {}
        for number in np.unique(events):
            own = events == number
            one = self.attempt(f"event {number + 1}", pool, each[own],
                               covariance[np.ix_(own, own)], events[own], series[own])  # fmt: skip
            if one is not None:
                pooled[int(number)] = one
        return pooled

    def others(self, found):
        """Return {label: Pooled or None} of the other choices."""
        labels = found[0][1].others if found else ()
        pooled = {}
        for label in labels:
            try:
                pooled[label] = pooled_of(found, label)
            except StakelineError:
                pooled[label] = None
        return pooled

    def again(self):
        """Return the Again of the lake; None where nothing is put in."""
        trials = self.question.trials
        if trials is None:
            return None
        return self.attempt("power", again_of, self.part, self.question, self.stations, trials,
                            self.windows)  # fmt: skip

    def causes(self, mean):
        """Return an OtherCause for melt and for the stations off the route, where there are any."""
        off_route, measured = (
            self.compared(mean, *pair) for pair in causes_compared(self.part, self.question)
        )
        return [*measured, *off_route]

    def compared(self, mean, causes, choices):
        """Return an OtherCause for each of some causes, against a baseline that holds none."""
        days, speed, events = mean
        return other_causes(
            days, speed, causes, events, self.grid, self.windows, self.random, choices
        )

    def speed(self, found):
        """Return the Propagation of the response along the route. [d/km, km/d]

        By arrivals in the ways of three stations or more; without ways by the lags.
        """
        distance = {s.station: s.distance_km for s in self.question.responding}
        ways = [s for s in self.question.responding if s.way_percent_d is not None]
        if len(ways) >= LEAST_SERIES:
            rows = np.array([arrivals_of(self.part, self.question, s) for s in ways])
            places = [s.distance_km for s in ways]
            return arrival_speed(places, arrival_times(self.part), rows)
        lags = [draw_lags(s.fit.shapes[:, 0], s.fit.weights, self.random) for _, s in found]
        return propagation([distance[s.station] for _, s in found], np.array(lags).reshape(-1, 500))

    def dose(self, found):
        """Return the Dose of the lake's events."""
        numbers, answers = answers_by_event(self.by_event(found))
        return dose_response(
            self.question.size[numbers], self.question.size_sigma[numbers], *answers, self.random,
            draws=DOSE_DRAWS,
        )  # fmt: skip

    def coincide(self):
        """Return the Coincidence of changes found without the lakes with the drainages."""
        times = loud_changes(self.question.days, rest_of(self.part, self.question), self.windows)
        days, lags = self.question.days, self.part.lag_d
        inside = self.question.events.onset
        window = DAY_STEP + lags[1] - lags[0] + SLACK_D
        later = np.minimum(times + DAY_STEP, days[-1])
        return coincidence(later, inside, days[0], days[-1], window, lags[0])


def answers_by_event(by_event):
    """Return (numbers of events, (changes, their sigmas)) of pooled events."""
    numbers = np.array(sorted(by_event), int)
    effects = np.array([by_event[k].effect for k in numbers], float)
    return numbers, (effects, np.array([by_event[k].sigma for k in numbers], float))


def loud_changes(days, rest, windows):
    """Return the times at which the mean of all stations changes most, without the lakes. [d]

    The mean contrast of all series, over its own spread (a robust one), where it is largest within
    the window before and after and beyond :data:`LOUD`.
    """
    only = Windows(windows.before, windows.after)
    table = contrasts(rest, only)[:, :, 0]
    mean = mean_of(table.T)
    size = np.nan_to_num(np.abs(mean))
    there = np.isfinite(mean)
    spread = np.median(size[there]) / 0.6745 if there.any() else np.inf
    times, free = [], np.ones(len(size), bool)
    while free.any():
        place = int(np.argmax(np.where(free, size, -1.0)))
        if not size[place] > LOUD * spread:
            break
        times.append(days[place] - 0.5 * (days[1] - days[0]))
        free[max(0, place - windows.before) : place + windows.after] = False
    return np.sort(np.array(times))
