"""The estimator on arrays: filter, smoother, robust rounds.

One engine serves the moving and the still antenna: where nothing walks, the position is constant.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..errors import SolutionError
from ._kernels import LOCAL, backward, forward
from .arcs import Arcs, place_arcs
from .pattern import Pattern

PRIOR_SIGMA = (1e5, 1e3, 1e3, 1e3, 1e-3, 1e-3, 1e-3, 0.3, 5e-3, 5e-3)
"""About 0: clock, position [m], velocity [m/s], wet delay, gradients [m]; common practice."""
BIAS_SIGMA_M = 1e4  # m, of a system bias; common practice, no source
ROUNDS = 8  # at most; our choice
PHASE_LIMIT, CODE_LIMIT = 4.5, 4.5  # in robust standard deviations; common practice, no source
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
    pattern: Pattern | None


class Workspace:
    """Arrays of the elimination, kept from round to round."""

    def __init__(self, problem, arcs):
        n, m = problem.phase_m.shape
        self.biases = int(problem.bias.max(initial=-1)) + 1
        self.size = LOCAL + self.biases + arcs.slots
        steps = 1 + 3 + (6 if problem.moving else 3)
        self.rows = np.empty((n * steps + arcs.count + 1, self.size))
        self.offsets = np.empty(len(self.rows))
        self.pivots = np.empty(len(self.rows))
        self.row_end = np.zeros(n, np.int64)
        self.dt = np.append(np.diff(problem.seconds), 0.0)
        self.slot = np.where(arcs.slot >= 0, arcs.slot + LOCAL + self.biases, -1)
        self.states = np.zeros((n, LOCAL))
        self.covariance = np.zeros((n, 3, 3))
        self.phase_residual = np.full((n, m), np.nan)
        self.code_residual = np.full((n, m), np.nan)


def smooth(problem, arcs, phase_weight, code_weight, *, spread, workspace):
    """Run filter and smoother once; fills the workspace, returns the last covariance or None."""
    w = workspace
    x, c = last_state(*eliminate(problem, arcs, phase_weight, code_weight, workspace))
    last = c.copy()
    backward(
        w.dt, problem.noise, problem.moving, problem.phase_m, problem.code_m, problem.unit,
        problem.wet, problem.gradient, problem.azimuth_rad, problem.bias, w.slot, arcs.ending,
        x, c, w.rows, w.offsets, w.pivots, w.row_end, spread, w.states, w.covariance,
        w.phase_residual, w.code_residual,
    )  # fmt: skip
    return last


def eliminate(problem, arcs, phase_weight, code_weight, workspace):
    """Run the filter once; return information matrix and vector of the last epoch's state."""
    w = workspace
    a, b = np.zeros((w.size, w.size)), np.zeros(w.size)
    sigma = np.full(w.size, np.inf)
    sigma[:LOCAL] = PRIOR_SIGMA
    sigma[4:7] = problem.velocity_sigma_m_s if problem.moving else 1e-9
    sigma[LOCAL : LOCAL + w.biases] = BIAS_SIGMA_M
    forward(
        w.dt, problem.noise, problem.moving, sigma**-2.0, problem.phase_m, problem.code_m,
        phase_weight, code_weight, problem.unit, problem.wet, problem.gradient,
        problem.azimuth_rad, problem.bias, w.slot, arcs.ending, a, b, w.rows, w.offsets,
        w.pivots, w.row_end,
    )  # fmt: skip
    return a, b


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
    pattern = Pattern.of(problem) if problem.elevation_rad is not None else None
    phase_ok, code_ok = usable.copy(), usable & np.isfinite(problem.code_m)
    phase_scale = code_scale = 1.0
    for turn in range(max_rounds):
        smooth(
            clean, arcs, *weights_of(clean, phase_ok, code_ok), spread=False, workspace=workspace
        )
        phase_z = np.abs(workspace.phase_residual) / problem.phase_sigma_m
        code_z = np.abs(workspace.code_residual) / problem.code_sigma_m
        phase_scale = robust_scale(phase_z[usable & phase_ok])
        code_scale = robust_scale(code_z[usable & code_ok])
        gate = PHASE_GATE_M / np.nanmin(problem.phase_sigma_m) if turn else np.inf
        limit = min(PHASE_LIMIT * phase_scale, gate)
        new_phase = usable & (phase_z < limit)
        new_code = usable & (code_z < CODE_LIMIT * code_scale)
        changed = (new_phase != phase_ok).sum() + (new_code != code_ok).sum()
        phase_ok, code_ok = new_phase, new_code
        if pattern is not None:
            learnt = pattern.learn(np.where(phase_ok, workspace.phase_residual, np.nan))
            clean = replace(clean, phase_m=clean.phase_m - np.where(usable, learnt, 0.0))
        elif changed <= 1e-4 * usable.sum():
            break
    last = smooth(
        clean, arcs, *weights_of(clean, phase_ok, code_ok), spread=True, workspace=workspace
    )
    return Estimate(
        workspace.states,
        workspace.covariance,
        np.sqrt(np.maximum(np.diag(last)[4:7], 0.0)),
        np.where(phase_ok, workspace.phase_residual, np.nan),
        np.where(code_ok, workspace.code_residual, np.nan),
        phase_ok,
        code_ok,
        phase_scale,
        code_scale,
        {
            "phase outlier": int((usable & ~phase_ok).sum()),
            "code outlier": int((usable & ~code_ok).sum()),
        },
        turn + 1,
        arcs,
        pattern,
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
