"""How fast a response travels along a route: a line of lags over distance, errors as distributions.

    lag_i = start + slowness * distance_i + own_i + error_i

The slowness is estimated, not the speed: a slowness near 0 is a harmless number, and its interval
turns into one of the speed that may well have no end.
"""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError, SolutionError
from .mixture import grid_quantile, mixture_quantile

LEAST_SERIES = 3  # a line through two points says nothing of its error
GRID = 61  # own deviations tried; our choice
WIDEST = 4.0  # of the scatter of the lags, the largest own deviation tried; our choice


@dataclass(frozen=True)
class Propagation:
    """Slowness [time/length] and speed [length/time] of a signal along a route.

    ``slowness``, ``interval`` (2,), ``start`` the lag at distance 0; ``speed`` and
    ``speed_interval`` (2,), whose second is infinite where the signal may have come everywhere at
    once: then ``bounded`` is False and ``speed_interval[0]`` is the least speed. ``direction`` 1
    along the route, -1 against it, 0 where the interval holds both: the least speed then is that
    of either direction. ``own_sigma`` beyond the errors [time]; ``series`` used.
    """

    slowness: float
    interval: np.ndarray
    start: float
    speed: float
    speed_interval: np.ndarray
    bounded: bool
    direction: int
    own_sigma: float
    series: int
    level: float


def propagation(distance, lags, level=0.95):
    """Return the :class:`Propagation` of lags along a route.

    Parameters
    ----------
    distance : array (k,)
        Along the route. [length]
    lags : array (k, samples)
        Equally likely lags of each series (NaN: none, the series is left out). [time]

    Raises
    ------
    SettingsError
        Shapes that do not match, or lags without any spread.
    SolutionError
        Fewer than 3 series, or all at one distance.
    """
    distance, lags = np.asarray(distance, float), np.asarray(lags, float)
    if lags.ndim != 2 or lags.shape[1] < 2 or distance.shape != lags.shape[:1]:
        raise SettingsError(
            f"distance {distance.shape}, lags {lags.shape}; expected (k,) and (k, samples), 2 or "
            "more samples each"
        )
    keep = np.isfinite(lags).all(axis=1) & np.isfinite(distance)
    distance, lags = distance[keep], lags[keep]
    if len(distance) < LEAST_SERIES or np.ptp(distance) == 0.0:
        raise SolutionError(
            f"{len(distance)} series with a lag, {len(np.unique(distance))} distances: a speed "
            "needs 3 series, not all at one place"
        )
    mean, variance = lags.mean(axis=1), lags.var(axis=1, ddof=1)
    if (variance <= 0.0).any():
        raise SettingsError("a lag has no spread: give its distribution, not one number")
    return _report(distance, mean, variance, level)


def draw_lags(values, weights, generator, samples=500):
    """Return draws (samples,) of a lag known by weights on a grid, spread within its cells."""
    values, place = np.unique(np.asarray(values, float), return_inverse=True)
    share = np.bincount(place.reshape(-1), weights)
    chosen = generator.choice(len(values), samples, p=share / share.sum())
    inner = 0.5 * (values[1:] + values[:-1])
    if len(inner) == 0:
        return np.full(samples, values[0])
    edges = np.concatenate([[2 * values[0] - inner[0]], inner, [2 * values[-1] - inner[-1]]])
    return generator.uniform(edges[chosen], edges[chosen + 1])


def _report(distance, mean, variance, level):
    widest = WIDEST * max(np.std(mean), np.sqrt(variance.mean()))
    owns = np.linspace(0.0, widest, GRID)
    design = np.column_stack([np.ones_like(distance), distance - distance.mean()])
    parts = [_line(design, mean, variance + own**2) for own in owns]
    log = np.array([p[0] for p in parts])
    weights = np.exp(log - log.max())
    slopes, sigmas = np.array([p[1] for p in parts]), np.array([p[2] for p in parts])
    tails = 0.5 - 0.5 * level, 0.5, 0.5 + 0.5 * level
    low, middle, high = (mixture_quantile(q, weights, slopes, sigmas, np.inf) for q in tails)
    centre = weights @ np.array([p[3] for p in parts]) / weights.sum()
    own = float(weights @ owns / weights.sum())
    return _told((low, middle, high), centre, distance, own, level)


def propagation_of(slowness, weights, centre, distance, *, own_sigma, level):
    """Return the :class:`Propagation` of slownesses (q,) by their weights (q,).

    ``centre`` is the level at the mean of ``distance`` (k,) [time].
    """
    tails = 0.5 - 0.5 * level, 0.5, 0.5 + 0.5 * level
    return _told(grid_quantile(tails, weights, slowness), centre, distance, own_sigma, level)


def _told(quantiles, centre, distance, own_sigma, level):
    """Return the :class:`Propagation` of the quantiles of a slowness: low, middle, high."""
    low, middle, high = (float(q) for q in quantiles)
    direction = int(np.sign(middle)) if low * high > 0.0 else 0
    ends = np.sort(np.abs([low, high]))
    return Propagation(
        slowness=middle,
        interval=np.array([low, high]),
        start=float(centre - middle * distance.mean()),
        speed=1.0 / abs(middle) if middle != 0.0 else np.inf,
        speed_interval=np.array([1.0 / ends[1], 1.0 / ends[0] if direction else np.inf]),
        bounded=direction != 0,
        direction=direction,
        own_sigma=own_sigma,
        series=len(distance),
        level=level,
    )


def _line(design, values, variance):
    """Return (log restricted likelihood, slope, its sigma, level at the mean distance)."""
    normal = design.T @ (design / variance[:, None])
    inverse = np.linalg.inv(normal)
    factor = inverse @ design.T @ (values / variance)
    away = values - design @ factor
    log = -0.5 * (np.log(variance).sum() + np.linalg.slogdet(normal)[1] + away**2 @ (1 / variance))
    return log, factor[1], np.sqrt(inverse[1, 1]), factor[0]
