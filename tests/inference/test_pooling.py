"""Pooling and propagation: limits, laws, dense algebra, a published example, known truth."""

import numpy as np
import pytest

from stakeline.errors import SettingsError, SolutionError
from stakeline.inference.pooling import joint_covariance, pool, series_correlation
from stakeline.inference.propagation import draw_lags, propagation

# Rubin (1981), J. Educ. Stat. 6, 377, table 1: coaching in eight schools (from memory)
SCHOOLS = np.array([28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0])
SCHOOL_SIGMA = np.array([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0])


def test_eight_schools():
    found = pool(SCHOOLS, np.diag(SCHOOL_SIGMA**2), np.arange(8))
    # Gelman et al., Bayesian Data Analysis, section 5.5, by simulation (from memory): mean effect
    # about 8 with sigma about 5, school A median 10, most others 6 to 9, E and F about 5 and 6
    assert found.effect == pytest.approx(8.0, abs=0.5)
    assert found.sigma == pytest.approx(5.0, abs=0.5)
    assert found.shrunk[0] == pytest.approx(11.0, abs=1.2)
    assert found.shrunk[4] == pytest.approx(5.0, abs=0.8)
    assert 4.0 < found.event_sigma < 7.0
    assert found.own_sigma == 0.0


def test_mean_and_shrinkage_by_another_formula():
    # second formula: brute numerical posterior of (effect, tau) for unequal errors
    tau, mu = np.linspace(0.0, 150.0, 1501), np.linspace(-120.0, 120.0, 961)
    variance = SCHOOL_SIGMA[:, None] ** 2 + tau**2
    log = -0.5 * np.log(variance).sum(axis=0)[:, None]
    log = log - 0.5 * sum(
        (y - mu) ** 2 / v[:, None] for y, v in zip(SCHOOLS, variance, strict=True)
    )
    # the same bound on tau as here: six times the scatter
    log[tau > 6.0 * np.std(SCHOOLS)] = -np.inf
    density = np.exp(log - log.max()).sum(axis=0)
    cumulative = np.cumsum(density) / density.sum()
    found = pool(SCHOOLS, np.diag(SCHOOL_SIGMA**2), np.arange(8))
    expected = np.interp([0.025, 0.5, 0.975], cumulative, mu)
    np.testing.assert_allclose(
        [found.interval[0], found.effect, found.interval[1]], expected, atol=0.3
    )


def test_without_scatter_it_is_the_weighted_mean():
    b = np.array([3.0, 3.0, 3.0, 3.0])
    sigma = np.array([1.0, 2.0, 1.0, 0.5])
    found = pool(b, np.diag(sigma**2), [0, 0, 0, 0], [0, 1, 2, 3])
    assert found.effect == pytest.approx(3.0)
    assert (found.events, found.series) == (1, 4)
    assert found.event_sigma == 0.0


def test_copies_are_no_witnesses():
    # law: series that are fully correlated say no more than one
    one = pool([5.0], [[4.0]], [0])
    assert one.interval[1] - one.effect == pytest.approx(1.95996 * 2.0, rel=1e-4)
    r = 0.9999
    many = pool([5.0] * 6, 4.0 * (r + (1 - r) * np.eye(6)), [0] * 6, np.arange(6))
    assert many.sigma == pytest.approx(one.sigma, rel=0.05)
    alone = pool([5.0] * 6, 4.0 * np.eye(6), [0] * 6, np.arange(6))
    assert alone.sigma < 0.6 * one.sigma
    assert many.independent < 1.1


def test_units_and_signs():
    first = pool(SCHOOLS, np.diag(SCHOOL_SIGMA**2), np.arange(8))
    second = pool(-1000.0 * SCHOOLS, np.diag(1e6 * SCHOOL_SIGMA**2), np.arange(8))
    assert second.effect == pytest.approx(-1000.0 * first.effect, rel=1e-5)
    assert second.probability_up == pytest.approx(1.0 - first.probability_up, abs=1e-6)


def test_events_are_the_witnesses():
    # law: scatter between events does not average out over series
    generator = np.random.default_rng(3)
    event = np.repeat(np.arange(5), 5)
    b = np.repeat(generator.normal(0.0, 4.0, 5), 5) + generator.normal(0.0, 0.5, 25)
    found = pool(b, 0.25 * np.eye(25), event, np.tile(np.arange(5), 5))
    assert found.event_sigma > 1.5
    assert found.own_sigma < 0.5
    assert found.sigma > 0.4 * found.event_sigma
    wrong = pool(b, 0.25 * np.eye(25), np.arange(25))
    assert wrong.sigma < 0.6 * found.sigma


