"""Responses: generalised least squares beside them, laws of units and signs, known truth."""

import numpy as np
import pytest
from scipy.stats import t as student

from stakeline.errors import SettingsError, SolutionError
from stakeline.inference.baseline import Baseline
from stakeline.inference.mixture import (
    grid_quantile,
    log_likelihood_of,
    mixture_below,
    mixture_quantile,
    weighted_quantile,
)
from stakeline.inference.response import Choices, fit_response
from stakeline.inference.scan import scan_shapes
from stakeline.inference.shape import Events, ShapeGrid, columns

pytestmark = pytest.mark.compiled

TIME = np.arange(400.0)
EVENTS = Events([70.3, 180.0, 300.7])
ONE = ShapeGrid((2.0,), (3.0,), (15.0,), (6.0,))
MANY = ShapeGrid((-2.0, -1.0, 0.0, 1.0, 2.0, 3.0, 4.0, 5.0), (3.0,), (5.0, 15.0, 30.0), (6.0,))
CHOICES = Choices(Baseline(1, (365.25,)))


def series(effect, seed=1, gaps=True):
    generator = np.random.default_rng(seed)
    noise, state = np.empty(400), 0.0
    for i in range(400):
        state = 0.85 * state + generator.standard_normal()
        noise[i] = state + 0.5 * generator.standard_normal()
    response = columns(TIME, EVENTS, ONE, 1.0, 0)[:, :, 0]
    season = 4.0 * np.cos(2 * np.pi * TIME / 365.25)
    values = 100.0 - 0.01 * TIME + season + noise + np.asarray(effect) @ response
    if gaps:
        values[110:131] = np.nan
        values[::17] = np.nan
    return values


def test_one_shape_is_generalised_least_squares():
    values = series([5.0, 5.0, 5.0])
    fit = fit_response(TIME, values, EVENTS, ONE, CHOICES)
    present = np.isfinite(values)
    t = TIME[present]
    lag = np.abs(np.subtract.outer(t, t))
    noise = fit.noise
    covariance = noise.white * np.eye(len(t))
    covariance += noise.variances[0] * np.exp(-lag / noise.memories[0])
    angle = 2 * np.pi * t / 365.25
    response = columns(t, EVENTS, ONE, 1.0, 0)[:, :, 0]
    for shapes, found, spread in (
        (response.sum(axis=0)[None], [fit.amplitude], [[fit.sigma**2]]),
        (response, fit.each, fit.each_covariance),
    ):
        design = np.column_stack([np.ones_like(t), t, np.cos(angle), np.sin(angle), *shapes])
        solved = np.linalg.solve(covariance, design)
        inverse = np.linalg.inv(design.T @ solved)
        factor = inverse @ solved.T @ values[present]
        np.testing.assert_allclose(found, factor[4:], rtol=1e-6)
        np.testing.assert_allclose(spread, noise.level * inverse[4:, 4:], rtol=1e-6)
    half = fit.sigma * student.ppf(0.975, fit.degrees)
    np.testing.assert_allclose(fit.interval, fit.amplitude + np.array([-half, half]), rtol=1e-9)
    score = fit.amplitude / fit.sigma
    assert fit.p == pytest.approx(2 * student.sf(abs(score), fit.degrees), rel=1e-9)
    # rise 3, plateau 15, decay 6 all within the record
    assert fit.excess == pytest.approx(3 * fit.amplitude * (1.5 + 15.0 + 6.0), rel=1e-3)
    assert fit.duration == 22.5
    assert np.isfinite(fit.residual).sum() == present.sum()


@pytest.fixture(scope="module")
def plain():
    return fit_response(TIME, series([6.0, 6.0, 6.0]), EVENTS, MANY, CHOICES)


def test_truth_is_found(plain):
    assert plain.interval[0] < 6.0 < plain.interval[1]
    assert plain.interval[0] > 0.0
    assert plain.lag_interval[0] <= 2.0 <= plain.lag_interval[1]
    assert plain.duration_interval[0] <= 22.5 <= plain.duration_interval[1]
    assert plain.probability_up > 0.999
    assert plain.weights.sum() == pytest.approx(1.0)
    assert not plain.lag_at_edge
    assert plain.excess_interval[0] < 3 * 6.0 * 22.5 < plain.excess_interval[1]
    assert np.isnan(plain.p)


