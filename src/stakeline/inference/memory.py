"""Noise with a memory: effective sample sizes, and Gauss-Markov noise by likelihood."""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize

from ..errors import SettingsError, SolutionError
from . import _kernels

RATIO_RANGE = 1e-6, 1e6  # -, white variance over that of the process; our choice


@dataclass(frozen=True)
class MemoryFit:
    """Gauss-Markov noise of ``sigma`` [value] and ``memory`` [time], with white noise beside it.

    ``coefficient`` (p,) of the regressors and their ``covariance`` (p, p); ``at_bound`` tells
    that the memory or the white share ran against its limit: the data do not show one.
    """

    sigma: float
    memory: float
    white_sigma: float
    coefficient: np.ndarray
    covariance: np.ndarray
    log_likelihood: float
    at_bound: bool
    evaluations: int


def effective_size(n, lag_one):
    """Return how many independent values weigh as much as n with this lag-one correlation.

    ``n (1 - r) / (1 + r)``: Bayley & Hammersley (1946), J. R. Stat. Soc. Suppl. 8, 184, for large
    n; at least 1 and at most n: a negative correlation is not taken as a gift.
    """
    r = np.clip(np.asarray(lag_one, float), 0.0, 1.0)
    return np.clip(n * (1.0 - r) / (1.0 + r), min(1.0, n), n)


def error_factor(lag_one):
    """Return the factor ``sqrt((1 + r) / (1 - r))`` by which an independent sigma is too small."""
    r = np.asarray(lag_one, float)
    if not ((r >= 0.0) & (r < 1.0)).all():
        raise SettingsError(f"lag-one correlation is {lag_one}; expected 0 <= r < 1")
    return np.sqrt((1.0 + r) / (1.0 - r))


def lag_one_correlation(values):
    """Return the lag-one autocorrelation of a series (n,); NaN where fewer than 3 pairs.

    Only neighbours that are both present count, so a gap is never bridged.
    """
    values = np.asarray(values, float)
    away = values - np.nanmean(values) if np.isfinite(values).any() else values
    product = away[1:] * away[:-1]
    pairs = np.isfinite(product).sum()
    variance = np.nanmean(away**2) if pairs >= 3 else 0.0
    return float(np.nansum(product) / pairs / variance) if variance > 0.0 else np.nan


def line_weights(time, sigma):
    """Return the weights (n,) whose product with values is the rate of a weighted line. [1/time]"""
    weight = np.broadcast_to(np.asarray(sigma, float), np.shape(time)) ** -2.0
    away = time - (weight @ time) / weight.sum()
    return weight * away / (weight @ away**2)


def coloured_variance(time, weights, sigmas, memories):
    """Return the variance of ``weights @ noise`` under a sum of Gauss-Markov processes.

    Costs n for each process: the exponential covariance is summed by recursion. ``time`` (n,)
    ascending, in the unit of ``memories`` (m,); ``sigmas`` (m,).
    """
    time = np.ascontiguousarray(time, float)
    weights = np.ascontiguousarray(weights, float)
    pairs = zip(np.atleast_1d(sigmas), np.atleast_1d(memories), strict=True)
    return float(sum(s * s * _kernels.memory_quadratic(time, weights, float(m)) for s, m in pairs))


