"""How well a step at each row of a series would fit, against the motion and noise of a model.

A step moves the measured position from one row on and leaves the velocity alone. Under the model
of :mod:`stakeline.motion.smoother` the best size of a step at every row, with its sigma, follows
from one filter pass and one pass back: linear in the number of rows.
"""

from dataclasses import dataclass

import numpy as np
from scipy.optimize import nnls

from ..constants import NS_PER_DAY
from ..errors import SolutionError
from . import _kernels, _shock_kernels
from .smoother import MotionModel

BLOCK = 512  # rows filtered at once; our choice
DEPENDENT = 1e-8  # -, share of a step that other regressors leave, below which it has no size
MAD_TO_SIGMA = 1.4826  # -, Gaussian sigma over median absolute deviation; 1 / 0.6745
MEMORIES_D = 0.02, 0.05, 0.15, 0.5, 1.5  # d, tried for the coloured noise; our choice
LAGS = 14  # our choice
LONGEST_LAG_D = 3.0  # d; our choice
LEAST_Q = 1e-5  # (m/d)^2/d, the speed of ice is never surer than 3 mm/d a root day; our choice
FEWEST = 40  # rows for a rough model; our choice


@dataclass(frozen=True)
class Whitened:
    """The columns of one axis filtered by the model.

    ``innovations`` (n, c) over their sigma, columns: first position, velocity, regressors, data;
    ``score`` (n, c) and ``power`` (n,) of a step at each row.
    """

    innovations: np.ndarray
    score: np.ndarray
    power: np.ndarray

    def normal(self):
        """Return the normal matrix (c, c) of all columns, data last."""
        return self.innovations.T @ self.innovations

    def steps(self):
        """Return (size, sigma) (n,) of a lone step at each row; NaN where it cannot be told."""
        whole = self.normal()
        inverse = np.linalg.pinv(whole[:-1, :-1], hermitian=True)
        coefficient = inverse @ whole[:-1, -1]
        shared = self.score[:, :-1]
        left = self.power - ((shared @ inverse) * shared).sum(axis=1)
        told = left > DEPENDENT * np.maximum(self.power, np.finfo(float).tiny)
        told[0] = False
        left = np.where(told, left, np.nan)
        return (self.score[:, -1] - shared @ coefficient) / left, left**-0.5


def whiten(time_ns, position_m, sigma_m, model, design=None):
    """Filter one axis and its regressors by a model, and look at a step at every row.

    Parameters
    ----------
    time_ns : array (n,)
        Strictly ascending. [ns]
    position_m, sigma_m : array (n,)
        Finite. [m]
    model : MotionModel
    design : array (n, p), optional
        Regressors known already.

    Returns
    -------
    Whitened
    """
    time_d = (time_ns - time_ns[0]) / NS_PER_DAY
    n, d = len(time_d), model.size
    design = np.zeros((n, 0)) if design is None else design
    table = np.column_stack([np.ones(n), time_d, design, position_m - position_m[0]])
    variance = (np.broadcast_to(sigma_m, n) * model.white_scale) ** 2
    c = table.shape[1]
    steps, gains, innovations, totals = _filtered(time_d, table, variance, model)
    score, power = np.empty((n, c)), np.empty(n)
    adjoint, weight = np.zeros((d, c)), np.zeros((d, d))
    work = np.zeros(max(c, d))
    _shock_kernels.shocks(steps, gains, innovations, totals, adjoint, weight, work, score, power)
    return Whitened(innovations / np.sqrt(totals)[:, None], score, power)


def _filtered(time_d, table, variance, model):
    """Return steps (n, 9), gains (n, d), innovations (n, c), totals (n,) of the filter."""
    n, c, d = len(time_d), table.shape[1], model.size
    steps, gains = np.empty((n, 9)), np.empty((n, d))
    innovations, totals = np.empty((n, c)), np.empty(n)
    states, covs = np.empty((BLOCK, d, c)), np.empty((BLOCK, d, d))
    state, cov = np.zeros((d, c)), model.start_covariance()
    for first in range(0, n, BLOCK):
        part = slice(first, min(first + BLOCK, n))
        _kernels.filter_block(
            time_d, table, variance, part.start, part.stop, model.parameters(), state, cov,
            steps[part], states, covs, gains[part], innovations[part], totals[part],
        )  # fmt: skip
    return steps, gains, innovations, totals


