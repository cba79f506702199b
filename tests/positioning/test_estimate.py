"""The elimination in time order against one dense least-squares problem over all epochs."""

from dataclasses import dataclass, replace

import numpy as np
import pytest
from scipy.stats import binom

from stakeline.errors import SolutionError
from stakeline.positioning.arcs import place_arcs
from stakeline.positioning.estimate import (
    BIAS_SIGMA_M,
    LOCAL,
    PRIOR_SIGMA,
    Problem,
    Workspace,
    estimate,
    last_state,
)
from stakeline.positioning.motion_noise import (
    about_path,
    followed,
    log_likelihood,
    restlessness,
    with_walk,
)

VELOCITY_WALK, ZENITH_WALK, GRADIENT_WALK = 1e-5, 1e-4, 1e-5


def invented(rng, n=8, m=6, *, moving=True, systems=2):
    """Return a small problem with a slip, a gap and two systems, and its true positions."""
    t = np.arange(n) * 30.0
    azimuth = np.tile(rng.uniform(0, 2 * np.pi, m), (n, 1))
    elevation = np.clip(rng.uniform(0.3, 1.4, m) + 1e-3 * t[:, None], 0.2, 1.5)
    unit = -np.stack(
        [
            np.cos(elevation) * np.sin(azimuth),
            np.cos(elevation) * np.cos(azimuth),
            np.sin(elevation),
        ],
        axis=-1,
    )
    true = np.stack([1e-4 * t, -5e-5 * t, 0 * t], axis=1) if moving else np.zeros((n, 3))
    wet = 1.0 / np.sin(elevation)
    arc = np.tile(np.arange(m), (n, 1))
    arc[n // 2 :, 1] = m
    arc[n // 3 : n // 2, 2] = -1
    bias = np.where(np.arange(m) >= m - 2, systems - 2, -1)
    clock = rng.normal(0, 30.0, n)
    range_m = (unit * true[:, None]).sum(-1) + clock[:, None] + 0.1 * wet + 5.0 * (bias >= 0)
    ambiguity = rng.normal(0, 3.0, m + 1)
    sigma = 0.004 * np.sqrt(0.5 + 0.5 * wet**2)
    noise = np.zeros((n, 5))
    if moving:
        noise[:, 0] = VELOCITY_WALK**2
    noise[:, 2:4] = [ZENITH_WALK**2, GRADIENT_WALK**2]
    problem = Problem(
        t,
        range_m + ambiguity[arc] + rng.normal(0, 1, (n, m)) * sigma,
        range_m + rng.normal(0, 1, (n, m)) * 100 * sigma,
        unit,
        wet,
        1.0 / (np.sin(elevation) * np.tan(elevation) + 0.0032),
        azimuth,
        sigma,
        100 * sigma,
        bias.astype(np.int64),
        arc,
        noise,
        moving,
    )
    return problem, true


@dataclass(frozen=True)
class About:
    """The part of a model that says what positions are about."""

    phase_m: np.ndarray
    code_m: np.ndarray
    centre_m: np.ndarray
    axes: np.ndarray


def dense(problem):
    """Solve the same problem with every epoch's state as unknowns; return positions, covariance."""
    n, m = problem.phase_m.shape
    arcs = problem.arc.max() + 1
    biases = problem.bias.max() + 1
    size = n * LOCAL + biases + arcs
    rows, values, weights = [], [], []

    def add(pairs, value, sigma):
        row = np.zeros(size)
        for index, partial in pairs:
            row[index] += partial
        rows.append(row)
        values.append(value)
        weights.append(1.0 / sigma)

    sigma0 = np.array(PRIOR_SIGMA)
    sigma0[4:7] = problem.velocity_sigma_m_s if problem.moving else 1e-9
    for i in range(LOCAL):
        add([(i, 1.0)], 0.0, sigma0[i])
    for i in range(biases):
        add([(n * LOCAL + i, 1.0)], 0.0, BIAS_SIGMA_M)
    for k in range(n):
        for s in range(m):
            if problem.arc[k, s] < 0:
                continue
            g, az = problem.gradient[k, s], problem.azimuth_rad[k, s]
            at = k * LOCAL
            pairs = [(at, 1.0), *((at + 1 + i, problem.unit[k, s, i]) for i in range(3))]
            pairs += [
                (at + 7, problem.wet[k, s]),
                (at + 8, g * np.cos(az)),
                (at + 9, g * np.sin(az)),
            ]
            if problem.bias[s] >= 0:
                pairs.append((n * LOCAL + problem.bias[s], 1.0))
            add(pairs, problem.code_m[k, s], problem.code_sigma_m[k, s])
            ambiguity = n * LOCAL + biases + problem.arc[k, s]
            add([*pairs, (ambiguity, 1.0)], problem.phase_m[k, s], problem.phase_sigma_m[k, s])
        if k == n - 1:
            continue
        dt, a, b = 30.0, k * LOCAL, (k + 1) * LOCAL
        for i in range(3):
            p, v = 1 + i, 4 + i
            if not problem.moving:
                add([(b + p, 1.0), (a + p, -1.0)], 0.0, 1e-9)
                add([(b + v, 1.0), (a + v, -1.0)], 0.0, 1e-9)
                continue
            # white acceleration: covariance q [dt3/3 dt2/2; dt2/2 dt], whitened in two lines
            q = problem.noise[k, 0]
            step = [(b + p, 1.0), (a + p, -1.0), (b + v, -dt / 2), (a + v, -dt / 2)]
            add(step, 0.0, np.sqrt(q * dt**3 / 12))
            add([(b + v, 1.0), (a + v, -1.0)], 0.0, np.sqrt(q * dt))
        for i, walk in ((7, ZENITH_WALK), (8, GRADIENT_WALK), (9, GRADIENT_WALK)):
            add([(b + i, 1.0), (a + i, -1.0)], 0.0, walk * np.sqrt(dt))
    w = np.array(weights)
    a, y = np.array(rows) * w[:, None], np.array(values) * w
    scale = np.linalg.norm(a, axis=0)
    scale[scale == 0] = 1.0
    q, r = np.linalg.qr(a / scale)
    x = np.linalg.solve(r, q.T @ y) / scale
    inverse = np.linalg.inv(r)
    c = inverse @ inverse.T / scale[:, None] / scale
    where = [[k * LOCAL + 1 + i for i in range(3)] for k in range(n)]
    return x[where], np.array([c[np.ix_(w, w)] for w in where])


@pytest.mark.parametrize("moving", [True, False])
def test_estimates_and_covariances_equal_those_of_one_dense_adjustment(moving):
    problem, _ = invented(np.random.default_rng(7), moving=moving)
    result = estimate(problem, max_rounds=1)
    assert result.phase_used.sum() == (problem.arc >= 0).sum()  # nothing screened: comparable
    position, covariance = dense(problem)
    micrometre = 1e-6
    np.testing.assert_allclose(result.states[:, 1:4], position, rtol=0, atol=5 * micrometre)
    np.testing.assert_allclose(result.covariance_m2, covariance, rtol=2e-3, atol=1e-9)


def test_formal_sigmas_are_the_scatter_of_simulated_white_noise():
    rng = np.random.default_rng(11)
    inside = trials = 0
    for _ in range(40):
        problem, true = invented(rng, n=12)
        result = estimate(problem, max_rounds=1)
        sigma = np.sqrt(np.diagonal(result.covariance_m2, axis1=1, axis2=2))
        inside += int((np.abs(result.states[5, 1:4] - true[5]) < 1.96 * sigma[5]).sum())
        trials += 3
    low, high = binom.interval(0.9999, trials, 0.95)
    assert low <= inside <= high


def test_a_wrong_phase_is_left_out_and_the_position_hardly_moves():
    problem, _ = invented(np.random.default_rng(3), n=60, m=9)
    clean = estimate(problem)
    phase = problem.phase_m.copy()
    phase[30, 4] += 0.3
    result = estimate(replace(problem, phase_m=phase))
    assert not result.phase_used[30, 4]
    sigma = np.sqrt(np.diagonal(clean.covariance_m2, axis1=1, axis2=2))
    assert (np.abs(result.states[:, 1:4] - clean.states[:, 1:4]) < sigma).all()


def test_no_arc_is_a_sentence():
    problem, _ = invented(np.random.default_rng(1))
    with pytest.raises(SolutionError, match="no phase arc is long enough"):
        estimate(replace(problem, arc=np.full_like(problem.arc, -1)))


def walking(rng, walk, n=240):
    """Return a problem whose antenna does a velocity walk. [m/s/sqrt(s)]"""
    problem, true = invented(rng, n=n, m=9, moving=True)
    velocity = np.cumsum(walk * np.sqrt(30.0) * rng.standard_normal((n, 3)), axis=0)
    path = np.cumsum(30.0 * velocity, axis=0)
    change = (problem.unit * path[:, None]).sum(axis=-1)
    moved = replace(problem, phase_m=problem.phase_m + change, code_m=problem.code_m + change)
    return replace(moved, velocity_sigma_m_s=1.0), true


@pytest.mark.parametrize("walk", [2e-6, 1e-5])
def test_the_walk_of_the_data_is_found(walk):
    problem, _ = walking(np.random.default_rng(3), walk)
    problem = with_walk(problem, 1e-5)
    found = restlessness(problem, estimate(problem), 1.0)
    assert 0.5 < found / walk < 2.0  # 240 steps of three axes under noise of millimetres


def test_what_is_likely_does_not_depend_on_the_clock():
    rng = np.random.default_rng(4)
    problem, _ = walking(rng, 1e-5)
    clock = rng.normal(0.0, 1e5, len(problem.seconds))[:, None]
    late = replace(problem, phase_m=problem.phase_m + clock, code_m=problem.code_m + clock)
    result = estimate(problem)
    here, there = (log_likelihood(p, result, 1.0) for p in (problem, late))
    assert here == pytest.approx(there, abs=1e-2)


def test_positions_do_not_depend_on_the_points_they_are_about():
    problem, _ = invented(np.random.default_rng(5), n=40, m=9)
    problem = replace(problem, velocity_sigma_m_s=1.0)  # a straight way is free
    n, m = problem.phase_m.shape
    path = np.outer(problem.seconds - 300.0, [3e-4, -2e-4, 6e-4])
    axes = np.linalg.qr(np.random.default_rng(6).normal(size=(3, 3)))[0]
    model = About(np.zeros((n + 3, m)), np.zeros((n + 3, m)), np.zeros((n + 3, 3)), axes)
    epochs = np.arange(n) + 2
    other, shifted = about_path(problem, model, epochs, path)
    here, there = (estimate(p, max_rounds=1).states[:, 1:4] for p in (problem, other))
    assert np.allclose(here, there + path, atol=1e-4)
    assert np.allclose(shifted.centre_m[epochs] @ axes.T, path)
    assert np.allclose(shifted.phase_m[epochs], other.phase_m - problem.phase_m)
    assert not shifted.phase_m[0].any()
    assert not shifted.code_m[-1].any()


def test_a_walk_that_throws_phases_away_is_loosened():
    problem, _ = walking(np.random.default_rng(7), 1e-8, n=120)
    away = 0.4 * np.exp(-(((np.arange(120) - 60.0) / 8.0) ** 2))  # there and back in 20 minutes
    change = problem.unit[..., 0] * away[:, None]
    problem = replace(problem, phase_m=problem.phase_m + change, code_m=problem.code_m + change)
    free = estimate(with_walk(problem, 1e-5))
    assert followed(problem, free, 1e-5)[2] == 1e-5
    assert estimate(with_walk(problem, 1e-8)).phase_used.sum() < 0.99 * free.phase_used.sum()
    walking_on, result, walk = followed(problem, free, 1e-8)
    assert walk > 1e-7
    assert walking_on.noise[0, 0] == pytest.approx(walk**2)
    assert result.phase_used.sum() >= 0.998 * free.phase_used.sum()


def filtered(problem, weights):
    """Return workspace, packed values, last state and covariance of a filter run."""
    workspace = Workspace(problem, place_arcs(problem.arc))
    packed = [workspace.packed.pack(v) for v in (problem.phase_m, problem.code_m)]
    return workspace, packed, *last_state(*workspace.eliminate(*packed, *weights))


def weights_for(problem):
    pack = Workspace(problem, place_arcs(problem.arc)).packed.pack
    return pack(problem.phase_sigma_m) ** -2.0, pack(problem.code_sigma_m) ** -2.0


@pytest.mark.parametrize("moving", [True, False])
def test_other_values_need_no_new_elimination(moving):
    rng = np.random.default_rng(8)
    problem, _ = invented(rng, n=30, moving=moving)
    weights = weights_for(problem)
    other = replace(
        problem,
        phase_m=problem.phase_m + rng.normal(0.0, 1.0, problem.phase_m.shape),
        code_m=problem.code_m + rng.normal(0.0, 9.0, problem.code_m.shape),
    )
    anew, values, x, c = filtered(other, weights)
    anew.smooth(*values, x, c)
    again, _, _, c = filtered(problem, weights)
    again.smooth(*values, c @ again.vector(*values, *weights), c)
    np.testing.assert_allclose(again.states, anew.states, rtol=0, atol=1e-6)
    np.testing.assert_allclose(again.phase_residual, anew.phase_residual, rtol=0, atol=1e-6)


def test_a_value_put_where_it_is_expected_comes_to_leaving_it_out():
    problem, _ = invented(np.random.default_rng(9), n=30, m=9)
    weights = weights_for(problem)
    without = (weights[0].copy(), weights[1])
    without[0][[40, 120]] = 0.0
    bare, (phase, code), x, c = filtered(problem, without)
    bare.smooth(phase, code, x, c)
    held, _, x, c = filtered(problem, weights)
    left_out = without[0] == 0.0
    for _ in range(30):
        held.smooth(phase, code, x, c)
        assumed = np.where(left_out, phase - held.phase_residual, phase)
        x = c @ held.vector(assumed, code, *weights)
    micrometre = 1e-6
    np.testing.assert_allclose(held.states[:, 1:4], bare.states[:, 1:4], rtol=0, atol=micrometre)