def test_coverage_of_the_pooled_effect():
    generator = np.random.default_rng(5)
    inside = 0
    for _ in range(120):
        own = 3.0 + 2.0 * generator.standard_normal(6)
        b = own + generator.standard_normal(6)
        low, high = pool(b, np.eye(6), np.arange(6)).interval
        inside += low <= 3.0 <= high
    # 120 draws of 95 %: three sigmas are 6 %; the flat prior errs on the wide side
    assert inside >= 106


def test_joint_covariance_is_kronecker_for_equal_series():
    inner = np.array([[4.0, 1.0], [1.0, 4.0]])
    r = np.array([[1.0, 0.6], [0.6, 1.0]])
    found = joint_covariance([inner, inner], [[0, 1], [0, 1]], r)
    np.testing.assert_allclose(found, np.kron(r, inner))
    partly = joint_covariance([inner, inner[:1, :1]], [["a", "b"], ["b"]], r)
    np.testing.assert_allclose(partly, [[4.0, 1.0, 0.6], [1.0, 4.0, 2.4], [0.6, 2.4, 4.0]])


def test_correlation_of_residuals():
    generator = np.random.default_rng(6)
    shared = generator.standard_normal(4000)
    rows = np.sqrt(0.7) * shared + np.sqrt(0.3) * generator.standard_normal((3, 4000))
    rows[0, :500] = np.nan
    found = series_correlation(rows)
    assert found[0, 1] == pytest.approx(0.7, abs=0.03)
    rows[2, 20:] = np.nan
    assert series_correlation(rows)[2, 0] > 0.65  # unknown: the cautious end, shrunk to be possible
    assert np.linalg.eigvalsh(series_correlation(rows))[0] > 0.0


def test_speed_along_a_route():
    generator = np.random.default_rng(7)
    distance = np.arange(0.0, 50.0, 10.0)
    lags = 2.0 + distance[:, None] / 8.0 + 0.2 * generator.standard_normal((5, 400))
    found = propagation(distance, lags)
    assert found.bounded
    assert found.direction == 1
    assert found.speed_interval[0] < 8.0 < found.speed_interval[1]
    assert found.start == pytest.approx(2.0, abs=0.5)
    back = propagation(distance, lags[::-1])
    assert back.direction == -1
    assert back.speed == pytest.approx(found.speed, rel=1e-9)


def test_a_signal_everywhere_at_once_has_no_greatest_speed():
    generator = np.random.default_rng(8)
    distance = np.arange(0.0, 50.0, 10.0)
    lags = generator.normal(0.0, 0.3, (5, 1)) + generator.normal(0.0, 0.3, (5, 400))
    found = propagation(distance, lags)
    assert not found.bounded
    assert found.direction == 0
    assert found.speed_interval[1] == np.inf
    # the least speed is that of the steepest slowness in the interval
    assert found.speed_interval[0] == pytest.approx(1.0 / np.abs(found.interval).max())


def test_coverage_of_the_slowness():
    generator = np.random.default_rng(9)
    distance = np.array([0.0, 4.0, 9.0, 15.0, 22.0, 30.0])
    inside = 0
    for _ in range(120):
        centre = 1.0 + 0.1 * distance + generator.normal(0.0, 0.5, 6)
        low, high = propagation(
            distance, centre[:, None] + generator.normal(0, 0.5, (6, 200))
        ).interval
        inside += low <= 0.1 <= high
    assert inside >= 106


def test_lags_drawn_from_a_grid():
    draws = draw_lags([0.0, 1.0, 2.0], [1.0, 2.0, 1.0], np.random.default_rng(0), 20_000)
    assert draws.mean() == pytest.approx(1.0, abs=0.02)
    assert draws.var() == pytest.approx(0.5 + 1.0 / 12.0, abs=0.02)
    assert (draw_lags([3.0], [1.0], np.random.default_rng(0), 4) == 3.0).all()


def test_what_cannot_be_pooled_is_a_sentence():
    with pytest.raises(SolutionError, match="no event was seen by any series"):
        pool([np.nan], [[1.0]], [0])
    with pytest.raises(SettingsError, match="one event an estimate"):
        pool([1.0, 2.0], np.eye(3), [0, 1])
    with pytest.raises(SettingsError, match="no covariance"):
        pool([1.0, 2.0], [[1.0, 2.0], [2.0, 1.0]], [0, 1])
    with pytest.raises(SettingsError, match="for 1 series"):
        joint_covariance([np.eye(2)], [[0, 1]], np.eye(2))
    with pytest.raises(SolutionError, match="needs 3 series"):
        propagation([0.0, 1.0], [[1.0, 2.0], [1.0, 2.0]])
    with pytest.raises(SettingsError, match="no spread"):
        propagation([0.0, 1.0, 2.0], np.ones((3, 5)))
    with pytest.raises(SettingsError, match="2 or more samples"):
        propagation([0.0, 1.0, 2.0], np.ones((3, 1)))