def rough_model(time_ns, position_m, sigma_m):
    """Return the :class:`MotionModel` that explains how a series bends over minutes to days.

    The robust variance of second differences at lags of one interval to three days is split into
    white noise, at most two Gauss-Markov noises and a velocity that walks at random: medians, so
    that steps and slips weigh nothing. For :func:`~stakeline.motion.steps.find_steps` before a
    better model is at hand.

    Raises
    ------
    SolutionError
        Fewer than 40 rows, or none at equal distances.
    """
    lag_d, variance, count = _bends(time_ns, position_m)
    columns = [np.full_like(lag_d, 6.0), 2.0 / 3.0 * lag_d**3]
    columns += [6.0 - 8.0 * np.exp(-lag_d / m) + 2.0 * np.exp(-2.0 * lag_d / m) for m in MEMORIES_D]
    trust = np.sqrt(count) / variance
    best = None
    for one in range(len(MEMORIES_D)):
        for other in range(one + 1, len(MEMORIES_D)):
            chosen = np.stack([columns[k] for k in (0, 1, 2 + one, 2 + other)], axis=1)
            share, misfit = nnls(chosen * trust[:, None], variance * trust)
            if best is None or misfit < best[0] * (1.0 - 1e-6):
                best = misfit, share, (MEMORIES_D[one], MEMORIES_D[other])
    _, (white, intensity, *coloured), memories = best
    least = 1e-3 * np.sqrt(variance[0] / 6.0)
    used = [(np.sqrt(v), m) for v, m in zip(coloured, memories, strict=True) if v > 0.0]
    return MotionModel(
        acceleration_m2_d3=max(float(intensity), LEAST_Q),
        coloured_sigma_m=tuple(float(s) for s, _ in used),
        coloured_memory_d=tuple(m for _, m in used),
        white_scale=float(max(np.sqrt(white), least) / np.median(sigma_m)),
    )


def _bends(time_ns, position_m):
    """Return lags [d], robust variances of second differences [m2] and how many weigh in each."""
    interval = int(np.median(np.diff(time_ns))) if len(time_ns) > 1 else 0
    if len(time_ns) < FEWEST:
        raise SolutionError(f"{len(time_ns)} rows; a rough noise model needs {FEWEST}: give one")
    longest = min(LONGEST_LAG_D * NS_PER_DAY, (time_ns[-1] - time_ns[0]) / 4.0)
    steps = np.unique(np.geomspace(1, max(longest / interval, 1.0), LAGS).round().astype(np.int64))
    rows = []
    for lag in steps * interval:
        bend = second_differences(time_ns, position_m, lag, interval // 4)
        if len(bend) >= FEWEST // 2:
            spread = MAD_TO_SIGMA * np.median(np.abs(bend - np.median(bend)))
            rows.append((lag / NS_PER_DAY, spread**2, len(bend) * interval / lag))
    rows = [row for row in rows if row[1] > 0.0]
    if len(rows) < 3:
        raise SolutionError("no rows at equal distances that change: give a noise model")
    return np.array(rows).T


def second_differences(time_ns, position_m, lag_ns, tolerance_ns):
    """Return x(t) - 2 x(t + lag) + x(t + 2 lag) wherever rows stand there."""
    near, whole = [], np.ones(len(time_ns), bool)
    for times in (1, 2):
        target = time_ns + times * lag_ns
        row = np.searchsorted(time_ns, target - tolerance_ns)
        row = np.minimum(row, len(time_ns) - 1)
        whole &= np.abs(time_ns[row] - target) <= tolerance_ns
        near.append(row)
    bend = position_m - 2.0 * position_m[near[0]] + position_m[near[1]]
    return bend[whole]
