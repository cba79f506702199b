"""The estimator on arrays: filter, smoother, robust rounds.

One engine serves the moving and the still antenna: where nothing walks, the position is constant.
"""

from dataclasses import dataclass

import numpy as np

from ..errors import SolutionError
from ._absolute_kernels import backward, forward, forward_values
from ._kernels import LOCAL
from .arcs import Arcs, place_arcs
from .packed import packed
from .pattern import Pattern

PRIOR_SIGMA = (1e5, 1e3, 1e3, 1e3, 1e-3, 1e-3, 1e-3, 0.3, 5e-3, 5e-3)
"""About 0: clock, position [m], velocity [m/s], wet delay, gradients [m]; common practice."""
BIAS_SIGMA_M = 1e4  # m, of a system bias; common practice, no source
ROUNDS = 8  # at most; our choice
PHASE_LIMIT, CODE_LIMIT = 4.5, 4.5  # in robust standard deviations; common practice, no source
ALIKE = 1e-3  # -, a filter's weights serve on while fewer differ: moves 0.05 mm at most, measured
PHASE_GATE_M = 0.25  # m, at the zenith: wrong whatever the scatter; our choice


@dataclass(frozen=True)
class Problem:
    """All that the estimator needs, on arrays; see :func:`stakeline.positioning.solve`."""

    seconds: np.ndarray  # (n,) since the first epoch
    phase_m: np.ndarray
    code_m: np.ndarray
    unit: np.ndarray
    wet: np.ndarray
    gradient: np.ndarray
    azimuth_rad: np.ndarray
    phase_sigma_m: np.ndarray  # (n, m), by elevation
    code_sigma_m: np.ndarray
    bias: np.ndarray  # (m,) index of the system bias, -1 for the reference system
    arc: np.ndarray  # (n, m) number or -1
    noise: np.ndarray  # (n, 5), see _kernels.move_forward
    moving: bool  # whether velocity is in the state
    elevation_rad: np.ndarray | None = None  # (n, m); given: the pattern over it is learnt
    group: np.ndarray | None = None  # (m,) satellites that share one pattern
    velocity_sigma_m_s: float = 1e-3


@dataclass(frozen=True)
class Estimate:
    """What came out; residuals (n, m) with NaN where not used."""

    states: np.ndarray  # (n, 10)
    covariance_m2: np.ndarray  # (n, 3, 3) formal, east north up
    velocity_sigma_m_s: np.ndarray  # (3,) formal, at the last epoch
    phase_residual_m: np.ndarray
    code_residual_m: np.ndarray
    phase_used: np.ndarray
    code_used: np.ndarray
    phase_scale: float  # robust residual over assumed sigma
    code_scale: float
    rejected: dict
    rounds: int
    arcs: Arcs
    pattern_m: np.ndarray | None  # (n, m) learnt and taken off the phases


class Workspace:
    """A problem's packed observations and the arrays of its elimination, kept from round to round.

    Values and weights of observations are packed (N,), see :class:`~.packed.Packed`.
    """

    def __init__(self, problem, arcs):
        n = len(problem.seconds)
        self.biases = int(problem.bias.max(initial=-1)) + 1
        self.size = LOCAL + self.biases + arcs.slots
        self.packed = packed(problem, arcs, self.biases)
        steps = 1 + 3 + (6 if problem.moving else 3)
        self.rows = np.empty((n * steps + arcs.count + 1, self.size))
        self.offsets = np.empty(len(self.rows))
        self.pivots = np.empty(len(self.rows))
        self.row_end = np.zeros(n, np.int64)
        dt = np.append(np.diff(problem.seconds), 0.0)
        self.path = (dt, problem.noise, problem.moving)
        sigma = np.full(self.size, np.inf)
        sigma[:LOCAL] = PRIOR_SIGMA
        sigma[4:7] = problem.velocity_sigma_m_s if problem.moving else 1e-9
        sigma[LOCAL : LOCAL + self.biases] = BIAS_SIGMA_M
        self.prior = sigma**-2.0
        self.states = np.zeros((n, LOCAL))
        self.covariance = np.zeros((n, 3, 3))
        self.phase_residual, self.code_residual = np.empty((2, len(self.packed.seen[1])))

    @property
    def keep(self):
        """Return what the elimination keeps: rows, offsets, pivots."""
        return self.rows, self.offsets, self.pivots

    def eliminate(self, phase, code, phase_weight, code_weight):
        """Run the filter; return information matrix and vector of the last epoch's state."""
        a, b = np.zeros((self.size, self.size)), np.zeros(self.size)
        seen = self.packed.seen
        forward(
            *self.path, self.prior, seen, phase, code, phase_weight, code_weight, a, b, self.keep,
            self.row_end,
        )  # fmt: skip
        return a, b

    def vector(self, phase, code, phase_weight, code_weight):
        """Return the information vector that other values leave with the weights of the filter."""
        b = np.zeros(self.size)
        seen = self.packed.seen
        forward_values(*self.path, seen, phase, code, phase_weight, code_weight, b, self.keep)
        return b

    def smooth(self, phase, code, x, c, *, spread=False):
        """Run the smoother from the last state and covariance; fills states and residuals."""
        backward(
            *self.path, self.packed.seen, phase, code, x, c.copy(), self.keep, self.row_end, spread,
            self.states, self.covariance, self.phase_residual, self.code_residual,
        )  # fmt: skip


