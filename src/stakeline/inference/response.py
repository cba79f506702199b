"""How a series responds to events: amplitude, lag, duration and excess, with their intervals.

    y(t) = baseline(t) + sum over events of amplitude * shape(t - onset; lag, rise, duration, decay)
           + coloured noise

The amplitude has a free sign. Shapes and times of events are few, so all of them are tried: level,
trend, season, covariates and amplitude are integrated out in closed form at each, the level of the
noise too. A shape weighs as what it leaves unexplained does, ``(1 + (best t^2 - t^2) / f) **
(-f / 2)``: the prior of an amplitude is taken as wide, in units of its own sigma, for every shape
(Zellner 1986), else shapes that the record hardly sees would win. The times of events are averaged
over their samples.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.stats import t as student

from ..errors import SettingsError, SolutionError
from .baseline import Baseline, prepare
from .coloured import degrees_of_freedom, fit_coloured, whiten
from .event_lags import lag_quantiles
from .mixture import log_likelihood_of, mixture_below, mixture_quantile, weighted_quantile
from .shape import Events, columns, reached, together

LEVEL = 0.95
ROUNDS = 2  # the noise is estimated again with the best shape taken out; our choice
INVISIBLE = 1e-3  # of a shape that baseline and noise leave, relative; our choice
LEAST_SEEN = 0.5  # of the peak of a shape; our choice: no amplitude from a tail alone
KEPT_VALUES = 20_000_000  # numbers of shapes kept from round to round; our choice: 160 MB
TABLE_VALUES = 4_000_000  # numbers in one table of shapes; our choice: 32 MB


@dataclass(frozen=True)
class Choices:
    """What is decided before looking: baseline, kind of noise, level of the intervals.

    ``width`` [time] over which each value is a mean; the usual spacing where it is None.
    """

    baseline: Baseline = field(default_factory=Baseline)
    noise: str = "memory"
    level: float = LEVEL
    width: float | None = None


@dataclass(frozen=True)
class Response:
    """The response of one series to a catalogue of events; intervals at ``level``.

    ``amplitude`` [value] of all events together, ``sigma``, ``interval`` (2,), ``probability_up``
    that it is positive; ``lag``, the mean of the lags of the events that are seen, ``duration`` (of
    a plateau of the same integral) [time] with ``lag_interval``, ``duration_interval`` (2,);
    ``excess`` [value time], the integral of all responses up to the end of the record,
    ``excess_interval`` (2,); ``each`` (events,) the amplitudes event by event at the most likely
    shape, with ``each_covariance``; NaN where the record does not see an event. ``p`` of no effect
    at a shape fixed beforehand, NaN where the shapes are more than one (use
    :func:`stakeline.inference.scan.scan_shapes`).

    ``degrees`` of freedom of every t; ``shapes`` (g, 4) and their ``weights`` (g,), ``amplitudes``
    and ``sigmas`` (samples, g) with the weights (samples, g) of ``joint``; ``best`` the number
    of the most likely shape; ``lag_at_edge``: it lies on the edge of the grid; ``seen`` (events,)
    share of the samples between lag and plateau that have values; ``residual`` (n,) [value]
    without baseline and response; ``noise``.
    """

    amplitude: float
    sigma: float
    interval: np.ndarray
    probability_up: float
    lag: float
    lag_interval: np.ndarray
    duration: float
    duration_interval: np.ndarray
    excess: float
    excess_interval: np.ndarray
    each: np.ndarray
    each_covariance: np.ndarray
    p: float
    degrees: float
    shapes: np.ndarray
    weights: np.ndarray
    joint: np.ndarray
    amplitudes: np.ndarray
    sigmas: np.ndarray
    best: int
    lag_at_edge: bool
    seen: np.ndarray
    residual: np.ndarray
    noise: object
    level: float


def fit_response(time, values, events, grid, choices=None, sigma=None):
    """Estimate the response of one series to events.

    Parameters
    ----------
    time, values : array (n,)
        Ascending; NaN is a gap. [time], [value]
    events : Events
    grid : ShapeGrid
    choices : Choices, optional
    sigma : array (n,), optional
        Standard deviations of the values, where they differ. [value]

    Returns
    -------
    Response

    Raises
    ------
    SettingsError
        An event outside the record.
    SolutionError
        Too few values, a series that does not vary, a response that the record cannot see or tell
        from trend and season.
    """
    choices = Choices() if choices is None else choices
    problem = begin(time, values, events, grid, choices, sigma)
    fit_noise_rounds(problem, choices.noise)
    return problem.report(choices.level)


def begin(time, values, events, grid, choices, sigma=None):
    """Return the :class:`Problem` of a series, checked, its noise not yet known."""
    ready = prepare(time, values, choices.baseline, sigma)
    refuse_outside(ready, events)
    refuse_close(events, grid, ready.step)
    width = ready.step if choices.width is None else choices.width
    return Problem(ready, events, grid, width)


def fit_noise_rounds(problem, kind):
    """Estimate the noise without a response, then again with the most likely one taken out.

    Before the last round the times of the events stand at their medians: a matter of speed.
    """
    extra = None
    rough = Problem(problem.ready, problem.median_events(), problem.grid, problem.width)
    for _ in range(ROUNDS):
        rough.take(fit_coloured(problem.ready, kind, extra), extra)
        extra = rough.mean_shape(rough.best)
    problem.take(fit_coloured(problem.ready, kind, extra), extra)


def refuse_outside(ready, events):
    """Raise SettingsError where an event has no values before it or none after it."""
    outside = ~((events.onset > ready.time[0]) & (events.onset < ready.time[-1])).all(axis=1)
    if outside.any():
        worst = int(np.argmax(outside))
        raise SettingsError(
            f"event {worst + 1} at {events.middle[worst]:g} is outside the record from "
            f"{ready.time[0]:g} to {ready.time[-1]:g}: leave it out"
        )


def refuse_close(events, grid, step):
    """Raise SettingsError where one event follows another before its response can have stood."""
    plateau = np.where(np.isfinite(grid.table[:, 2]), grid.table[:, 2], 0.0)
    least = max((grid.table[:, 1] + plateau).min(), step)
    order = np.argsort(events.middle, kind="stable")
    apart = np.diff(events.middle[order])
    if (apart < least).any():
        first = int(np.argmax(apart < least))
        a, b = order[first] + 1, order[first + 1] + 1
        raise SettingsError(
            f"events {a} and {b} are {apart[first]:g} apart, closer than the shortest response of "
            f"{least:g}: join them into one"
        )


class Problem:
    """One series, its events and shapes, whitened by one noise at a time."""

    def __init__(self, ready, events, grid, width):
        self.ready, self.events, self.grid, self.width = ready, events, grid, width
        self.peak = grid.peak(width)
        self.kept = {}

    def median_events(self):
        """Return the events at the medians of their times."""
        end = self.events.end
        return Events(self.events.middle, None if end is None else np.median(end, axis=1))

    def take(self, noise, extra):
        """Whiten with a noise and weigh all shapes and samples of times."""
        self.noise, self.extra = noise, extra
        both = whiten(noise, self.ready, np.column_stack([self.ready.design, self.ready.values]))
        self.basis, _ = np.linalg.qr(both[:, :-1])
        self.rest = both[:, -1] - self.basis @ (self.basis.T @ both[:, -1])
        self.degrees = self._degrees()
        samples = range(self.events.samples)
        found = [self._sample(s) for s in samples]
        self.information = np.array([f[0] for f in found])
        self.amplitudes = np.array([f[1] for f in found])
        visible = self.information > 0.0
        if not visible.any():
            raise SolutionError(
                "no shape of a response can be told from trend, season and gaps: take shorter "
                "shapes, fewer regressors, or leave out events in gaps"
            )
        self.sigmas = np.sqrt(noise.level / np.where(visible, self.information, np.nan))
        score = np.where(visible, (self.amplitudes / self.sigmas) ** 2, 0.0)
        self.joint = np.where(visible, np.exp(log_likelihood_of(score, self.noise.free)), 0.0)
        self.joint /= self.joint.sum()
        self.best = int(self.joint.sum(axis=0).argmax())

    def _degrees(self):
        if self.extra is None:
            return float(self.noise.free)
        return degrees_of_freedom(self.noise, self.ready, self._variance, self.extra)

    def _variance(self, noise):
        """Return the variance of the amplitude under a noise of unit level."""
        table = whiten(noise, self.ready, np.column_stack([self.ready.design, self.extra]))
        return np.linalg.qr(table, mode="r")[-1, -1] ** -2.0

    def whitened_shapes(self, table, peak):
        """Return columns (m, c) whitened, what the baseline explains taken out.

        0 where the record does not see half the peak (c,) of a column, or nothing of it is left.
        """
        table = np.where(np.abs(table).max(axis=0) >= LEAST_SEEN * peak, table, 0.0)
        white = whiten(self.noise, self.ready, table)
        size = (white**2).sum(axis=0)
        rest = white - self.basis @ (self.basis.T @ white)
        rest[:, (rest**2).sum(axis=0) <= INVISIBLE**2 * size] = 0.0
        return rest

    def shapes(self, sample):
        """Return the responses of all events together (m, g) for one sample of their times."""
        if sample in self.kept:
            return self.kept[sample]
        found = together(self.ready.time, self.events, self.grid, self.width, sample)
        if found.size * self.events.samples <= KEPT_VALUES:
            self.kept[sample] = found
        return found

    def mean_shape(self, number):
        """Return one shape (m, 1), averaged over the samples of the times as they weigh."""
        share = self.joint[:, number]
        share = share / share.sum() if share.sum() > 0.0 else np.full(len(share), 1 / len(share))
        return self.each_shape(number, share).sum(axis=0)[:, None]

    def each_shape(self, number, share):
        """Return one shape of each event (events, m), averaged with a share of each sample."""
        one, time = self.grid.only(number), self.ready.time
        return sum(
            w * columns(time, self.events, one, self.width, s)[:, :, 0]
            for s, w in enumerate(share)
            if w > 1e-6
        )

    def _sample(self, sample):
        """Return information (g,) and amplitude (g,) of one sample of times."""
        table = self.shapes(sample)
        information, product = np.zeros(len(self.grid)), np.zeros(len(self.grid))
        step = max(1, TABLE_VALUES // len(table))
        for first in range(0, len(self.grid), step):
            part = slice(first, first + step)
            rest = self.whitened_shapes(table[:, part], self.peak[part])
            information[part] = (rest**2).sum(axis=0)
            product[part] = rest.T @ self.rest
        return information, product / np.where(information > 0.0, information, 1.0)

    def each(self):
        """Return amplitudes (events,) and covariance event by event at the most likely shape."""
        share = self.joint[:, self.best]
        share = share / share.sum()
        table = self.each_shape(self.best, share)
        rest = self.whitened_shapes(table.T, self.peak[self.best])
        seen = (rest**2).sum(axis=0) > 0.0
        amplitude = np.full(len(seen), np.nan)
        covariance = np.full((len(seen), len(seen)), np.nan)
        basis, triangle = np.linalg.qr(rest[:, seen])
        if np.abs(np.diag(triangle)).min() > 1e-6 * np.abs(np.diag(triangle)).max():
            inverse = np.linalg.inv(triangle)
            amplitude[seen] = inverse @ (basis.T @ self.rest)
            covariance[np.ix_(seen, seen)] = self.noise.level * inverse @ inverse.T
        return amplitude, covariance

    def report(self, level):
        """Return the :class:`Response`."""
        tails = np.array([0.5 - 0.5 * level, 0.5, 0.5 + 0.5 * level])
        flat = self.joint.ravel() > 0.0
        weights = self.joint.ravel()[flat]
        mean, sigma = self.amplitudes.ravel()[flat], self.sigmas.ravel()[flat]

        def quantiles(factor):
            factor = np.maximum(factor, 1e-300)
            parts = weights, mean * factor, sigma * factor, self.degrees
            return np.array([mixture_quantile(q, *parts) for q in tails])

        amplitude = quantiles(np.ones(len(mean)))
        excess = quantiles(self._areas().ravel()[flat])
        shapes = self.joint.sum(axis=0)
        lag = lag_quantiles(self, tails)
        duration = weighted_quantile(tails, self.joint.ravel(), self._durations().ravel())
        each, each_covariance = self.each()
        centre = weights @ mean
        best_lag = self.grid.table[self.best, 0]
        lags = np.unique(self.grid.table[:, 0])
        return Response(
            amplitude=float(amplitude[1]),
            sigma=float(np.sqrt(weights @ (sigma**2 + (mean - centre) ** 2))),
            interval=amplitude[[0, 2]],
            probability_up=1.0 - mixture_below(0.0, weights, mean, sigma, self.degrees),
            lag=float(lag[1]),
            lag_interval=lag[[0, 2]],
            duration=float(duration[1]),
            duration_interval=duration[[0, 2]],
            excess=float(excess[1]),
            excess_interval=excess[[0, 2]],
            each=each,
            each_covariance=each_covariance,
            p=self._plain_p(),
            degrees=self.degrees,
            shapes=self.grid.table,
            weights=shapes,
            joint=self.joint,
            amplitudes=self.amplitudes,
            sigmas=self.sigmas,
            best=self.best,
            lag_at_edge=len(lags) > 1 and best_lag in (lags[0], lags[-1]),
            seen=self._seen(),
            residual=self._residual(),
            noise=self.noise,
            level=level,
        )

    def _areas(self):
        """Return the integrals (samples, g) of all responses up to the end of the record."""
        end = self.ready.time[-1] + 0.5 * self.ready.step
        samples = range(self.events.samples)
        return np.array([reached(end, self.events, self.grid, s).sum(axis=0) for s in samples])

    def _durations(self):
        """Return the durations (samples, g) of plateaus of the same integral."""
        if not self.grid.as_event:
            return np.tile(self.grid.duration(), (self.events.samples, 1))
        lasting = (self.events.end - self.events.onset).mean(axis=0)
        return np.array([self.grid.duration(last) for last in lasting])

    def _plain_p(self):
        if len(self.grid) > 1 or self.events.samples > 1:
            return np.nan
        score = self.amplitudes[0, 0] / self.sigmas[0, 0]
        return float(2.0 * student.sf(abs(score), self.degrees))

    def _seen(self):
        """Return the share (events,) of samples with values from onset to the end of the rise."""
        lag, rise, duration, _ = self.grid.table[self.best]
        length = max(lag, 0.0) + rise + min(duration, 5.0 * self.ready.step)
        length = max(length, 2.0 * self.ready.step)
        since = self.ready.time[None, :] - self.events.middle[:, None]
        inside = (since >= 0.0) & (since < length)
        return np.minimum(inside.sum(axis=1) / max(np.floor(length / self.ready.step), 1.0), 1.0)

    def _residual(self):
        """Return the values (n,) without baseline and most likely response; gaps stay."""
        table = np.column_stack([self.ready.design, self.extra])
        white = whiten(self.noise, self.ready, np.column_stack([table, self.ready.values]))
        factor = np.linalg.lstsq(white[:, :-1], white[:, -1], rcond=None)[0]
        residual = np.full(len(self.ready.present), np.nan)
        residual[self.ready.present] = self.ready.values - table @ factor
        return residual