def fit_memory(time, values, design=None, white_ratio=None):
    """Estimate Gauss-Markov noise, and white noise beside it, on uneven times.

    Parameters
    ----------
    time : array (n,)
        Strictly ascending. [time]
    values : array (n,)
        NaN is left out.
    design : array (n, p), optional
        Regressors estimated with the noise; a constant where none is given.
    white_ratio : float, optional
        Fixes the sigma of the white noise over that of the process, 0 for none; estimated where
        none is given.

    Returns
    -------
    MemoryFit

    Notes
    -----
    Restricted maximum likelihood by a filter whose one state is the process (Jones 1980,
    Technometrics 22, 389), the regressors swept out with the same gain (de Jong 1991, Annals of
    Statistics 19, 1073); the level follows in closed form. Linear in n for each of some 80 trials.
    """
    time, table = _checked(time, values, design)
    trial = _Trials(time, table)
    step, span = np.median(np.diff(time)), time[-1] - time[0]
    range_memory = np.log([0.2 * step, 2.0 * span])
    range_ratio = np.log(RATIO_RANGE)
    free = white_ratio is None
    fixed = 0.0 if free else float(white_ratio) ** 2
    starts = np.linspace(range_memory[0] + 1.0, range_memory[1] - 1.0, 5)
    grid = [(m, r) for m in starts for r in ((-4.0, 0.0, 4.0) if free else (0.0,))]

    def cost(x):
        return trial.solve(np.exp(x[0]), np.exp(x[1]) if free else fixed)[0]

    best = min(grid, key=cost)
    bounds = [tuple(range_memory), tuple(range_ratio)][: 1 + free]
    options = {"xatol": 1e-3, "fatol": 1e-3}
    found = minimize(cost, best[: 1 + free], method="Nelder-Mead", bounds=bounds, options=options)
    near = [min(x - b[0], b[1] - x) < 0.05 for x, b in zip(found.x, bounds, strict=True)]
    ratio = np.exp(found.x[1]) if free else fixed
    return trial.report(np.exp(found.x[0]), ratio, at_bound=any(near))


class _Trials:
    """The restricted likelihood as a function of (memory, white variance over the process's)."""

    def __init__(self, time, table):
        self.time, self.table, self.count = time, table, 0
        self.row, self.state = np.empty(table.shape[1]), np.empty(table.shape[1])

    def solve(self, memory, ratio):
        """Return (-2 log likelihood, level, triangle)."""
        self.count += 1
        n, columns = self.table.shape
        triangle, held = np.zeros((columns, columns)), np.zeros(columns, bool)
        logarithms = _kernels.memory_filter(
            self.time, self.table, ratio, memory, self.row, self.state, triangle, held
        )
        free = n - columns + 1
        level = max(triangle[-1, -1] ** 2 / free, np.finfo(float).tiny)
        twice = logarithms + 2.0 * np.log(np.abs(np.diag(triangle)[:-1])).sum()
        return twice + free * (np.log(2.0 * np.pi * level) + 1.0), level, triangle

    def report(self, memory, ratio, at_bound):
        """Return the :class:`MemoryFit` of one pair."""
        twice, level, triangle = self.solve(memory, ratio)
        inverse = np.linalg.inv(triangle[:-1, :-1])
        return MemoryFit(
            sigma=float(np.sqrt(level)),
            memory=float(memory),
            white_sigma=float(np.sqrt(level * ratio)),
            coefficient=inverse @ triangle[:-1, -1],
            covariance=level * inverse @ inverse.T,
            log_likelihood=-0.5 * float(twice),
            at_bound=bool(at_bound),
            evaluations=self.count,
        )


def _checked(time, values, design):
    """Return time (m,) and the table (m, p + 1) of regressors and values that are present."""
    time, values = np.asarray(time, float), np.asarray(values, float)
    if time.ndim != 1 or time.shape != values.shape:
        raise SettingsError(f"time {time.shape} and values {values.shape}; expected equal rows")
    design = np.ones((len(time), 1)) if design is None else np.asarray(design, float)
    if design.ndim != 2 or len(design) != len(time):
        raise SettingsError(f"design of shape {design.shape}; expected ({len(time)}, p)")
    present = np.isfinite(values) & np.isfinite(time)
    table = np.column_stack([design, values])[present]
    time = np.ascontiguousarray(time[present])
    if len(time) < design.shape[1] + 8:
        raise SolutionError(
            f"{len(time)} values present; noise with a memory and {design.shape[1]} regressors "
            f"need {design.shape[1] + 8}"
        )
    if not (np.diff(time) > 0.0).all():
        raise SolutionError("times do not ascend, or repeat: sort them and keep one value each")
    if np.linalg.matrix_rank(table[:, :-1]) < design.shape[1]:
        raise SolutionError("the regressors cannot be told apart where values are present")
    return time, np.ascontiguousarray(table)
