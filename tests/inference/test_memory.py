"""Effective sample sizes against published values; Gauss-Markov noise against dense algebra."""

import numpy as np
import pytest

from stakeline.errors import SettingsError, SolutionError
from stakeline.inference.memory import (
    coloured_variance,
    effective_size,
    error_factor,
    fit_memory,
    lag_one_correlation,
    line_weights,
)


def uneven(generator, n, mean=1.0):
    return np.cumsum(mean * generator.exponential(1.0, n))


def process(generator, time, sigma, memory):
    """Gauss-Markov noise by the root of its dense covariance."""
    lag = np.abs(np.subtract.outer(time, time))
    root = np.linalg.cholesky(sigma**2 * np.exp(-lag / memory))
    return root @ generator.standard_normal(len(time))


@pytest.mark.parametrize(
    ("r", "share", "factor"),
    # checks.md 7.4
    [
        (0.3, 0.53846, 1.3628),
        (0.5, 0.33333, 1.7321),
        (0.8, 0.11111, 3.0),
        (0.9, 0.05263, 4.3589),
        (0.95, 0.02564, 6.2450),
    ],
)
def test_effective_size(r, share, factor):
    assert effective_size(100_000, r) / 100_000 == pytest.approx(share, abs=5.1e-6)
    assert error_factor(r) == pytest.approx(factor, abs=5.1e-5)


def test_effective_size_is_neither_below_one_nor_above_n():
    assert effective_size(10, 0.999) == 1.0
    assert effective_size(10, -0.4) == 10.0
    with pytest.raises(SettingsError, match="0 <= r < 1"):
        error_factor(1.0)


def test_lag_one_correlation_of_a_process_with_gaps():
    generator = np.random.default_rng(2)
    values = process(generator, np.arange(2000.0), 1.0, 2.0)
    values[::9] = np.nan
    # law: exp(-step / memory)
    assert lag_one_correlation(values) == pytest.approx(np.exp(-0.5), abs=0.06)
    assert np.isnan(lag_one_correlation(np.full(5, np.nan)))
    assert np.isnan(lag_one_correlation([1.0, np.nan, 2.0, np.nan, 3.0]))


def test_variance_of_a_weighted_sum_is_the_dense_one():
    generator = np.random.default_rng(4)
    time, weights = uneven(generator, 150), generator.standard_normal(150)
    lag = np.abs(np.subtract.outer(time, time))
    dense = 4.0 * np.exp(-lag / 3.0) + 0.25 * np.exp(-lag / 40.0)
    found = coloured_variance(time, weights, [2.0, 0.5], [3.0, 40.0])
    assert found == pytest.approx(weights @ dense @ weights, rel=1e-11)


def test_line_weights_give_the_slope():
    time = np.array([0.0, 1.0, 4.0, 5.0])
    weights = line_weights(time, np.array([1.0, 2.0, 1.0, 3.0]))
    assert weights @ (3.0 + 0.7 * time) == pytest.approx(0.7, rel=1e-13)


def dense_likelihood(time, values, design, sigma, memory, white):
    lag = np.abs(np.subtract.outer(time, time))
    covariance = sigma**2 * np.exp(-lag / memory) + white**2 * np.eye(len(time))
    inverse = np.linalg.inv(covariance)
    normal = design.T @ inverse @ design
    beta = np.linalg.solve(normal, design.T @ inverse @ values)
    away = values - design @ beta
    logs = np.linalg.slogdet(covariance)[1] + np.linalg.slogdet(normal)[1]
    free = len(time) - design.shape[1]
    return -0.5 * (logs + free * np.log(2 * np.pi) + away @ inverse @ away), beta, normal


def test_fit_is_the_dense_one_at_its_own_optimum():
    # law: the filter's likelihood and regression are those of generalised least squares
    generator = np.random.default_rng(7)
    time = uneven(generator, 160)
    design = np.column_stack([np.ones(160), time, np.sin(time)])
    truth = design @ [3.0, 0.2, 1.0]
    values = truth + process(generator, time, 1.0, 8.0) + 0.3 * generator.standard_normal(160)
    fit = fit_memory(time, values, design)
    at = dense_likelihood(time, values, design, fit.sigma, fit.memory, fit.white_sigma)
    assert fit.log_likelihood == pytest.approx(at[0], abs=1e-7)
    np.testing.assert_allclose(fit.coefficient, at[1], rtol=1e-8)
    np.testing.assert_allclose(fit.covariance, np.linalg.inv(at[2]), rtol=1e-7)
    for other in (0.8, 1.25):
        for s, m, w in ((other, 1, 1), (1, other, 1), (1, 1, other)):
            trial = (s * fit.sigma, m * fit.memory, w * fit.white_sigma)
            assert dense_likelihood(time, values, design, *trial)[0] < fit.log_likelihood


def test_memory_is_recovered():
    generator = np.random.default_rng(9)
    fits = []
    for _ in range(15):
        time = uneven(generator, 300)
        noise = process(generator, time, 2.0, 10.0) + generator.standard_normal(300)
        noise[40:60] = np.nan
        fits.append(fit_memory(time, noise))
    # simulation: mean of the logarithms over draws within three of their errors
    for name, truth in (("sigma", 2.0), ("memory", 10.0), ("white_sigma", 1.0)):
        found = np.log([getattr(fit, name) for fit in fits])
        assert abs(found.mean() - np.log(truth)) < 3.0 * found.std() / np.sqrt(15) + 0.03
    z = [f.coefficient[0] / np.sqrt(f.covariance[0, 0]) for f in fits]
    assert 0.5 < np.std(z) < 1.6


def test_no_white_noise_where_none_is_asked_for():
    generator = np.random.default_rng(10)
    time = uneven(generator, 400)
    fit = fit_memory(time, process(generator, time, 2.0, 5.0), white_ratio=0.0)
    assert fit.white_sigma == 0.0
    assert fit.memory == pytest.approx(5.0, rel=0.4)
    assert not fit.at_bound


def test_white_noise_alone_is_told_by_the_bound():
    time = np.arange(400.0)
    fit = fit_memory(time, np.random.default_rng(1).standard_normal(400))
    assert np.hypot(fit.sigma, fit.white_sigma) == pytest.approx(1.0, rel=0.15)
    assert fit.at_bound or fit.memory < 2.0 or fit.sigma < 0.3


def test_what_cannot_be_fitted_is_a_sentence():
    time = np.arange(30.0)
    with pytest.raises(SolutionError, match="do not ascend, or repeat"):
        fit_memory(np.r_[time, 5.0], np.zeros(31))
    with pytest.raises(SolutionError, match="0 values present"):
        fit_memory(time, np.full(30, np.nan))
    with pytest.raises(SolutionError, match="cannot be told apart"):
        fit_memory(time, time, np.ones((30, 2)))
    with pytest.raises(SettingsError, match="equal rows"):
        fit_memory(time, time[:4])
    with pytest.raises(SettingsError, match=r"expected \(30, p\)"):
        fit_memory(time, time, np.ones(3))
