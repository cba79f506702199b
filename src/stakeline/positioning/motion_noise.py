"""How restless the antenna is: the velocity walk that makes the observations most likely.

Quiet ice is smoothed and a flood is followed where the walk is neither too stiff nor too loose. A
tide is no walk: its smooth course is found first and the walk stands for what is left. The
likelihood of all innovations follows from the pivots of the elimination (Harvey 1989, Forecasting,
structural time series models and the Kalman filter, section 3.4: prediction error decomposition).
"""

from dataclasses import replace

import numpy as np

from .estimate import Workspace, eliminate, estimate, last_state, weights_of, without_nan

LEAST_M_S15, MOST_M_S15 = 1e-8, 3e-5  # m/s/sqrt(s), of the walk; our choice
LOOSER, THROWN_SHARE = 3.0, 0.002  # too stiff a walk throws phases away: so many more; our choice
STEPS = 12  # evaluations of the search; factor 1.07 in the walk; our choice
GOLDEN = 0.5 * (np.sqrt(5.0) - 1.0)
TIDES_H = (12.4206012, 12.0, 12.65834751, 23.93447213, 25.81933871)
"""Periods of M2, S2, N2, K1, O1; Doodson (1921), Proc. R. Soc. A 100, 305, by his speeds."""
TIDE_M, REST_M = 1.0, 0.03  # m, how large one may be, and what else positions do; our choice


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


def tide_in(seconds, positions_m):
    """Return what a position (n, 3) does at the periods of the five largest tides (n, 3). [m]

    Least squares with a straight line and a prior size beside, so that tides which so short a
    record cannot part share what they do together.
    """
    middle = 0.5 * (seconds[0] + seconds[-1])
    angle = 2.0 * np.pi * (seconds - middle)[:, None] / (3600.0 * np.array(TIDES_H))
    waves = np.concatenate([np.cos(angle), np.sin(angle)], axis=1)
    line = np.stack([np.ones(len(seconds)), (seconds - middle) / 86400.0], axis=1)
    columns = np.concatenate([waves, line], axis=1)
    prior = np.r_[np.full(waves.shape[1], (REST_M / TIDE_M) ** 2), 0.0, 0.0]
    share = np.linalg.lstsq(
        columns.T @ columns + np.diag(prior), columns.T @ positions_m, rcond=None
    )[0]
    return waves @ share[: waves.shape[1]]


def about_path(problem, model, epochs, path_m):
    """Return (problem, model) linearised about points that lie ``path_m`` further.

    Parameters
    ----------
    problem : Problem
    model : Model
        Of all epochs; those that the problem holds are changed alike.
    epochs : int array, shape (n,)
    path_m : array, shape (n, 3)
        East, north, up. [m]
    """
    range_m = np.einsum("nmi,ni->nm", problem.unit, path_m)
    of_model = {name: getattr(model, name).copy() for name in ("phase_m", "code_m", "centre_m")}
    of_model["phase_m"][epochs] -= range_m
    of_model["code_m"][epochs] -= range_m
    of_model["centre_m"][epochs] += path_m @ model.axes
    shorter = {name: getattr(problem, name) - range_m for name in ("phase_m", "code_m")}
    return replace(problem, **shorter), replace(model, **of_model)


def followed(problem, before, walk_m_s15):
    """Return (problem, its estimate, walk), looser until no more phases are lost than ``before``.

    The likelihood is of the phases in use; what a stiff antenna would throw away it cannot tell.
    """
    most = before.phase_used.sum() * (1.0 - THROWN_SHARE)
    while True:
        walking = with_walk(problem, walk_m_s15)
        result = estimate(walking)
        if result.phase_used.sum() >= most or walk_m_s15 >= MOST_M_S15:
            return walking, result, walk_m_s15
        walk_m_s15 = min(LOOSER * walk_m_s15, MOST_M_S15)


def with_walk(problem, walk_m_s15):
    """Return the problem with another velocity walk."""
    noise = problem.noise.copy()
    noise[:, 0] = walk_m_s15**2
    return replace(problem, noise=noise)
