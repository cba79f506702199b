"""What a doubter would ask: was it so before, elsewhere, without the event, for another reason?"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import t as student

from ..errors import SettingsError, SolutionError, StakelineError
from .baseline import with_covariates, without_baseline
from .coloured import degrees_of_freedom, fit_coloured, whiten
from .injection import elsewhere, ramp_before
from .permutation import p_value, permutation_test
from .pooling import pool
from .response import Choices, begin, fit_noise_rounds, fit_response
from .scan import scan_shapes
from .shape import ShapeGrid

ALPHA = 0.05
TRIES = 2000  # draws of one catalogue of placebo events; our choice


@dataclass(frozen=True)
class CounterTest:
    """An estimate that ought to be nothing: ``estimate``, ``sigma`` [value], two-sided ``p``."""

    estimate: float
    sigma: float
    p: float


@dataclass(frozen=True)
class Order:
    """Probabilities that a change began ``before`` the events, and ``early``: surely before.

    Early is by more than the interval that a value is a mean over: less than that cannot be told.
    What is not known of the onsets is averaged over.
    """

    before: float
    early: float


@dataclass(frozen=True)
class Placebo:
    """The amplitude against amplitudes at placebo events; ``p`` = (1 + b) / (1 + draws).

    ``estimates`` (draws,) [value], ``observed`` [value]; ``spread`` of the scores, 1 where the
    sigmas are honest; ``resolution``: the smallest p there can be.
    """

    observed: float
    estimates: np.ndarray
    spread: float
    p: float
    resolution: float


@dataclass(frozen=True)
class OtherCause:
    """A measured influence: does it change with the events, and what is left without it?

    ``p_with_events`` of the influence's own contrast at the events; ``without`` and ``within`` the
    amplitude [value] when it is not, and is, in the baseline; ``interval`` (2,) of the latter;
    ``explained`` = 1 - within / without.
    """

    name: str
    p_with_events: float
    without: float
    within: float
    interval: np.ndarray
    explained: float


@dataclass(frozen=True)
class LeftOut:
    """The pooled effect without each event (events,) [value], its ``sigma`` and ``interval``.

    ``most`` is the event whose absence moves it most; ``sign_holds`` without any one of them.
    """

    effect: np.ndarray
    sigma: np.ndarray
    interval: np.ndarray
    most: int
    sign_holds: bool


@dataclass(frozen=True)
class Variation:
    """One row of a table of other choices; ``problem`` says why there is no estimate."""

    label: str
    amplitude: float
    interval: np.ndarray
    lag: float
    lag_interval: np.ndarray
    problem: str


def pre_trend(time, values, events, grid, length, choices=None, sigma=None):
    """Return how much the series changed over ``length`` [time] before the events.

    A ramp that ends at each onset is estimated together with the most likely response, under the
    same noise: a change that was under way before is no response.
    """
    choices = Choices() if choices is None else choices
    if not length > 0.0:
        raise SettingsError(f"a stretch of {length} before the events; expected a positive one")
    problem = begin(time, values, events, grid, choices, sigma)
    fit_noise_rounds(problem, choices.noise)
    ready = problem.ready
    ramp = ramp_before(ready.time, events, length)
    if ramp.max() == 0.0:
        raise SolutionError(f"no value lies within {length:g} before any event: nothing to compare")
    response = problem.mean_shape(problem.best)
    return _regress(ready, np.column_stack([response, ramp]), choices.noise)


def reverse_test(time, values, events, grid, earliest, choices=None, sigma=None):
    """Return the :class:`Order` in time of events and change.

    The lags of the grid are continued as far as ``earliest`` [time] before the events, in the same
    steps, all equally likely beforehand.
    """
    choices = Choices() if choices is None else choices
    problem = begin(time, values, events, both_ways(grid, earliest), choices, sigma)
    fit_noise_rounds(problem, choices.noise)
    lags, weights = problem.grid.table[:, 0], problem.joint.sum(axis=0)
    surely = weights[lags < -problem.width].sum()
    return Order(float(weights[lags < 0.0].sum()), float(surely))


def both_ways(grid, earliest):
    """Return a grid with its lags continued to ``earliest`` [time] before the events."""
    lags = np.unique(grid.table[:, 0])
    step = np.median(np.diff(lags)) if len(lags) > 1 else earliest / 10.0
    if not earliest >= step:
        raise SettingsError(f"{earliest} before the events is less than a step of {step:g} of lags")
    earlier = lags[0] - step * np.arange(round((earliest + lags[0]) / step), 0, -1)
    axes = [tuple(np.concatenate([earlier, lags])), *grid.axes()[1:]]
    return ShapeGrid(*axes, as_event=grid.as_event)


def placebo_events(time, values, events, grid, generator, away, choices=None, draws=999):
    """Return the :class:`Placebo` of catalogues of as many events at other times.

    Placebo events lie ``away`` [time] or more from all events, from each other and from the ends
    of the record. Raises SolutionError where there is no such room.
    """
    choices = Choices() if choices is None else choices
    problem = begin(time, values, events, grid, choices)
    fit_noise_rounds(problem, choices.noise)
    allowed = _allowed(problem.ready, events.middle, away)
    count = _room(allowed, away, len(events))
    places = np.array([_draw(allowed, away, count, generator) for _ in range(draws)])
    estimates, sigmas = elsewhere(problem, places)
    scores = estimates / sigmas
    scores = scores[np.isfinite(scores)]
    if len(scores) < 0.5 * draws:
        raise SolutionError("most placebo events fall into gaps: the record is too thin for them")
    best = problem.best
    share = problem.joint[:, best] / problem.joint[:, best].sum()
    amplitude = share @ np.nan_to_num(problem.amplitudes[:, best])
    observed = amplitude / np.nanmean(problem.sigmas[:, best])
    return Placebo(
        observed=float(amplitude),
        estimates=estimates,
        spread=float(scores.std()),
        p=float(p_value((np.abs(scores) >= abs(observed)).sum(), len(scores))),
        resolution=float(p_value(0, len(scores))),
    )


def placebo_series(time, series, events, grid, generator, choices=None):
    """Return the adjusted p (k,) of a response of series (k, n) that must not respond.

    Holm (1979), Scand. J. Stat. 6, 65.
    """
    rows = np.atleast_2d(np.asarray(series, float))
    p = [scan_shapes(time, row, events, grid, generator, choices).p for row in rows]
    return holm(p)


def holm(p):
    """Return the p of several tests adjusted by Holm's steps (1979), Scand. J. Stat. 6, 65."""
    p = np.asarray(p, float)
    order = np.argsort(p)
    steps = np.maximum.accumulate(p[order] * (len(p) - np.arange(len(p))))
    adjusted = np.empty(len(p))
    adjusted[order] = np.minimum(steps, 1.0)
    return adjusted


