"""Does a larger event have a larger response? Ranks, and a line with errors in both."""

from dataclasses import dataclass

import numpy as np
from scipy.stats import rankdata
from scipy.stats import t as student

from ..errors import SettingsError, SolutionError
from .permutation import p_value

ROUNDS = 200  # of the iteration of a line; our choice
CLOSE = 1e-12  # relative; our choice
LEAST_EVENTS = 4  # our choice: with 3 no rank is beyond chance


@dataclass(frozen=True)
class Dose:
    """Rank correlation and slope of response over size.

    ``rank`` of Spearman, ``p`` two-sided by permutation; ``rank_interval`` (2,) what errors of
    both make of it; ``slope`` [response/size] with ``sigma`` and ``interval`` (2,); ``start`` the
    response at size 0; ``misfit`` chi-square over its degrees of freedom: above 1 the responses
    scatter more than their errors, and sigma has been widened for it; ``events`` used.
    """

    rank: float
    p: float
    rank_interval: np.ndarray
    slope: float
    sigma: float
    interval: np.ndarray
    start: float
    misfit: float
    events: int
    level: float


def dose_response(size, size_sigma, response, response_sigma, generator, level=0.95, draws=4999):
    """Return the :class:`Dose` of events (k,); NaN in size or response leaves an event out.

    Raises SettingsError for sigmas that are not positive, SolutionError for fewer than 4 events or
    equal sizes.
    """
    table = np.array(np.broadcast_arrays(size, size_sigma, response, response_sigma), float)
    if table.ndim != 2:
        raise SettingsError(f"sizes of shape {np.shape(size)}; expected one for each event")
    x, sx, y, sy = table[:, np.isfinite(table).all(axis=0)]
    if (sx <= 0.0).any() or (sy <= 0.0).any():
        raise SettingsError("a sigma of a size or an response is not positive")
    if len(x) < LEAST_EVENTS or np.ptp(x) == 0.0:
        raise SolutionError(
            f"events: {len(x)}, different sizes: {len(np.unique(x))}; a relation needs "
            f"{LEAST_EVENTS} events, not all of one size"
        )
    rank = rank_correlation(x, y)
    shuffled = np.array([rank_correlation(x, generator.permutation(y)) for _ in range(draws)])
    noisy = [
        rank_correlation(generator.normal(x, sx), generator.normal(y, sy)) for _ in range(draws)
    ]
    slope, start, sigma, misfit = line_with_errors(x, sx, y, sy)
    half = student.ppf(0.5 + 0.5 * level, len(x) - 2) * sigma * np.sqrt(max(misfit, 1.0))
    return Dose(
        rank=rank,
        p=float(p_value((np.abs(shuffled) >= abs(rank) - 1e-12).sum(), draws)),
        rank_interval=np.quantile(noisy, [0.5 - 0.5 * level, 0.5 + 0.5 * level]),
        slope=slope,
        sigma=float(sigma * np.sqrt(max(misfit, 1.0))),
        interval=slope + np.array([-half, half]),
        start=start,
        misfit=misfit,
        events=len(x),
        level=level,
    )


def rank_correlation(x, y):
    """Return the rank correlation of Spearman (1904), Am. J. Psychol. 15, 72; ties share ranks."""
    a, b = rankdata(x) - 0.5 * (len(x) + 1), rankdata(y) - 0.5 * (len(y) + 1)
    size = np.sqrt((a @ a) * (b @ b))
    return float(a @ b / size) if size > 0.0 else 0.0


def line_with_errors(x, x_sigma, y, y_sigma):
    """Return (slope, start, sigma of the slope, misfit) of a line with errors in both.

    York, Evensen, Martinez & De Basabe Delgado (2004), Am. J. Phys. 72, 367, equations 13, without
    correlation of the errors. ``misfit``: chi-square over n - 2.
    """
    wx, wy = np.asarray(x_sigma, float) ** -2.0, np.asarray(y_sigma, float) ** -2.0
    slope = np.polyfit(x, y, 1, w=np.sqrt(wy))[0]
    for _ in range(ROUNDS):
        weight = wx * wy / (wx + slope**2 * wy)
        xm, ym = weight @ x / weight.sum(), weight @ y / weight.sum()
        beta = weight * ((x - xm) / wy + slope * (y - ym) / wx)
        before, slope = slope, (weight * beta) @ (y - ym) / ((weight * beta) @ (x - xm))
        if abs(slope - before) <= CLOSE * abs(slope):
            break
    else:
        raise SolutionError("a line with errors in both was not found: the errors are too large")
    adjusted = xm + beta
    away = adjusted - weight @ adjusted / weight.sum()
    sigma = (weight @ away**2) ** -0.5
    start = ym - slope * xm
    misfit = weight @ (y - start - slope * x) ** 2 / (len(x) - 2)
    return float(slope), float(start), float(sigma), float(misfit)
