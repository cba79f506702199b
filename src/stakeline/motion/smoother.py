"""Position and velocity of one axis from a noisy, gappy series, as a state with its covariance.

The model: the velocity is a random walk, or wanders about a mean (Ornstein-Uhlenbeck); the
position is its integral; a measurement is the position, plus up to two Gauss-Markov noises (what
GNSS leaves for hours), plus white noise of the sigma given for each epoch, plus regressors with
unknown coefficients: tides, equipment steps, seasons. First position and first (or mean) velocity
are regressors too. All coefficients are without prior (diffuse): data and regressors are filtered
with one gain, the coefficients solved from the innovations, and their covariance carried into
that of the velocity (de Jong 1991, Annals of Statistics 19, 1073). Linear in the number of epochs.

Three estimators of one model: :func:`smooth` looks both ways, :func:`filtered` only back, so that
nothing starts before its cause, :func:`lagged` a fixed time ahead.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError
from . import _kernels
from .motion_model import MotionModel
from .rows import checked_rows, checked_times, in_gap

__all__ = [
    "MotionModel",
    "Smoothed",
    "filtered",
    "lagged",
    "likelihood_by_part",
    "log_likelihood",
    "smooth",
]

BLOCK = 512  # rows filtered at once and again on the way back; our choice
BASE = 2  # regressors of the model itself: first position, first or mean velocity
COLLINEAR = 1e-9  # -, share of a regressor that the others leave; our choice


@dataclass(frozen=True)
class Smoothed:
    """Motion of one axis at ``time_ns``, honest under the noise of the model given.

    ``position_m`` is without the regressors' share. Values are NaN ``in_gap`` and where the
    velocity's sigma is above its limit; the sigmas stay, and tell how much is not known.
    ``regression_value`` (p,) and ``regression_covariance`` (p, p) are of the regressors given,
    ``base_value`` and ``base_covariance`` of the position at the first epoch and of the first
    (random walk) or mean (wandering) velocity: estimates of the whole series for every estimator.
    ``innovation``: one for each row given, standardised, NaN where it was used up to determine a
    coefficient or not measured. ``log_likelihood`` is the restricted one.
    """

    time_ns: np.ndarray
    position_m: np.ndarray
    position_sigma_m: np.ndarray
    velocity_m_d: np.ndarray
    velocity_sigma_m_d: np.ndarray
    in_gap: np.ndarray
    regression_value: np.ndarray
    regression_covariance: np.ndarray
    base_value: np.ndarray
    base_covariance: np.ndarray
    log_likelihood: float
    innovation: np.ndarray


def smooth(time_ns, position_m, sigma_m, model, design=None, **options):
    """Estimate position and velocity from the whole series, before and after each time.

    Parameters
    ----------
    time_ns : array (n,)
        GPS time, strictly ascending. [ns]
    position_m, sigma_m : array (n,)
        One axis and its white sigma; a row with a NaN is no measurement. [m]
    model : MotionModel
    design : array (n, p), optional
        Regressors of the measurement, such as tides and steps: not part of the motion.
    at_ns : array (m,), optional
        Times of the estimates, ascending; the rows' own where none are given. [ns]
    longest_gap_d : float, optional
        No motion is given inside a longer gap, nor beyond the ends. [d]
    velocity_limit_m_d : float, optional
        No motion is given where the sigma of the velocity is larger. [m/d]

    Returns
    -------
    Smoothed

    Raises
    ------
    SettingsError
        Shapes that do not fit, a design that is not finite, or a sigma that is not positive.
    SolutionError
        Times that do not ascend, fewer than p + 3 measurements, or regressors that cannot be told
        apart.
    """
    problem = _Problem(time_ns, position_m, sigma_m, model, design, **options)
    ends = problem.block_ends()
    starts = [(i, problem.run.copy()) for i in _blocks(problem, ends)]
    inverse = problem.inverse()
    adjoint, weight = problem.nothing_ahead()
    found = np.empty((problem.rows, 4))
    for (first, run), last in zip(reversed(starts), reversed(ends), strict=True):
        problem.forward(first, last, run)
        found[first:last] = problem.backward(first, last, adjoint, weight, inverse)
    return problem.result(found[problem.wanted], causal=False)


def filtered(time_ns, position_m, sigma_m, model, design=None, **options):
    """Estimate position and velocity at each time from the measurements up to it alone.

    As :func:`smooth`, which see; the coefficients too are those of the past, so that nothing in
    the series of estimates starts before its cause. The velocity is NaN with an infinite sigma
    until the rows determine it. A time is in a gap when the last measurement is too long ago.
    """
    problem = _Problem(time_ns, position_m, sigma_m, model, design, **options)
    found = np.empty((problem.rows, 4))
    ends = problem.block_ends()
    for first, last in zip([0, *ends], ends, strict=False):
        problem.forward(first, last, problem.run)
        found[first:last] = problem.regress(first, last, causal=True)
    problem.inverse()
    return problem.result(found[problem.wanted], causal=True)


def lagged(time_ns, position_m, sigma_m, model, lag_d, design=None, **options):
    """Estimate position and velocity from the past and the next ``lag_d`` days of each time.

    As :func:`smooth`, which see. Each estimate costs the rows within its lag: give few ``at_ns``.
    """
    if not lag_d >= 0.0:
        raise SettingsError(f"lag is {lag_d} d; expected at least 0")
    problem = _Problem(time_ns, position_m, sigma_m, model, design, **options)
    here = problem.wanted + 1
    ahead = np.searchsorted(problem.time, problem.time[problem.wanted] + lag_d, side="right")
    ends = np.unique(np.concatenate([here, ahead, problem.block_ends()]))
    after, runs, triangles = set(here.tolist()), {}, {}
    horizon = set(ahead.tolist())
    for first, last in zip([0, *ends.tolist()], ends.tolist(), strict=False):
        problem.forward(first, last, problem.run)
        problem.regress(first, last, causal=False)
        if last in after:
            runs[last] = problem.run.copy()
        if last in horizon:
            triangles[last] = problem.triangle.copy(), problem.held.copy()
    found = np.array(
        [problem.look_back(i, runs[i], j, triangles[j]) for i, j in zip(here, ahead, strict=True)]
    ).reshape(-1, 4)
    problem.inverse()
    return problem.result(found, causal=False)


def log_likelihood(time_ns, position_m, sigma_m, model, design=None):
    """Return the restricted log likelihood of a model; arguments and errors of :func:`smooth`."""
    problem = _Problem(time_ns, position_m, sigma_m, model, design)
    for first, last in zip([0, *problem.block_ends()], problem.block_ends(), strict=False):
        problem.forward(first, last, problem.run)
        problem.regress(first, last, causal=False)
    return problem.log_likelihood()


def likelihood_by_part(time_ns, position_m, sigma_m, model, design=None):
    """Return what each part between the model's changes adds to the log likelihood (k + 1,).

    Without the constant share and that of the regressors' determinant, which belong to no part.
    """
    problem = _Problem(time_ns, position_m, sigma_m, model, design)
    found = np.zeros(len(problem.changes) + 1)
    for first, last in zip([0, *problem.block_ends()], problem.block_ends(), strict=False):
        before = problem.logarithms
        problem.forward(first, last, problem.run)
        problem.regress(first, last, causal=False)
        part = np.searchsorted(problem.changes, first, side="right")
        found[part] -= 0.5 * (problem.logarithms - before)
        found[part] -= 0.5 * np.nansum(problem.standard[first:last] ** 2)
    return found


def _with_changes(all_ns, change_ns):
    """Return times with those of the changes that lie between them."""
    if not len(change_ns) or not len(all_ns):
        return all_ns
    return np.union1d(all_ns, change_ns[(change_ns > all_ns[0]) & (change_ns < all_ns[-1])])


def _blocks(problem, ends):
    """Filter block after block; yield the first row of each while ``run`` stands before it."""
    for first, last in zip([0, *ends], ends, strict=False):
        yield first
        problem.forward(first, last, problem.run)
        problem.regress(first, last, causal=False)


class _Run:
    """State (d, c) and covariance (d, d) on the way."""

    def __init__(self, state, cov):
        self.state, self.cov = state, cov

    def copy(self):
        """Return a run that leaves this one alone."""
        return _Run(self.state.copy(), self.cov.copy())


class _Problem:
    """The checked rows, measurements and times asked for together, and the work space."""

    def __init__(
        self, time_ns, position_m, sigma_m, model, design=None, *,
        at_ns=None, longest_gap_d=np.inf, velocity_limit_m_d=np.inf,
    ):  # fmt: skip
        time_ns, position, sigma, design = checked_rows(time_ns, position_m, sigma_m, design)
        self.limits = longest_gap_d, velocity_limit_m_d
        self.at_ns = time_ns if at_ns is None else checked_times(at_ns)
        all_ns = time_ns if at_ns is None else np.union1d(time_ns, self.at_ns)
        change_ns = np.asarray(model.change_ns, np.int64)
        all_ns = _with_changes(all_ns, change_ns)
        self.own = np.searchsorted(all_ns, time_ns)
        self.wanted = np.searchsorted(all_ns, self.at_ns)
        self.rows, self.columns = len(all_ns), BASE + design.shape[1] + 1
        measured = np.isfinite(position) & np.isfinite(sigma)
        self.measured_ns = time_ns[measured]
        self.origin_m = position[measured][0] if measured.any() else 0.0
        self._fill(all_ns, position, sigma * model.white_scale, design, measured)
        self._need_enough(int(measured.sum()))
        self.parameters = model.parameters()
        self.changes = np.searchsorted(all_ns, change_ns, side="right")  # first rows of new parts
        self.factors = (1.0, *model.change_factor)
        self.run = _Run(np.zeros((model.size, self.columns)), model.start_covariance())
        self._work_space(model.size, self.columns)

    def _fill(self, all_ns, position, sigma, design, measured):
        start_ns = self.measured_ns[0] if len(self.measured_ns) else all_ns[0]
        self.time = (all_ns - start_ns) / NS_PER_DAY
        self.table = np.zeros((self.rows, self.columns))
        self.table[:, 0], self.table[:, 1] = 1.0, self.time
        self.table[self.own, BASE:-1] = design
        self.table[self.own, -1] = np.where(measured, position - self.origin_m, 0.0)
        self.variance = np.full(self.rows, np.inf)
        self.variance[self.own] = np.where(measured, sigma**2, np.inf)

    def _need_enough(self, count):
        if count < self.columns:
            raise SolutionError(
                f"{count} measured positions; velocity and {self.columns - 1 - BASE} regressors "
                f"need at least {self.columns}"
            )

    def _work_space(self, d, c):
        self.steps = np.zeros((BLOCK, 9))
        self.states, self.covs = np.zeros((BLOCK, d, c)), np.zeros((BLOCK, d, d))
        self.gains, self.innovations = np.zeros((BLOCK, d)), np.zeros((BLOCK, c))
        self.totals, self.work = np.zeros(BLOCK), np.zeros(max(c, d))
        self.base, self.estimates = np.zeros(c - 1), np.zeros((BLOCK, 4))
        self.smoothed, self.spread = np.zeros((BLOCK, 2, c)), np.zeros((BLOCK, 2))
        self.triangle, self.held = np.zeros((c, c)), np.zeros(c - 1, bool)
        self.standard, self.logarithms = np.full(self.rows, np.nan), 0.0

    def block_ends(self, first=0, last=None):
        """Return the row after the last of each block, from ``first`` on: no change within one."""
        last = self.rows if last is None else last
        every = {*range(first + BLOCK, last, BLOCK), *self.changes.tolist(), last}
        return sorted(row for row in every if first < row <= last)

    def forward(self, first, last, run):
        """Filter the rows of a block, keeping all of it in the work space."""
        parameters = self.parameters.copy()
        parameters[0] *= self.factors[np.searchsorted(self.changes, first, side="right")]
        _kernels.filter_block(
            self.time, self.table, self.variance, first, last, parameters, run.state, run.cov,
            self.steps, self.states, self.covs, self.gains, self.innovations, self.totals,
        )  # fmt: skip

    def regress(self, first, last, causal):
        """Take a block's innovations into the triangle; return the causal estimates (rows, 4)."""
        self.logarithms += _kernels.regress_block(
            self.time[first:last], last - first, self.states, self.covs, self.innovations,
            self.totals, causal, self.triangle, self.held, self.base, self.work[: self.columns],
            self.standard[first:last], self.estimates,
        )  # fmt: skip
        return self.estimates[: last - first]

    def nothing_ahead(self):
        """Return adjoint and weight after the last row."""
        return np.zeros_like(self.run.state), np.zeros_like(self.run.cov)

    def step_back(self, count, adjoint, weight):
        """Smooth the first rows of the work space."""
        _kernels.backward_block(
            count, self.steps, self.states, self.covs, self.gains, self.innovations, self.totals,
            adjoint, weight, self.work, self.smoothed, self.spread,
        )  # fmt: skip

    def backward(self, first, last, adjoint, weight, inverse):
        """Return the two-sided estimates (rows, 4) of a block that was just filtered."""
        count = last - first
        self.step_back(count, adjoint, weight)
        found = np.empty((count, 4))
        for row in range(2):
            derivative = -self.smoothed[:count, row, :-1]
            derivative[:, 0] += 1.0 - row
            derivative[:, 1] += row if row else self.time[first:last]
            share = derivative @ inverse
            found[:, 2 * row] = self.smoothed[:count, row, -1] + share @ self.triangle[:-1, -1]
            found[:, 2 * row + 1] = self.spread[:count, row] + (share**2).sum(axis=1)
        return found

    def look_back(self, here, run, ahead, regression):
        """Return the estimate (4) at the row before ``here`` from the rows before ``ahead``."""
        adjoint, weight = self.nothing_ahead()
        lasts = self.block_ends(here, ahead) if ahead > here else []
        pieces = list(zip([here, *lasts], lasts, strict=False))
        runs, moving = [], run.copy()
        for piece in pieces:
            runs.append(moving.copy())
            if piece != pieces[-1]:
                self.forward(*piece, moving)
        for (first, last), start in zip(reversed(pieces), reversed(runs), strict=True):
            self.forward(first, last, start)
            self.step_back(last - first, adjoint, weight)
        state = run.state - run.cov @ adjoint
        cov = run.cov - run.cov @ weight @ run.cov
        found = np.empty(4)
        for row in range(2):
            self.base[:2] = (0.0, 1.0) if row else (1.0, self.time[here - 1])
            value, added = _kernels.project(self.base, state, row, *regression, self.work)
            found[2 * row : 2 * row + 2] = value, cov[row, row] + added
        return found

    def inverse(self):
        """Return the inverse of the root of the normal matrix, refused where there is none."""
        root = self.triangle[:-1, :-1]
        lost = np.abs(np.diag(root)) <= COLLINEAR * np.linalg.norm(root, axis=0)
        if lost.any():
            names = [f"{j - BASE}" for j in np.flatnonzero(lost) if j >= BASE]
            which = f"columns {', '.join(names)} of the design" if names else "the velocity"
            raise SolutionError(
                f"{which}: not told apart from the motion and the other regressors by the rows "
                "measured; leave out what is zero, constant, a line, a copy, or too slow for them"
            )
        return np.linalg.inv(root)

    def result(self, found, causal):
        """Return the :class:`Smoothed` of estimates (m, 4): position, variance, velocity, its."""
        longest, limit = self.limits
        sigma = np.sqrt(np.maximum(found[:, 1::2], 0.0))
        gap = np.zeros(len(self.at_ns), bool)
        if np.isfinite(longest):
            gap = in_gap(self.measured_ns, self.at_ns, longest, causal=causal)
        hidden = gap | (sigma[:, 1] > limit) | ~np.isfinite(sigma).all(axis=1)
        inverse = self.inverse()
        value, covariance = inverse @ self.triangle[:-1, -1], inverse @ inverse.T
        return Smoothed(
            time_ns=self.at_ns,
            position_m=np.where(hidden, np.nan, found[:, 0] + self.origin_m),
            position_sigma_m=sigma[:, 0],
            velocity_m_d=np.where(hidden, np.nan, found[:, 2]),
            velocity_sigma_m_d=sigma[:, 1],
            in_gap=gap,
            regression_value=value[BASE:],
            regression_covariance=covariance[BASE:, BASE:],
            base_value=value[:BASE] + np.array([self.origin_m, 0.0]),
            base_covariance=covariance[:BASE, :BASE],
            log_likelihood=self.log_likelihood(),
            innovation=self.standard[self.own],
        )

    def log_likelihood(self):
        """Return the restricted log likelihood of the rows filtered so far."""
        free = len(self.measured_ns) - self.columns + 1
        twice = self.logarithms + 2.0 * np.log(np.abs(np.diag(self.triangle)[:-1])).sum()
        return -0.5 * float(twice + free * np.log(2.0 * np.pi) + self.triangle[-1, -1] ** 2)
