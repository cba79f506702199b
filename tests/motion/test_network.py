"""Common times without inventions; seasons without events; honest lags; stacks."""

import numpy as np
import pytest
from scipy.signal import lfilter

from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.network import (
    anomaly_percent,
    at_common_times,
    lag_between,
    seasonal_baseline,
    stack,
)

START_NS = 1_600_000_000 * 10**9


def times(day):
    return START_NS + (np.asarray(day) * NS_PER_DAY).astype(np.int64)


def red(rng, n, memory):
    return lfilter([1.0], [1.0, -memory], rng.normal(0, np.sqrt(1 - memory**2), n + 200))[200:]


def test_nothing_is_said_across_gaps_or_beyond_the_ends():
    day = np.array([0.0, 1.0, 2.0, 10.0, 11.0])
    value, sigma = 2.0 * day, 0.1 + 0.01 * day
    common = times([-0.5, 0.5, 1.5, 2.0, 5.0, 10.0, 10.5, 11.5])
    found, spread = at_common_times(times(day), value, sigma, common, 1.5)
    np.testing.assert_allclose(found, [np.nan, 1.0, 3.0, 4.0, np.nan, 20.0, 21.0, np.nan])
    np.testing.assert_allclose(spread[[1, 6]], [0.105, 0.205])
    value[1] = np.nan  # a missing value makes a gap of 2 d
    found, _ = at_common_times(times(day), value, sigma, common, 1.5)
    assert np.isnan(found[:3]).all()
    nothing, _ = at_common_times(times(day), np.full(5, np.nan), sigma, common, 1.5)
    assert np.isnan(nothing).all()


def seasons(day):
    years = day / 365.25
    return (
        1.0 + 0.05 * years + 0.1 * np.cos(2 * np.pi * years - 1) + 0.03 * np.sin(4 * np.pi * years)
    )


def test_baseline_finds_seasons_and_leaves_the_event_alone():
    day = np.arange(0.0, 1100.0)
    event = (day >= 500) & (day < 540)
    z = []
    for seed in range(40):
        rng = np.random.default_rng(seed)
        speed = seasons(day) + 0.02 * red(rng, len(day), 0.6) + 0.3 * event
        base = seasonal_baseline(times(day), speed, events_ns=[tuple(times([500, 540]))])
        z.append(((base.value - seasons(day)) / base.sigma)[::100])
    assert np.sqrt(np.mean(np.square(z))) == pytest.approx(1.0, abs=0.25)
    anomaly, sigma = anomaly_percent(speed, np.full(len(day), 0.01), base)
    # 0.3 above the baseline there.
    expected = 100.0 * 0.3 / seasons(day)[event].mean()
    assert anomaly[event].mean() == pytest.approx(expected, rel=0.05)
    assert (sigma > 100.0 * 0.01 / base.value).all()
    assert base.reference == pytest.approx(
        seasons(day)[~event].mean(), abs=5 * base.reference_sigma
    )
    assert base.cautions == ()
    assert "trend" in base.terms


def test_baseline_is_robust():
    day = np.arange(0.0, 1100.0)
    rng = np.random.default_rng(0)
    speed = seasons(day) + 0.01 * rng.normal(size=len(day))
    wild = speed.copy()
    wild[rng.integers(0, 1100, 60)] += 1.0
    a, b = (seasonal_baseline(times(day), v).value for v in (speed, wild))
    assert np.abs(a - b).max() < 0.006


@pytest.mark.parametrize(
    ("span", "terms", "cautions"), [(100, 2, 2), (200, 3, 2), (400, 5, 1), (800, 6, 0)]
)
def test_short_series_get_fewer_seasons_and_say_so(span, terms, cautions):
    day = np.arange(0.0, span)
    base = seasonal_baseline(times(day), 1.0 + 1e-3 * np.sin(7.0 * day))
    assert len(base.terms) == terms
    assert len(base.cautions) == cautions
    with pytest.raises(SolutionError, match="baseline needs 10"):
        seasonal_baseline(times(day), np.full(span, np.nan))


def pair(seed, late, n=400, shared=0.9):
    rng = np.random.default_rng(seed)
    common = red(rng, n + 50, 0.8)
    own = [np.sqrt(1 - shared**2) * red(rng, n, 0.8) for _ in range(2)]
    return shared * common[20 : n + 20] + own[0], shared * common[20 - late : n + 20 - late] + own[
        1
    ]