def eliminate(problem, arcs, phase_weight, code_weight, workspace):
    """Run the filter once on dense arrays; return matrix and vector of the last epoch's state."""
    values = (problem.phase_m, problem.code_m, phase_weight, code_weight)
    return workspace.eliminate(*map(workspace.packed.pack, values))


def last_state(a, b):
    """Solve for the last state and its covariance; empty slots stay 0."""
    alive = np.diag(a) > 1e-20
    x, c = np.zeros(len(b)), np.zeros(a.shape)
    block = np.ix_(alive, alive)
    scale = 1.0 / np.sqrt(np.diag(a)[alive])
    inverse = np.linalg.inv(a[block] * scale[:, None] * scale) * scale[:, None] * scale
    c[block] = 0.5 * (inverse + inverse.T)
    x[alive] = c[block] @ b[alive]
    return x, c


class _Rounds:
    """What changes from round to round: values, which of them are in use, and their scatter."""

    def __init__(self, problem, clean, usable, workspace):
        self.workspace = workspace
        pack = workspace.packed.pack
        self.usable = pack(usable)
        self.phase, self.code = pack(clean.phase_m), pack(clean.code_m)
        self.phase_sigma, self.code_sigma = pack(problem.phase_sigma_m), pack(problem.code_sigma_m)
        self.phase_information = self.phase_sigma**-2.0
        self.code_information = self.code_sigma**-2.0
        self.phase_ok = self.usable.copy()
        self.code_ok = self.usable & np.isfinite(pack(problem.code_m))
        self.phase_scale = self.code_scale = 1.0
        self.gate = PHASE_GATE_M / np.nanmin(problem.phase_sigma_m)
        self.last_covariance = self.held = None

    def eliminate(self, *, spread=False):
        """Filter and smooth what is in use."""
        weights = (
            np.where(self.phase_ok, self.phase_information, 0.0),
            np.where(self.code_ok, self.code_information, 0.0),
        )
        x, c = last_state(*self.workspace.eliminate(self.phase, self.code, *weights))
        self.held, self.last_covariance = (self.phase_ok, self.code_ok, weights), c
        self._smooth(x, spread)

    def renew(self):
        """Filter and smooth new values with the weights of the last elimination, where alike.

        A value left out since stands where the round before had it, which comes to leaving it out
        (Yates 1933, Empire J. Exp. Agric. 1, 129-142: missing plots; from memory).
        """
        phase_held, code_held, weights = self.held
        apart = (phase_held != self.phase_ok).sum() + (code_held != self.code_ok).sum()
        if apart > ALIKE * len(self.usable):
            self.eliminate()
            return
        phase = np.where(phase_held & ~self.phase_ok, self.fitted[0], self.phase)
        code = np.where(code_held & ~self.code_ok, self.fitted[1], self.code)
        self._smooth(self.last_covariance @ self.workspace.vector(phase, code, *weights), False)

    def _smooth(self, x, spread):
        w = self.workspace
        w.smooth(self.phase, self.code, x, self.last_covariance, spread=spread)
        self.fitted = self.phase - w.phase_residual, self.code - w.code_residual

    def screen(self, *, gated):
        """Choose anew what is in use by the residuals; return how many changed."""
        phase_z = np.abs(self.workspace.phase_residual) / self.phase_sigma
        code_z = np.abs(self.workspace.code_residual) / self.code_sigma
        self.phase_scale = robust_scale(phase_z[self.phase_ok])
        self.code_scale = robust_scale(code_z[self.code_ok])
        limit = min(PHASE_LIMIT * self.phase_scale, self.gate if gated else np.inf)
        before = self.phase_ok, self.code_ok
        self.phase_ok = self.usable & (phase_z < limit)
        self.code_ok = self.usable & (code_z < CODE_LIMIT * self.code_scale)
        return (before[0] != self.phase_ok).sum() + (before[1] != self.code_ok).sum()

    def take_off(self, pattern):
        """Learn from the residuals and take what is learnt off the phases."""
        residual = np.where(self.phase_ok, self.workspace.phase_residual, np.nan)
        self.phase = self.phase - pattern.learn(residual)


