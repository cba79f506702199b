"""How restless the antenna is: the velocity walk that makes the observations most likely.

Quiet ice is smoothed and a flood is followed where the walk is neither too stiff nor too loose. The
likelihood of all innovations follows from the pivots of the elimination (Harvey 1989, Forecasting,
structural time series models and the Kalman filter, section 3.4: prediction error decomposition).
"""

from dataclasses import replace

import numpy as np

from .estimate import Workspace, eliminate, last_state, weights_of, without_nan

LEAST_M_S15, MOST_M_S15 = 1e-7, 3e-5  # m/s/sqrt(s), of the walk: stiffer fails silently; measured
STEPS = 12  # evaluations of the search; factor 1.1 in the walk; our choice
GOLDEN = 0.5 * (np.sqrt(5.0) - 1.0)


def log_likelihood(problem, result, memory):
    """Return the log-likelihood of the observations in use, up to a constant of them.

    Parameters
    ----------
    problem : Problem
    result : Estimate
        Of the same problem with any process noise: what is used, and how far residuals scatter.
    memory : float
        Factor on sigmas for noise that is red: else slow multipath is taken for motion.
    """
    usable = result.phase_used | result.code_used
    clean = _without_clock(without_nan(problem, usable), usable)
    factor = (max(result.phase_scale, 0.3) * memory) ** -2.0
    phase_weight, code_weight = weights_of(clean, result.phase_used, result.code_used)
    phase_weight, code_weight = factor * phase_weight, factor * code_weight
    workspace = Workspace(clean, result.arcs)
    a, b = eliminate(clean, result.arcs, phase_weight, code_weight, workspace)
    x, _ = last_state(a, b)
    rows = int(workspace.row_end[-1])
    pivots, offsets = workspace.pivots[:rows], workspace.offsets[:rows]
    misfit = (phase_weight * clean.phase_m**2).sum() + (code_weight * clean.code_m**2).sum()
    misfit -= (offsets**2 * pivots).sum() + b @ x
    alive = np.diag(a) > 1e-20
    determinant = np.log(pivots[pivots > 1e-9]).sum()
    determinant += np.linalg.slogdet(a[np.ix_(alive, alive)])[1]
    return 0.5 * (_walk_weight(clean) - misfit - determinant)


def _without_clock(problem, usable):
    """Return the problem less each epoch's median code: the clock is free, digits are not."""
    code = np.where(usable, problem.code_m, np.nan)
    seen = usable.any(axis=1)
    clock = np.zeros(len(code))
    clock[seen] = np.nanmedian(code[seen], axis=1)
    own = np.where(usable, clock[:, None], 0.0)
    return replace(problem, code_m=problem.code_m - own, phase_m=problem.phase_m - own)


def _walk_weight(problem):
    """Return the sum of the logarithms of all inverse variances of position and velocity."""
    dt, noise = np.diff(problem.seconds), problem.noise[:-1]
    position = noise[:, 0] * dt**3 / 12.0 + noise[:, 1] * dt + noise[:, 4]
    return -3.0 * (np.log(position) + np.log(noise[:, 0] * dt)).sum()


def restlessness(problem, result, memory):
    """Return the most likely velocity walk [m/s/sqrt(s)] by golden section of its logarithm."""
    low, high = np.log(LEAST_M_S15), np.log(MOST_M_S15)
    inner = [high - GOLDEN * (high - low), low + GOLDEN * (high - low)]
    value = [log_likelihood(with_walk(problem, np.exp(v)), result, memory) for v in inner]
    for _ in range(STEPS - 2):
        if value[0] >= value[1]:
            high, inner[1], value[1] = inner[1], inner[0], value[0]
            inner[0] = high - GOLDEN * (high - low)
            value[0] = log_likelihood(with_walk(problem, np.exp(inner[0])), result, memory)
        else:
            low, inner[0], value[0] = inner[0], inner[1], value[1]
            inner[1] = low + GOLDEN * (high - low)
            value[1] = log_likelihood(with_walk(problem, np.exp(inner[1])), result, memory)
    return float(np.exp(inner[int(value[1] > value[0])]))


def with_walk(problem, walk_m_s15):
    """Return the problem with another velocity walk."""
    noise = problem.noise.copy()
    noise[:, 0] = walk_m_s15**2
    return replace(problem, noise=noise)