def other_causes(time, values, causes, events, grid, windows, generator, choices=None):
    """Return an :class:`OtherCause` for each named influence (n,) or (n, c) of a mapping.

    ``time`` evenly spaced; ``windows`` as of the permutation, by which it is tested whether the
    influence itself (its first column) changes with the events, trend and season taken out. An
    influence that acts late has earlier values as further columns.
    """
    choices = Choices() if choices is None else choices
    plain = fit_response(time, values, events, grid, choices)
    found = []
    for name, cause in causes.items():
        cause = np.asarray(cause, float).reshape(len(time), -1)
        rest = without_baseline(time, cause[:, 0], replace(choices.baseline, covariates=None))
        chance = permutation_test(time, rest, events.onset, windows, generator)
        more = replace(choices, baseline=with_covariates(choices.baseline, cause))
        fit = fit_response(time, values, events, grid, more)
        found.append(
            OtherCause(
                name=name,
                p_with_events=float(chance.p),
                without=plain.amplitude,
                within=fit.amplitude,
                interval=fit.interval,
                explained=1.0 - fit.amplitude / plain.amplitude,
            )
        )
    return found


def leave_one_out(estimates, covariance, events, series=None, level=0.95):
    """Return the :class:`LeftOut` table of the pooled effect; arguments as of ``pool``."""
    estimates, events = np.asarray(estimates, float), np.asarray(events)
    series = np.zeros(len(events), int) if series is None else np.asarray(series)
    seen = np.unique(events[np.isfinite(estimates)])
    if len(seen) < 2:
        raise SolutionError(f"{len(seen)} event was seen: none can be left out")
    whole = pool(estimates, covariance, events, series, level).effect
    parts = []
    for event in seen:
        keep = events != event
        kept = np.asarray(covariance, float)[np.ix_(keep, keep)]
        parts.append(pool(estimates[keep], kept, events[keep], series[keep], level))
    effect = np.array([part.effect for part in parts])
    return LeftOut(
        effect=effect,
        sigma=np.array([part.sigma for part in parts]),
        interval=np.array([part.interval for part in parts]),
        most=int(np.abs(effect - whole).argmax()),
        sign_holds=bool((np.sign(effect) == np.sign(whole)).all()),
    )