def unexplained(table, values):
    """Return the sum of squares that a least-squares fit of columns leaves."""
    return ((values - table @ np.linalg.lstsq(table, values, rcond=None)[0]) ** 2).sum()


def test_shapes_weigh_as_the_marginal_likelihood_of_what_they_leave():
    # law: with independent noise, amplitude and level integrated out, RSS ** (-f / 2)
    values = series([6.0] * 3, gaps=False)
    white = Choices(Baseline(1), noise="white")
    fit = fit_response(TIME, values, EVENTS, MANY, white)
    plain = [np.ones_like(TIME), TIME]
    shapes = columns(TIME, EVENTS, MANY, 1.0, 0).sum(axis=0).T
    left = np.array([unexplained(np.column_stack([*plain, shape]), values) for shape in shapes])
    wanted = (left / left.min()) ** (-0.5 * (len(TIME) - 3))
    np.testing.assert_allclose(fit.weights, wanted / wanted.sum(), rtol=1e-6)


def test_intervals_of_lags_hold_the_truth_as_often_as_they_say():
    rng = np.random.default_rng(11)
    lags = np.arange(0.0, 6.1, 0.5)
    shapes = columns(TIME, EVENTS, ShapeGrid(tuple(lags), (3.0,), (15.0,), (6.0,)), 1.0, 0)
    unit = shapes.sum(axis=0) / np.linalg.norm(shapes.sum(axis=0), axis=0)
    free = len(TIME) - 1
    inside = []
    for lag in rng.uniform(-0.25, 6.25, 1000):  # the cells of the grid, the first to the last
        true = ShapeGrid((lag,), (3.0,), (15.0,), (6.0,))
        values = 1.5 * columns(TIME, EVENTS, true, 1.0, 0).sum(axis=0)[:, 0]
        values = values + rng.standard_normal(len(TIME))
        seen = (unit.T @ values) ** 2
        score = free * seen / (values @ values - seen.max())
        weights = np.exp(log_likelihood_of(score, free))
        low, high = grid_quantile([0.025, 0.975], weights, lags)
        inside.append(low <= lag <= high)
    assert 0.92 <= np.mean(inside) <= 0.97  # three sigmas of chance in 1000: 0.93 to 0.97


def test_turning_the_sign_turns_the_amplitude(plain):
    other = fit_response(TIME, -series([6.0, 6.0, 6.0]), EVENTS, MANY, CHOICES)
    assert other.amplitude == pytest.approx(-plain.amplitude, rel=1e-6)
    np.testing.assert_allclose(other.interval, -plain.interval[::-1], rtol=1e-6)
    assert other.probability_up == pytest.approx(1.0 - plain.probability_up, abs=1e-9)


def test_units_do_not_matter(plain):
    # law: hours for days, millimetres for metres
    hours = ShapeGrid(*[24.0 * np.asarray(axis) for axis in MANY.axes()])
    choices = Choices(Baseline(1, (24 * 365.25,)))
    other = fit_response(
        24.0 * TIME, 1000.0 * series([6.0] * 3), Events(24.0 * EVENTS.onset), hours, choices
    )
    assert other.amplitude == pytest.approx(1000.0 * plain.amplitude, rel=1e-3)
    assert other.lag == pytest.approx(24.0 * plain.lag, rel=1e-3)
    assert other.excess == pytest.approx(24e3 * plain.excess, rel=1e-3)
    assert other.degrees == pytest.approx(plain.degrees, rel=0.02)


def test_what_the_baseline_holds_does_not_matter(plain):
    more = series([6.0] * 3) + 50.0 + 0.3 * TIME - 20.0 * np.sin(2 * np.pi * TIME / 365.25)
    other = fit_response(TIME, more, EVENTS, MANY, CHOICES)
    assert other.amplitude == pytest.approx(plain.amplitude, rel=1e-4)


def test_a_covariate_takes_its_part():
    wind = np.sin(0.31 * TIME) ** 2
    choices = Choices(Baseline(1, (365.25,), wind))
    with_wind = fit_response(TIME, series([6.0] * 3) + 9.0 * wind, EVENTS, ONE, choices)
    without = fit_response(TIME, series([6.0] * 3), EVENTS, ONE, choices)
    assert with_wind.amplitude == pytest.approx(without.amplitude, rel=1e-6)


