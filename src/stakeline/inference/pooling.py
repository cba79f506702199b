"""One effect from many events and series that are no independent witnesses.

    estimate of event i in series j = effect + event_i + own_ij + error_ij

The errors have a known covariance: series that shake together are correlated. Deviations of an
event are shared by all series that saw it; those of one event in one series are its own. Both
between-standard deviations are unknown, and are integrated over by their restricted likelihood with
a flat prior (Gelman 2006, Bayesian Analysis 1, 515), so that few events give wide intervals.
"""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError, SolutionError
from .mixture import grid_quantile, mixture_below, mixture_quantile

GRID = 41  # values of a between-standard deviation; half where there are two; our choice
LEAST_EIGENVALUE = 1e-6  # of a correlation matrix; our choice
WIDEST = 6.0  # of the scatter of the estimates, the largest between-deviation tried; our choice


@dataclass(frozen=True)
class Pooled:
    """The effect of all events and series together. [value]

    ``effect``, ``sigma``, ``interval`` (2,) at ``level``, ``probability_up``; ``event_sigma`` and
    ``own_sigma``, the medians of the between-standard deviations, with ``event_sigma_interval``
    and ``own_sigma_interval`` (2,); ``shrunk`` (k,) each estimate drawn toward the others, with
    ``shrunk_sigma`` (k,); ``events`` and ``series`` counted; ``independent``, how many independent
    estimates of the mean sigma weigh as much.
    """

    effect: float
    sigma: float
    interval: np.ndarray
    probability_up: float
    event_sigma: float
    event_sigma_interval: np.ndarray
    own_sigma: float
    own_sigma_interval: np.ndarray
    shrunk: np.ndarray
    shrunk_sigma: np.ndarray
    events: int
    series: int
    independent: float
    level: float


def pool(estimates, covariance, events, series=None, level=0.95):
    """Return the :class:`Pooled` effect.

    Parameters
    ----------
    estimates : array (k,)
        One for each event in each series that saw it; NaN is left out. [value]
    covariance : array (k, k)
        Of their errors, see :func:`joint_covariance`. [value^2]
    events, series : array (k,)
        Which event, which series; all of one series where none is given.
    level : float

    Raises
    ------
    SettingsError
        Shapes that do not match, or a covariance that is none.
    SolutionError
        No estimate.

    Notes
    -----
    With one event the scatter between events cannot be known: it is taken as 0, and what comes out
    holds for that event alone (``events`` is 1).
    """
    b, covariance, events, series = _checked(estimates, covariance, events, series)
    grids = _between_grids(b, covariance, events)
    weights, means, variances, drawn, spread = _mixed(b, covariance, events, grids)
    mixture = weights, means, np.sqrt(variances), np.inf
    tails = 0.5 - 0.5 * level, 0.5, 0.5 + 0.5 * level
    low, middle, high = (mixture_quantile(q, *mixture) for q in tails)
    shrunk = weights @ drawn
    table = weights.reshape(len(grids[0]), len(grids[1]))
    event_sigma = grid_quantile(tails, table.sum(axis=1), grids[0])
    own_sigma = grid_quantile(tails, table.sum(axis=0), grids[1])
    sigma = np.sqrt(weights @ (variances + (means - weights @ means) ** 2))
    return Pooled(
        effect=middle,
        sigma=float(sigma),
        interval=np.array([low, high]),
        probability_up=1.0 - mixture_below(0.0, *mixture),
        event_sigma=float(event_sigma[1]),
        event_sigma_interval=event_sigma[[0, 2]],
        own_sigma=float(own_sigma[1]),
        own_sigma_interval=own_sigma[[0, 2]],
        shrunk=shrunk,
        shrunk_sigma=np.sqrt(weights @ (spread + (drawn - shrunk) ** 2)),
        events=len(np.unique(events)),
        series=len(np.unique(series)),
        independent=float(np.mean(np.diag(covariance)) / sigma**2),
        level=level,
    )


def probability_above(estimates, covariance, events):
    """Return the probability that the pooled effect is above 0, as of :func:`pool`, at once.

    The interval of the effect at a level holds no 0 where this, or its rest, is at most half of
    what the level leaves. Arguments are taken as they are, without NaN.
    """
    grids = _between_grids(estimates, covariance, events)
    weights, means, variances, *_ = _mixed(estimates, covariance, events, grids)
    return 1.0 - mixture_below(0.0, weights, means, np.sqrt(variances), np.inf)


def joint_covariance(covariances, events, correlation):
    """Return the covariance (k, k) of estimates of several series, one series after the other.

    Parameters
    ----------
    covariances : list of array (e, e)
        Of the estimates of each series, event by event. [value^2]
    events : list of array (e,)
        Which events these are.
    correlation : array (series, series)
        Of the noise of the series at equal times, known or from :func:`series_correlation`.

    Notes
    -----
    Two series with the same noise but for a correlation r have the cross-covariance r V. Where
    noise differs, r stands between both sigmas and the mean of the correlations between events
    over all series: exact for equal noise and gaps, else near.
    """
    correlation = np.asarray(correlation, float)
    if correlation.shape != (len(covariances), len(covariances)):
        raise SettingsError(
            f"correlation of shape {correlation.shape} for {len(covariances)} series"
        )
    sigma = np.concatenate([np.sqrt(np.diag(np.asarray(v, float))) for v in covariances])
    which = np.concatenate([np.full(len(v), i) for i, v in enumerate(covariances)])
    event = np.concatenate([np.asarray(e) for e in events])
    if len(event) != len(sigma):
        raise SettingsError(f"{len(event)} events for {len(sigma)} estimates; expected one each")
    found = correlation[np.ix_(which, which)] * np.outer(sigma, sigma)
    inner, known = _event_correlation(covariances, events, np.unique(event))
    at = np.searchsorted(np.unique(event), event)
    found *= np.where(known, inner, 0.0)[np.ix_(at, at)]
    for i, covariance in enumerate(covariances):
        own = np.flatnonzero(which == i)
        found[np.ix_(own, own)] = covariance
    return _definite(found)