def vary(time, values, events, variations, sigma=None):
    """Return a :class:`Variation` for each (grid, choices) of a mapping by label.

    Choices under which nothing can be estimated keep their row, with the reason.
    """
    rows = []
    nothing = np.full(2, np.nan)
    for label, (grid, choices) in variations.items():
        try:
            fit = fit_response(time, values, events, grid, choices, sigma)
        except StakelineError as error:
            rows.append(Variation(label, np.nan, nothing, np.nan, nothing, str(error)))
            continue
        rows.append(
            Variation(label, fit.amplitude, fit.interval, fit.lag, fit.lag_interval, problem="")
        )
    return rows


def _regress(ready, table, kind):
    """Return the :class:`CounterTest` of the last column (m, c) beside the baseline."""
    noise = fit_coloured(ready, kind, table)

    def variance(other):
        white = whiten(other, ready, np.column_stack([ready.design, table]))
        return np.linalg.qr(white, mode="r")[-1, -1] ** -2.0

    white = whiten(noise, ready, np.column_stack([ready.design, table, ready.values]))
    triangle = np.linalg.qr(white, mode="r")
    last = triangle.shape[1] - 2
    if abs(triangle[last, last]) < 1e-6 * np.linalg.norm(triangle[:, last]):
        raise SolutionError("a change before the events cannot be told from trend and season")
    estimate = triangle[last, -1] / triangle[last, last]
    sigma = np.sqrt(noise.level) / abs(triangle[last, last])
    degrees = degrees_of_freedom(noise, ready, variance, table)
    p = 2.0 * student.sf(abs(estimate) / sigma, degrees)
    return CounterTest(float(estimate), float(sigma), float(p))


def _allowed(ready, onsets, away):
    """Return the times at which a placebo event may lie, one a step."""
    if not away > 0.0:
        raise SettingsError(f"placebo events {away} away from events; expected a positive distance")
    times = np.arange(ready.time[0] + away, ready.time[-1] - away, ready.step)
    near = np.abs(times[:, None] - onsets).min(axis=1) < away if len(times) else times
    return times[~near] if len(times) else times


def _room(allowed, away, wished):
    """Return how many placebo events a catalogue has: as many as wished, where they fit in."""
    last, count = -np.inf, 0
    for time in allowed:
        if time - last >= away:
            last, count = time, count + 1
    if count == 0:
        raise SolutionError(
            f"no time is {away:g} away from all events and ends: the record has no room for "
            "placebo events; take a shorter distance"
        )
    return max(1, min(wished, count // 2))


def _draw(allowed, away, count, generator):
    """Return ``count`` placebo onsets, ``away`` from each other."""
    chosen = np.empty(0)
    for _ in range(TRIES):
        at = generator.choice(allowed) + 0.0
        if len(chosen) == 0 or np.abs(chosen - at).min() >= away:
            chosen = np.append(chosen, at)
            if len(chosen) == count:
                return np.sort(chosen)
    raise SolutionError(f"{count} placebo events {away:g} apart were not found in {TRIES} draws")
