"""Lags of events: laws of normal likelihoods, and onsets that no effect can tell."""

import numpy as np
import pytest
from scipy.stats import norm

from stakeline.inference.baseline import Baseline
from stakeline.inference.event_lags import fine_lags, mean_lag
from stakeline.inference.response import Choices, fit_response
from stakeline.inference.shape import Events, ShapeGrid, columns

pytestmark = pytest.mark.compiled

TAILS = np.array([0.025, 0.5, 0.975])
LAGS = fine_lags(ShapeGrid(tuple(np.arange(0.0, 5.1, 0.5)), (1.0,), (10.0,), (5.0,)))
TIME = np.arange(300.0)
ONSETS = np.array([60.0, 140.0, 220.0])
GRID = ShapeGrid((0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0), (1.0,), (10.0,), (5.0,))


def test_lags_cover_the_cells_of_the_grid():
    half = 0.5 * (LAGS[1] - LAGS[0])
    assert (LAGS[0] - half, LAGS[-1] + half) == pytest.approx((-0.25, 5.25))
    assert fine_lags(ShapeGrid((2.0,), (1.0,), (10.0,), (5.0,))) == [2.0]


def test_equally_well_known_lags_have_a_normal_mean():
    # law: whatever the deviation between events, the mean of n lags of sigma s has s / sqrt(n)
    middles, sigma = np.array([1.9, 2.3, 2.6, 3.0]), 0.3
    likely = norm.pdf(LAGS, middles[:, None], sigma)
    wanted = middles.mean() + norm.ppf(TAILS) * sigma / 2.0
    np.testing.assert_allclose(mean_lag(LAGS, likely, TAILS), wanted, atol=0.005)


def test_a_single_event_keeps_its_own_lag():
    likely = norm.pdf(LAGS, 2.4, 0.4)[None]
    np.testing.assert_allclose(mean_lag(LAGS, likely, TAILS), norm.ppf(TAILS, 2.4, 0.4), atol=0.02)


def test_an_event_that_tells_nothing_leans_on_the_others():
    known = norm.pdf(LAGS, 2.0, 0.2)
    low, middle, high = mean_lag(LAGS, np.array([known, known, np.ones_like(LAGS)]), TAILS)
    one = mean_lag(LAGS, np.array([known, known]), TAILS)
    assert middle == pytest.approx(2.0, abs=0.05)
    assert 1.0 < (high - low) / (one[2] - one[0]) < 2.0


def test_a_strong_effect_does_not_tell_the_onsets():
    rng = np.random.default_rng(5)
    samples = ONSETS[:, None] + rng.normal(0.0, 0.4, (3, 32))
    true = ShapeGrid((1.7,), (1.0,), (10.0,), (5.0,))
    values = 50.0 * columns(TIME, Events(ONSETS), true, 1.0, 0).sum(axis=0)[:, 0]
    values = 100.0 + values + rng.standard_normal(300)
    fit = fit_response(TIME, values, Events(samples), GRID, Choices(Baseline(1)))
    spread = samples.std(axis=1).mean() / np.sqrt(3.0)
    assert np.ptp(fit.lag_interval) == pytest.approx(3.92 * spread, rel=0.25)
    assert fit.lag_interval[0] < 1.7 < fit.lag_interval[1]
