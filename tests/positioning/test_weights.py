"""Weights learnt from residuals: what was planted is found, and nothing where nothing was."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.positioning.estimate import Problem, estimate
from stakeline.positioning.weights import deficit_steps, learn, with_learnt_weights

N, M, STEP_S = 360, 12, 60.0
USUAL_DB, SYSTEM = 45.0, np.zeros(M, int)
WEAK = 2.5  # times noisier where planted


@pytest.fixture(scope="module")
def sky():
    """Return elevations, azimuths, and a mask (n, m): satellites that something stands before."""
    rng = np.random.default_rng(1)
    t = np.arange(N)[:, None] / N
    elevation = np.radians(rng.uniform(15.0, 70.0, M) + rng.uniform(-10, 20, M) * t)
    azimuth = rng.uniform(0.0, 2.0 * np.pi, M) + rng.uniform(-1.0, 1.0, M) * t
    before = np.sin(3.0 * azimuth + np.arange(M)) > 0.6
    return elevation, azimuth, before


def problem_of(sky, factor, seed):
    """Return a still antenna's problem whose phases are noisier than told by a factor (n, m)."""
    rng = np.random.default_rng(seed)
    elevation, azimuth, _ = sky
    level = np.cos(elevation)
    unit = -np.stack([level * np.sin(azimuth), level * np.cos(azimuth), np.sin(elevation)], axis=-1)
    wet = 1.0 / np.sin(elevation)
    sigma = 0.004 * np.sqrt(0.5 + 0.5 * wet**2)
    noise = np.zeros((N, 5))
    noise[:, 0], noise[:, 2:4] = 1e-6**2, 1e-5**2
    return Problem(
        np.arange(N) * STEP_S,
        sigma * factor * rng.standard_normal((N, M)),
        100.0 * sigma * rng.standard_normal((N, M)),
        unit,
        wet,
        1.0 / (np.sin(elevation) * np.tan(elevation) + 0.0032),
        azimuth,
        sigma,
        100.0 * sigma,
        np.full(M, -1),
        np.tile(np.arange(M), (N, 1)),
        noise,
        True,
    )


def strengths(sky, loss_dB):
    elevation, _, before = sky
    return USUAL_DB + 8.0 * np.sin(elevation) - np.where(before, loss_dB, 0.0)


def rms_m(result):
    return np.sqrt(np.mean(result.states[:, 1:4] ** 2))


def learnt(sky, factor, loss_dB, seed):
    """Return rms of positions before and after, factors learnt for each phase, and weights."""
    problem = problem_of(sky, factor, seed)
    first = estimate(problem)
    better, result, weights = with_learnt_weights(
        problem, first, sky[0], SYSTEM, strengths(sky, loss_dB)
    )
    return rms_m(first), rms_m(result), better.phase_sigma_m / problem.phase_sigma_m, weights


def test_noise_of_weak_signals_is_found_and_positions_gain(sky):
    factor = np.where(sky[2], WEAK, 1.0)
    found = [learnt(sky, factor, 12.0, seed) for seed in range(3)]
    for _, _, told, _ in found:
        ratio = np.exp(np.log(told[sky[2]]).mean() - np.log(told[~sky[2]]).mean())
        # drawn to 1 by some 15 % of its logarithm; the largest were left out as outliers
        assert WEAK / 1.5 < ratio < WEAK * 1.1
    before, after = (np.sqrt(np.mean([run[k] ** 2 for run in found])) for k in (0, 1))
    assert after < 0.9 * before


def test_where_all_is_as_told_factors_are_one_and_positions_stay(sky):
    before, after, _, weights = learnt(sky, 1.0, 0.0, 5)
    assert np.abs(weights.by_elevation - 1.0).max() < 0.15  # cells of some hundred values
    assert weights.by_deficit == pytest.approx(1.0, abs=0.1)
    assert after == pytest.approx(before, rel=0.05)
    assert "sigmas times" in weights.words


def test_strengths_unknown_leave_elevation_alone(sky):
    factor = 1.0 + np.degrees(sky[0]) / 90.0
    problem = problem_of(sky, factor, 2)
    result = estimate(problem)
    _, _, weights = with_learnt_weights(problem, result, sky[0], SYSTEM, np.full((N, M), np.nan))
    assert weights.by_deficit[1:] == pytest.approx(1.0)
    row = weights.by_elevation[0]
    held = np.unique((np.degrees(sky[0]) / 10.0).astype(int))
    inside = held[1:-1]
    assert (np.diff(row[inside]) > 0.0).all()


def test_a_step_of_little_data_says_little():
    z = np.array([5.0, 5.0])
    alone = SimpleNamespace(seconds=np.arange(2) * 30.0, phase_sigma_m=np.ones((2, 2)))
    residual = np.array([[z[0], 1.0], [z[1], 1.0]])
    result = SimpleNamespace(phase_residual_m=residual)
    step = np.array([[0, 5], [0, 5]])
    weights = learn(alone, result, step, np.zeros((2, 2), int), np.zeros(2, int))
    assert weights.by_elevation == pytest.approx(1.0, abs=0.03)


def test_deficits_are_against_the_own_system_and_elevation():
    step = np.array([[0, 0, 5, 5]] * 3)
    strength = np.array(
        [[30.0, 30.0, 50.0, 50.0], [30.0, 25.0, 50.0, 38.0], [30.0, np.nan, 50, 50]]
    )
    found = deficit_steps(step, np.zeros(4, int), strength)
    np.testing.assert_array_equal(found, [[0, 0, 0, 0], [0, 2, 0, 4], [0, 0, 0, 0]])
    apart = deficit_steps(step, np.arange(4), strength)
    assert apart[0, 1] == 0
    assert apart[1, 1] == deficit_steps(step[:, :2], np.array([0, 1]), strength[:, :2])[1, 1]


def test_factors_apply_to_the_system_and_elevation_they_are_of(sky):
    factor = np.where(sky[2], WEAK, 1.0)
    problem = problem_of(sky, factor, 1)
    better, _, weights = with_learnt_weights(
        problem, estimate(problem), sky[0], SYSTEM, strengths(sky, 12.0)
    )
    step = (np.degrees(sky[0]) / 10.0).astype(int)
    deficit = deficit_steps(step, SYSTEM, strengths(sky, 12.0))
    expected = weights.by_elevation[0][step] * weights.by_deficit[deficit]
    np.testing.assert_allclose(better.phase_sigma_m / problem.phase_sigma_m, expected)
    assert replace(better, phase_sigma_m=problem.phase_sigma_m).bias is problem.bias
