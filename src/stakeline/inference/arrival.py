"""When a response passes along a route: arrivals seen in positions, one speed for all of them.

    arrival of event e at series i = start_e + slowness * distance_i + own_ie

A change of speed bends the way that has been gone. Its time stands far better in the way than in
speeds, since a mean of positions forgets less than the slope of a line through them. Where each
event may begin when it likes, what is not known of its onset takes no part in the slowness.
"""

import numpy as np

from ..errors import SettingsError, SolutionError
from .baseline import Baseline, prepare
from .coloured import fit_coloured, whiten
from .mixture import log_likelihood_of
from .propagation import LEAST_SERIES, propagation_of
from .shape import integral

BEFORE, AFTER = 20.0, 1.0  # steps of the record before an event and after its end; our choice
ROUNDS = 2  # the noise is estimated again with the best arrival taken out; our choice
STRAY = 0.05  # share of arrivals that may be anything; our choice
OWN = np.geomspace(0.003, 0.1, 8)  # of the range of arrivals, own deviations tried; our choice
SLOWNESSES = 401  # tried; our choice
OFFSETS = 80  # beginnings of an event tried; our choice


def bent_way(time, onset, lasting, arrivals, rise, decay, width):
    """Return what responses of unit speed add to the way (n, a), as means over ``width``. [time]

    Half of a change has come at ``onset + arrivals``; it rises for ``rise`` and lasts as long as
    the event. The mean is Simpson's.
    """
    since = np.asarray(time, float)[:, None] - onset - np.asarray(arrivals) + 0.5 * rise
    ends = [integral(since + part * width, rise, lasting, decay) for part in (-0.5, 0.0, 0.5)]
    return (ends[0] + 4.0 * ends[1] + ends[2]) / 6.0


def arrival_likelihood(time, way, onset, lasting, arrivals, *, rises, decay, covariates=None):
    """Return the logarithm (a,) of the likelihood of arrivals of one event, 0 for the best.

    Parameters
    ----------
    time, way : array (n,)
        Evenly spaced; mean position over each step, in any unit, NaN for a gap.
    onset, lasting : float
        Of the event. [time]
    arrivals : array (a,)
        Times after the onset at which half of the change has come. [time]
    rises : sequence of float
        Equally likely lengths of the rise. [time]
    decay : float
        Of the response after the event. [time]
    covariates : array (n, c), optional
        Ways of measured influences, with free factors.

    Raises
    ------
    SolutionError
        Where the record around the event is too thin.

    Notes
    -----
    Around the event the way is a parabola, the bend of the response, and noise with a memory. The
    level of the noise is integrated out (:func:`~.mixture.log_likelihood_of`).
    """
    step = float(np.median(np.diff(time)))
    near = (time > onset - BEFORE * step) & (time < onset + lasting + AFTER * step)
    if covariates is not None:
        known = np.isfinite(covariates[near]).all(axis=0)
        covariates = covariates[near][:, known & (np.abs(_bend(covariates[near])) > 0.0)]
        covariates = covariates - covariates.mean(axis=0) if covariates.size else None
    ready = prepare(time[near], way[near], Baseline(2, (), covariates))
    shapes = np.hstack([
        bent_way(ready.time, onset, lasting, arrivals, rise, decay, step) for rise in rises
    ])  # fmt: skip
    score, extra = None, None
    for _ in range(ROUNDS):
        noise = fit_coloured(ready, "memory", extra)
        score = _scores(noise, ready, shapes)
        extra = shapes[:, [int(score.argmax())]]
    log = log_likelihood_of(score, noise.free)
    return np.logaddexp.reduce(log.reshape(len(rises), -1), axis=0) - np.log(len(rises))


def _bend(columns):
    """Return the largest second difference (c,) of columns: a straight one explains nothing."""
    return np.abs(np.diff(columns, 2, axis=0)).max(axis=0) if len(columns) > 2 else np.zeros(0)