def test_times_that_are_repeated_are_certain_times(plain):
    twice = Events(np.repeat(EVENTS.onset, 3, axis=1))
    other = fit_response(TIME, series([6.0] * 3), twice, MANY, CHOICES)
    assert other.amplitude == pytest.approx(plain.amplitude, rel=1e-6)
    np.testing.assert_allclose(other.weights, plain.weights, atol=1e-6)


def test_uncertain_times_widen_the_lag(plain):
    # all events early or late together by the same unknown time
    shifts = np.linspace(-4.0, 4.0, 9)
    other = fit_response(TIME, series([6.0] * 3), Events(EVENTS.onset + shifts), MANY, CHOICES)
    assert np.ptp(other.lag_interval) > 2.0 * np.ptp(plain.lag_interval)


def test_events_one_by_one():
    fit = fit_response(TIME, series([9.0, 0.0, -9.0]), EVENTS, ONE, CHOICES)
    sigma = np.sqrt(np.diag(fit.each_covariance))
    assert (np.abs(fit.each - [9.0, 0.0, -9.0]) < 3.0 * sigma).all()
    assert fit.each[0] > 3.0 * sigma[0]
    assert fit.each[2] < -3.0 * sigma[2]


def test_an_event_in_a_gap_is_not_seen():
    values = series([6.0] * 3, gaps=False)
    values[178:240] = np.nan
    short = ShapeGrid((0.0,), (1.0,), (10.0,), (0.0,))
    fit = fit_response(TIME, values, EVENTS, short, CHOICES)
    assert np.isnan(fit.each).tolist() == [False, True, False]
    assert fit.seen.tolist() == [1.0, 0.0, 1.0]


def test_scan_of_one_shape_is_its_t_test():
    values = series([1.2] * 3)
    fit = fit_response(TIME, values, EVENTS, ONE, CHOICES)
    scan = scan_shapes(TIME, values, EVENTS, ONE, np.random.default_rng(0), CHOICES, draws=40_000)
    assert scan.scores[0] == pytest.approx(fit.amplitude / fit.sigma, rel=1e-9)
    # 40,000 draws of a share p
    assert scan.p == pytest.approx(fit.p, abs=4 * np.sqrt(fit.p / 40_000) + 1e-4)


def test_scan_pays_for_its_freedom():
    values = series([1.2] * 3)
    rng = np.random.default_rng(0)
    one = scan_shapes(TIME, values, EVENTS, ONE, rng, CHOICES)
    many = scan_shapes(TIME, values, EVENTS, MANY, rng, CHOICES)
    best = np.abs(many.scores).max()
    assert best >= abs(one.scores[0]) - 0.2
    single = 2 * student.sf(best, 50)
    assert many.p > single
    assert many.p < len(MANY) * single + 0.02  # Bonferroni's bound


def test_mixtures():
    weights, means, sigmas = np.array([1.0, 3.0]), np.array([-1.0, 2.0]), np.array([0.5, 1.0])
    for q in (0.025, 0.5, 0.9):
        x = mixture_quantile(q, weights, means, sigmas, 7.0)
        assert mixture_below(x, weights, means, sigmas, 7.0) == pytest.approx(q, abs=1e-6)
    single = mixture_quantile(0.975, np.ones(1), np.zeros(1), np.ones(1), np.inf)
    assert single == pytest.approx(1.959964, abs=1e-6)
    np.testing.assert_allclose(
        grid_quantile([0.0, 0.5, 1.0], np.ones(4), np.arange(4.0)), [-0.5, 1.5, 3.5]
    )
    assert weighted_quantile([0.5], np.array([1.0, 2.0]), np.array([3.0, np.inf]))[0] == np.inf


def test_what_cannot_be_estimated_is_a_sentence():
    values = series([0.0] * 3)

    def refused(error, match, values=values, events=EVENTS, grid=ONE):
        with pytest.raises(error, match=match):
            fit_response(TIME, values, events, grid, CHOICES)

    refused(SettingsError, "event 2 at 500 is outside the record", events=Events([70.0, 500.0]))
    refused(SettingsError, "events 1 and 2 are 6 apart, closer", events=Events([70.0, 76.0]))
    refused(SolutionError, "none of 400 values", values=np.full(400, np.nan))
    holed = values.copy()
    holed[60:340] = np.nan
    refused(SolutionError, "no shape of a response can be told", values=holed)