def estimate(problem, *, max_rounds=ROUNDS):
    """Estimate all states with robust rounds; return :class:`Estimate`.

    Each round's residuals, scaled by the robust scatter, decide what the next round uses: a phase
    or code beyond the limit is left out (and may come back), one beyond the absolute gate is.

    Raises
    ------
    SolutionError
        Where nothing is left to estimate from.
    """
    arcs = place_arcs(problem.arc)
    usable = (arcs.slot >= 0) & np.isfinite(problem.phase_m)
    if not usable.any():
        raise SolutionError("no phase arc is long enough to estimate a position from")
    clean = without_nan(problem, usable)
    workspace = Workspace(clean, arcs)
    rounds = _Rounds(problem, clean, usable, workspace)
    pattern = _pattern(problem, workspace.packed)
    for turn in range(max_rounds):
        rounds.renew() if pattern is not None and turn else rounds.eliminate()
        changed = rounds.screen(gated=turn > 0)
        if pattern is not None:
            rounds.take_off(pattern)
        elif changed <= 1e-4 * usable.sum():
            break
    rounds.eliminate(spread=True)
    return _estimate(rounds, usable, turn + 1, arcs, pattern)


def _pattern(problem, places):
    """Return the still empty pattern of a problem whose antenna variations are missing, or None."""
    if problem.elevation_rad is None:
        return None
    group = np.broadcast_to(problem.group, problem.arc.shape)
    return Pattern.of(places.pack(problem.elevation_rad), places.pack(group), problem.seconds)


def _estimate(rounds, usable, turns, arcs, pattern):
    """Return the :class:`Estimate` of the last round, on dense arrays."""
    w = rounds.workspace
    spread = w.packed.spread
    phase_ok, code_ok = spread(rounds.phase_ok, False), spread(rounds.code_ok, False)
    return Estimate(
        w.states,
        w.covariance,
        np.sqrt(np.maximum(np.diag(rounds.last_covariance)[4:7], 0.0)),
        spread(np.where(rounds.phase_ok, w.phase_residual, np.nan), np.nan),
        spread(np.where(rounds.code_ok, w.code_residual, np.nan), np.nan),
        phase_ok,
        code_ok,
        rounds.phase_scale,
        rounds.code_scale,
        {
            "phase outlier": int((usable & ~phase_ok).sum()),
            "code outlier": int((usable & ~code_ok).sum()),
        },
        turns,
        arcs,
        None if pattern is None else spread(pattern.values(), 0.0),
    )


def without_nan(problem, usable):
    """Return the problem with zeros where nothing is used: the kernels look at weights only."""
    values = {
        name: np.where(usable, np.nan_to_num(getattr(problem, name)), 0.0)
        for name in ("phase_m", "code_m", "wet", "gradient", "azimuth_rad")
    }
    from_problem = {k: v for k, v in vars(problem).items() if k not in values}
    return Problem(**from_problem, **values)


def weights_of(problem, phase_ok, code_ok):
    """Return the weights of phases and codes (n, m), 0 where one is not used."""
    return (
        np.where(phase_ok, problem.phase_sigma_m**-2.0, 0.0),
        np.where(code_ok, problem.code_sigma_m**-2.0, 0.0),
    )


def robust_scale(z):
    """Return the standard deviation that the median of |z| tells (normal: 1.4826 times it)."""
    return float(1.4826 * np.median(z)) if z.size else 1.0
