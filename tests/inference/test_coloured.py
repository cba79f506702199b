"""Coloured noise: the filter beside dense algebra and beside the older fit; baselines."""

import numpy as np
import pytest
from scipy.linalg import cholesky, solve_triangular

from stakeline.errors import SettingsError, SolutionError
from stakeline.inference.baseline import Baseline, prepare, without_baseline
from stakeline.inference.coloured import (
    KINDS,
    ColouredNoise,
    degrees_of_freedom,
    fit_coloured,
    simulate_noise,
    whiten,
)
from stakeline.inference.memory import fit_memory
from stakeline.inference.noise import fractional_weights


def series(seed=1, n=220, gaps=True):
    generator = np.random.default_rng(seed)
    time = np.arange(float(n))
    lag = np.abs(np.subtract.outer(time, time))
    root = np.linalg.cholesky(4.0 * np.exp(-lag / 9.0) + 0.5 * np.eye(n))
    values = 3.0 + 0.02 * time + root @ generator.standard_normal(n)
    if gaps:
        values[50:75] = np.nan
        values[::13] = np.nan
    return time, values


def dense(noise, ready):
    lag = np.abs(np.subtract.outer(ready.time, ready.time))
    covariance = noise.white * np.diag(ready.relative)
    for memory, variance in zip(noise.memories, noise.variances, strict=True):
        covariance = covariance + variance * np.exp(-lag / memory)
    return covariance


@pytest.mark.compiled
@pytest.mark.parametrize("kind", KINDS)
def test_likelihood_and_whitening_are_the_dense_ones(kind):
    time, values = series()
    sigma = 1.0 + 0.5 * np.sin(time)
    ready = prepare(time, values, Baseline(1, (60.0,)), sigma)
    noise = fit_coloured(ready, kind)
    covariance = dense(noise, ready)
    # law: the whitened columns have the products of generalised least squares
    table = np.column_stack([ready.design, ready.values, np.sin(ready.time)])
    white = whiten(noise, ready, table)
    root = solve_triangular(cholesky(covariance, lower=True), table, lower=True)
    np.testing.assert_allclose(white, root, atol=1e-7)
    normal = root[:, :4].T @ root[:, :4]
    free = len(ready.time) - 4
    rest = root[:, 4] - root[:, :4] @ np.linalg.solve(normal, root[:, :4].T @ root[:, 4])
    level = rest @ rest / free
    logs = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1]
    expected = -0.5 * (logs + free * (np.log(2 * np.pi * level) + 1.0))
    assert noise.level == pytest.approx(level, rel=1e-9)
    assert noise.log_likelihood == pytest.approx(expected, abs=1e-6)
    assert noise.variances.sum() + noise.white == pytest.approx(1.0)


def test_whitening_of_two_memories_is_the_dense_one_without_a_fit():
    time, values = series(8, 60)
    ready = prepare(time, values, Baseline())
    noise = ColouredNoise(
        "two memories",
        np.array([3.0, 20.0]),
        np.array([0.5, 0.3]),
        0.2,
        1.0,
        0.0,
        np.empty(0),
        np.empty((0, 2)),
        np.empty((0, 0)),
        len(ready.time) - 2,
        False,
    )
    table = np.column_stack([ready.design, ready.values])
    root = solve_triangular(cholesky(dense(noise, ready), lower=True), table, lower=True)
    np.testing.assert_allclose(whiten(noise, ready, table), root, atol=1e-9)


@pytest.mark.compiled
def test_one_memory_is_that_of_the_older_fit():
    time, values = series(2)
    ready = prepare(time, values, Baseline())
    noise = fit_coloured(ready)
    older = fit_memory(ready.time, ready.values, ready.design)
    assert noise.log_likelihood == pytest.approx(older.log_likelihood, abs=2e-3)
    assert noise.memories[0] == pytest.approx(older.memory, rel=0.05)


@pytest.mark.compiled
def test_two_memories_fit_at_least_as_well_and_best_takes_the_simple_one():
    time, values = series(3, 300)
    ready = prepare(time, values, Baseline())
    one, two = fit_coloured(ready), fit_coloured(ready, "two memories")
    assert two.log_likelihood > one.log_likelihood - 0.05
    assert fit_coloured(ready, "best").information <= min(one.information, two.information)


@pytest.mark.compiled
@pytest.mark.parametrize("index", [-0.6, -1.0, -1.5])
def test_a_power_law_is_recognised(index):
    # simulation by the fractional difference, without this module
    generator = np.random.default_rng(4)
    weight = fractional_weights(index, 1200)
    values = np.convolve(generator.standard_normal(1200), weight)[:1200][400:]
    noise = fit_coloured(prepare(np.arange(800.0), values, Baseline(0)), "power law")
    assert noise.parameters[0] == pytest.approx(index, abs=0.2)


@pytest.mark.compiled
def test_degrees_of_freedom():
    time, values = series(5, gaps=False)
    ready = prepare(time, values, Baseline())
    white = fit_coloured(ready, "white")

    def mean(noise):
        return np.linalg.qr(whiten(noise, ready, ready.design), mode="r")[0, 0] ** -2.0

    assert degrees_of_freedom(white, ready, mean) == pytest.approx(white.free, rel=1e-9)
    coloured = degrees_of_freedom(fit_coloured(ready), ready, mean)
    assert 2.0 <= coloured < 0.5 * white.free


@pytest.mark.compiled
def test_simulated_noise_has_the_covariance_of_its_model():
    time, values = series(6)
    ready = prepare(time, values, Baseline())
    noise = fit_coloured(ready)
    draws = simulate_noise(noise, ready.time, np.random.default_rng(0), 4000)
    found = draws.T @ draws / 4000 / noise.level
    # 4000 draws: errors of a covariance are about 1.4 / sqrt(4000) = 0.022
    assert np.abs(found - dense(noise, ready)).max() < 0.12


def test_baseline_is_taken_out_exactly():
    time = np.arange(400.0)
    wind = np.sin(0.7 * time) ** 2
    values = 5.0 - 0.01 * time + 2.0 * np.cos(2 * np.pi * time / 180.0 + 1.0) + 3.0 * wind
    rest = without_baseline(time, values, Baseline(1, (180.0,), wind))
    assert np.abs(rest).max() < 1e-11
    values[7], wind[9] = np.nan, np.nan
    assert np.isnan(without_baseline(time, values, Baseline(1, (180.0,), wind))[[7, 9]]).all()


def test_what_has_no_baseline_is_a_sentence():
    time, values = series()

    def refused(error, match, time=time, values=values, baseline=None, sigma=None):
        with pytest.raises(error, match=match):
            prepare(time, values, baseline or Baseline(), sigma)

    refused(SolutionError, "none of 220 values is present", values=np.full(220, np.nan))
    refused(SolutionError, "does not vary", values=np.full(220, 4.0))
    refused(SolutionError, "9 values present", values=np.where(time < 10, values, np.nan))
    refused(SolutionError, "cannot be told apart", baseline=Baseline(1, (), 2.0 * time))
    refused(SolutionError, "cannot be told apart", baseline=Baseline(2, (1e5,)))
    refused(SettingsError, "equal rows", time=time[:4])
    refused(SettingsError, "do not ascend", time=time[::-1])
    refused(SettingsError, "positive periods", baseline=Baseline(1, (-3.0,)))
    refused(SettingsError, "rows of covariates", baseline=Baseline(1, (), time[:5]))
    refused(SettingsError, "sigma of shape", sigma=np.zeros(220))
    with pytest.raises(SettingsError, match="known are white, memory"):
        fit_coloured(prepare(time, values, Baseline()), "pink")