def test_lag_is_found_and_covered_by_its_interval():
    inside = 0
    for seed in range(20):
        first, second = pair(seed, 4)
        found = lag_between(first, second, 0.25, 5.0, np.random.default_rng(seed), draws=100)
        assert found.lag_d == pytest.approx(1.0, abs=0.26)  # 4 rows of 6 h; second is late
        assert found.p_value < 1e-6
        assert not found.at_edge
        inside += found.low_d - 0.05 <= 1.0 <= found.high_d + 0.05
    assert inside >= 17


def test_lag_turns_with_the_order_and_ignores_level_and_sign():
    first, second = pair(1, 3)
    rng = np.random.default_rng
    there = lag_between(first, second, 1.0, 10.0, rng(0), draws=20)
    back = lag_between(second, first, 1.0, 10.0, rng(0), draws=20)
    other = lag_between(first, 5.0 - 2.0 * second, 1.0, 10.0, rng(0), draws=20)
    assert back.lag_d == pytest.approx(-there.lag_d)
    assert other.lag_d == pytest.approx(there.lag_d)
    assert other.correlation == pytest.approx(-there.correlation)


def test_series_with_memory_that_share_nothing_are_not_called_alike():
    # 60 pairs: of p < 0.05 some 3 are expected; the naive number of pairs gives most of them.
    p, naive = [], 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        first, second = red(rng, 300, 0.9), red(rng, 300, 0.9)
        found = lag_between(first, second, 1.0, 20.0, rng, draws=1)
        p.append(found.p_value)
        naive += abs(found.correlation) * np.sqrt(297.0) > 3.3
        assert 10.0 < found.independent < 150.0
    assert (np.array(p) < 0.05).sum() <= 8
    assert naive > 30


def test_gaps_are_left_out_of_a_lag():
    first, second = pair(2, 4)
    first[50:90], second[200:260] = np.nan, np.nan
    found = lag_between(first, second, 1.0, 12.0, np.random.default_rng(0), draws=50)
    assert found.lag_d == pytest.approx(4.0, abs=0.7)
    with pytest.raises(SolutionError, match="lag needs 20"):
        lag_between(first[:60], np.full(60, np.nan), 1.0, 5.0, np.random.default_rng(0))
    with pytest.raises(SettingsError, match="half as many lags"):
        lag_between(first, second, 1.0, 300.0, np.random.default_rng(0))


def test_a_lag_at_the_edge_is_said():
    first, second = pair(3, 12)
    assert lag_between(first, second, 1.0, 6.0, np.random.default_rng(0), draws=5).at_edge


def test_stack():
    mean, sigma, count = stack([[1.0, np.nan, 5.0], [3.0, np.nan, 5.2]], [[1, 1, 0.1], [1, 1, 0.1]])
    np.testing.assert_allclose(mean, [2.0, np.nan, 5.1])
    # Equal weights: sigma / sqrt(2), widened by the scatter where it is more: sqrt(2) and sqrt(2).
    np.testing.assert_allclose(sigma, [1.0, np.nan, 0.1])
    assert count.tolist() == [2, 0, 2]
    rng = np.random.default_rng(0)
    sigmas = np.array([[0.1], [0.5], [1.0]]) * np.ones((3, 20000))
    mean, sigma, _ = stack(rng.normal(0, sigmas), sigmas)
    assert np.std(mean) == pytest.approx((sigmas[:, 0] ** -2.0).sum() ** -0.5, rel=0.03)
    with pytest.raises(SettingsError, match="both"):
        stack([1.0], [1.0])


@pytest.mark.real
def test_real_slip_crosses_the_network_in_order(reference_data):
    # Whillans slip of 2013-03-12 (README of the data): stations move at different times.
    path = reference_data / "ice" / "motion" / "slip_event_2013-03-12_displacement_m.csv.gz"
    table = np.genfromtxt(path, delimiter=",", names=True, dtype=None, encoding="utf-8")
    speed = {n: np.gradient(table[n]) for n in ("gz15", "la01", "la09")}
    rng = np.random.default_rng(0)
    there = lag_between(speed["la01"], speed["la09"], 15.0 / 86400, 0.01, rng, draws=50)
    back = lag_between(speed["la09"], speed["la01"], 15.0 / 86400, 0.01, rng, draws=50)
    assert there.lag_d == pytest.approx(-back.lag_d)
    assert there.correlation > 0.3
    half = [np.argmax(table[n] > 0.5 * table[n][-1]) for n in ("la01", "la09")]
    assert there.lag_d * 86400 == pytest.approx(15.0 * (half[1] - half[0]), abs=180.0)