def series_correlation(residuals, least=30):
    """Return the correlation (series, series) of residuals (series, n) at common times.

    Pairs with fewer than ``least`` common values are taken as fully correlated: of what is not
    known, the cautious end. Shrunk by the least amount that makes it a correlation.
    """
    r = np.atleast_2d(np.asarray(residuals, float))
    count = len(r)
    found = np.eye(count)
    for a in range(count):
        for b in range(a):
            both = np.isfinite(r[a]) & np.isfinite(r[b])
            enough = both.sum() >= least and np.ptp(r[a, both]) > 0.0 and np.ptp(r[b, both]) > 0.0
            value = np.corrcoef(r[a, both], r[b, both])[0, 1] if enough else 1.0
            found[a, b] = found[b, a] = value
    return _definite(found)


def _event_correlation(covariances, events, names):
    """Return the mean correlation between events over the series, and where one knows it."""
    total, count = np.zeros((2, len(names), len(names)))
    for covariance, own in zip(covariances, events, strict=True):
        at = np.ix_(*[np.searchsorted(names, np.asarray(own))] * 2)
        sigma = np.sqrt(np.diag(covariance))
        total[at] += covariance / np.outer(sigma, sigma)
        count[at] += 1.0
    return total / np.maximum(count, 1.0), count > 0.0


def _definite(matrix):
    """Return the matrix with its off-diagonal shrunk until it is a covariance."""
    diagonal = np.diag(np.diag(matrix))
    unit = np.sqrt(np.outer(np.diag(matrix), np.diag(matrix)))
    for share in np.linspace(1.0, 0.0, 101):
        trial = diagonal + share * (matrix - diagonal)
        if np.linalg.eigvalsh(trial / unit)[0] > LEAST_EIGENVALUE:
            return trial
    raise SettingsError("a variance is 0, negative or missing: this is no covariance")


def _mixed(b, covariance, events, grids):
    """Return (weights, effects, variances, shrunk, variances of these) over both deviations."""
    shared = (events[:, None] == events).astype(float)
    parts = [_given(b, covariance, shared, tau, grids[1]) for tau in grids[0]]
    log, *rest = (np.concatenate(p) for p in zip(*parts, strict=True))
    weights = np.exp(log - log.max())
    return weights / weights.sum(), *rest


def _given(b, covariance, shared, tau, owns):
    """Return what the estimates say under one ``tau`` and each of ``owns`` (o,).

    (log likelihood (o,), effect (o,), its variance (o,), shrunk (o, k), variances of these (o, k)).
    Deviations of single estimates only add to the eigenvalues: one decomposition serves them all.
    """
    value, vector = np.linalg.eigh(covariance + tau**2 * shared)
    weight = 1.0 / (value + owns[:, None] ** 2)
    one, turned = vector.sum(axis=0), b @ vector
    information = weight @ one**2
    effect = (weight @ (one * turned)) / information
    away = turned - effect[:, None] * one
    log = 0.5 * (np.log(weight).sum(axis=1) - np.log(information) - (weight * away**2).sum(axis=1))
    own = owns[:, None, None] ** 2 * vector
    between = tau**2 * (shared @ vector) + own
    shrunk = effect[:, None] + np.einsum("oij,oj->oi", between, weight * away)
    rest = 1.0 - np.einsum("oij,oj->oi", between, weight * one)
    spread = tau**2 * np.diag(shared) + owns[:, None] ** 2
    spread = spread - np.einsum("oij,oj->oi", between**2, weight) + rest**2 / information[:, None]
    return log, effect, 1.0 / information, shrunk, np.maximum(spread, 0.0)


def _between_grids(b, covariance, events):
    """Return the between-standard deviations tried, of events and of single estimates."""
    count = len(np.unique(events))
    scale = np.sqrt(np.mean(np.diag(covariance)))
    two = count > 1 and len(b) > count
    steps = np.linspace(0.0, WIDEST * max(np.std(b), 0.5 * scale), GRID // 2 if two else GRID)
    only_nothing = np.zeros(1)
    return steps if count > 1 else only_nothing, steps if len(b) > count else only_nothing


def _checked(estimates, covariance, events, series):
    """Return the arrays of the estimates that are there, refused where they do not belong."""
    b, covariance = np.asarray(estimates, float), np.asarray(covariance, float)
    events = np.asarray(events)
    series = np.zeros(len(b), int) if series is None else np.asarray(series)
    if b.ndim != 1 or not covariance.shape == (len(b), len(b)) or not len(events) == len(b):
        raise SettingsError(
            f"estimates {b.shape}, covariance {covariance.shape}, events {events.shape}; expected "
            "one event an estimate, and a covariance of them all"
        )
    if len(series) != len(b):
        raise SettingsError(f"{len(series)} series for {len(b)} estimates; expected one each")
    keep = np.isfinite(b)
    if not keep.any():
        raise SolutionError("no estimate is there: no event was seen by any series")
    kept = covariance[np.ix_(keep, keep)]
    if not np.isfinite(kept).all() or np.linalg.eigvalsh(kept)[0] <= 0.0:
        raise SettingsError("the covariance of the estimates is no covariance (not positive)")
    return b[keep], kept, events[keep], series[keep]