def _scores(noise, ready, shapes):
    """Return the t^2 (g,) of each shape (m, g) beside the baseline."""
    both = whiten(noise, ready, np.column_stack([ready.design, ready.values, shapes]))
    basis, _ = np.linalg.qr(both[:, : ready.design.shape[1]])
    rest = both[:, ready.design.shape[1] :]
    rest = rest - basis @ (basis.T @ rest)
    information = (rest[:, 1:] ** 2).sum(axis=0)
    known = information > 0.0
    product = rest[:, 1:].T @ rest[:, 0]
    return np.where(known, product**2 / np.where(known, information, 1.0), 0.0) / noise.level


def arrival_speed(distance, arrivals, log_likelihood, level=0.95):
    """Return the :class:`~.propagation.Propagation` of arrivals along a route.

    Parameters
    ----------
    distance : array (s,)
        Along the route. [length]
    arrivals : array (a,)
        Evenly spaced. [time]
    log_likelihood : array (s, e, a)
        Of :func:`arrival_likelihood`; NaN where a series does not know an event.
    level : float

    Raises
    ------
    SettingsError
        Shapes that do not match.
    SolutionError
        Fewer than 3 series, or all at one distance.

    Notes
    -----
    Every event begins when it likes, every arrival has an own deviation of unknown size
    (equally likely logarithms of it), and one in twenty may be anything.
    """
    distance, log = np.asarray(distance, float), np.asarray(log_likelihood, float)
    if log.ndim != 3 or log.shape != (len(distance), log.shape[1], len(arrivals)):
        raise SettingsError(
            f"distance {distance.shape}, arrivals {np.shape(arrivals)}, likelihood {log.shape}; "
            "expected (s,), (a,), (s, e, a)"
        )
    keep = np.isfinite(distance) & np.isfinite(log).all(axis=2).any(axis=1)
    distance, log = distance[keep], np.where(np.isfinite(log[keep]), log[keep], 0.0)
    if len(distance) < LEAST_SERIES or np.ptp(distance) == 0.0:
        raise SolutionError(
            f"{len(distance)} series with an arrival, {len(np.unique(distance))} distances: a "
            f"speed needs {LEAST_SERIES} series, not all at one place"
        )
    span, step = np.ptp(arrivals), arrivals[1] - arrivals[0]
    largest = span / np.ptp(distance)
    slowness = np.linspace(-largest, largest, SLOWNESSES)
    likely = np.exp(log - log.max(axis=2, keepdims=True))
    found = [
        _along(distance, arrivals, _widened(likely, own * span / step), slowness) for own in OWN
    ]
    weights = np.array([f[0] for f in found])
    weights = np.exp(weights - weights.max())
    weights /= weights.sum()
    middle = float((weights * [f[1] for f in found]).sum())
    own = float(weights.sum(axis=1) @ OWN) * span
    return propagation_of(
        slowness, weights.sum(axis=0), middle, distance, own_sigma=own, level=level
    )


def _widened(likely, sigma):
    """Return the logarithm of likelihoods (s, e, a) with an own deviation [steps] and strays."""
    reach = int(np.ceil(4.0 * sigma))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    kernel /= kernel.sum()
    rows = [np.convolve(row, kernel)[reach:-reach] for row in likely.reshape(-1, likely.shape[2])]
    wide = np.reshape(rows, likely.shape)
    return np.log((1.0 - STRAY) * wide + STRAY * wide.mean(axis=2, keepdims=True) + 1e-300)


def _along(distance, arrivals, log, slowness):
    """Return (log likelihood (q,), mean beginning (q,)) of slownesses, at the mean distance."""
    offsets = np.linspace(arrivals[0], arrivals[-1], OFFSETS)
    total, middle = np.zeros((2, len(slowness)))
    away = distance - distance.mean()
    for event in range(log.shape[1]):
        table = np.zeros((len(slowness), OFFSETS))
        for series, by in enumerate(away):
            at = offsets + slowness[:, None] * by
            table += np.interp(at, arrivals, log[series, event])
        peak = table.max(axis=1)
        weight = np.exp(table - peak[:, None])
        total += peak + np.log(weight.sum(axis=1))
        middle += weight @ offsets / weight.sum(axis=1) / log.shape[1]
    return total, middle
