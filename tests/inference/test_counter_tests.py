"""Counter-tests that find what was put in, and find nothing where nothing is; dose and answer."""

import numpy as np
import pytest
from scipy.optimize import minimize

from stakeline.errors import SettingsError, SolutionError
from stakeline.inference.baseline import Baseline
from stakeline.inference.counter_tests import (
    holm,
    leave_one_out,
    other_causes,
    placebo_events,
    placebo_series,
    pre_trend,
    reverse_test,
    vary,
)
from stakeline.inference.dose import dose_response, line_with_errors, rank_correlation
from stakeline.inference.permutation import Windows
from stakeline.inference.response import Choices
from stakeline.inference.shape import Events, ShapeGrid, columns

pytestmark = pytest.mark.compiled

TIME = np.arange(500.0)
EVENTS = Events([80.0, 210.0, 390.0])
ONE = ShapeGrid((1.0,), (2.0,), (15.0,), (3.0,))
LAGS = ShapeGrid((0.0, 2.0, 4.0, 6.0), (2.0,), (15.0,), (3.0,))
HALVES = ShapeGrid(tuple(np.arange(0.0, 6.1, 0.5)), (2.0,), (15.0,), (3.0,))
CHOICES = Choices(Baseline(1))


def noise(seed):
    draw = np.random.default_rng(seed).standard_normal(600)
    for i in range(1, 600):
        draw[i] += 0.7 * draw[i - 1]
    return draw[100:]


def answer(grid=ONE, events=EVENTS):
    return columns(TIME, events, grid, 1.0, 0).sum(axis=0)[:, 0]


def ramps(length):
    since = (TIME[:, None] - EVENTS.middle) / length
    return np.where((since > -1.0) & (since < 0.0), 1.0 + since, 0.0).sum(axis=1)


def test_a_change_under_way_before_is_seen():
    plain = pre_trend(TIME, noise(1) + 6.0 * answer(), EVENTS, ONE, 20.0, CHOICES)
    assert plain.p > 0.02
    assert abs(plain.estimate) < 3.0 * plain.sigma
    before = noise(1) + 6.0 * answer() + 9.0 * ramps(20.0)
    seen = pre_trend(TIME, before, EVENTS, ONE, 20.0, CHOICES)
    assert seen.p < 1e-4
    assert seen.estimate == pytest.approx(9.0 + plain.estimate, abs=1.0)


def test_what_comes_first_is_told():
    after = reverse_test(TIME, noise(2) + 8.0 * answer(), EVENTS, LAGS, 10.0, CHOICES)
    early = answer(events=EVENTS.moved(-7.0))
    before = reverse_test(TIME, noise(2) + 8.0 * early, EVENTS, LAGS, 10.0, CHOICES)
    assert after.before < 0.05
    assert before.early > 0.95
    assert after.early <= after.before
    assert before.early <= before.before
    slightly = answer(events=EVENTS.moved(-1.9))  # its lag of 1 d: 0.9 d before, less than a day
    slightly = reverse_test(TIME, noise(2) + 40.0 * slightly, EVENTS, HALVES, 10.0, CHOICES)
    assert slightly.before > 0.95
    assert slightly.early < 0.05


def test_placebo_events():
    rng = np.random.default_rng(3)
    strong = placebo_events(TIME, noise(3) + 8.0 * answer(), EVENTS, ONE, rng, 25.0, CHOICES, 199)
    assert strong.p == 1 / 200
    assert strong.observed == pytest.approx(8.0, abs=1.5)
    assert strong.spread == pytest.approx(1.0, abs=0.4)
    nothing = placebo_events(TIME, noise(4), EVENTS, ONE, rng, 25.0, CHOICES, 199)
    assert nothing.p > 0.05
    with pytest.raises(SolutionError, match="no room for placebo events"):
        placebo_events(TIME, noise(4), EVENTS, ONE, rng, 240.0, CHOICES)
    with pytest.raises(SettingsError, match="positive distance"):
        placebo_events(TIME, noise(4), EVENTS, ONE, rng, 0.0, CHOICES)


def test_placebo_series():
    rows = np.stack([noise(5), noise(6) + 5.0 * answer()])
    p = placebo_series(TIME, rows, EVENTS, ONE, np.random.default_rng(0), CHOICES)
    assert p[0] > 0.05
    assert p[1] < 0.01


def test_steps_of_holm():
    # by hand: 0.01 * 4, 0.02 * 3, 0.03 * 2 (not below 0.06), 0.5
    np.testing.assert_allclose(holm([0.03, 0.01, 0.5, 0.02]), [0.06, 0.04, 0.5, 0.06])


def test_another_cause_takes_the_effect_over():
    rain = np.maximum(noise(7), 0.0) + 6.0 * answer()
    values = noise(8) + 1.5 * rain
    causes = {"rain": rain, "wind": noise(9)}
    rain_found, wind_found = other_causes(
        TIME, values, causes, EVENTS, ONE, Windows(15, 15), np.random.default_rng(0), CHOICES
    )
    assert rain_found.p_with_events < 0.05
    assert rain_found.explained > 0.8
    assert rain_found.interval[0] < 0.0 < rain_found.interval[1]
    assert wind_found.p_with_events > 0.05
    assert abs(wind_found.explained) < 0.1


def test_one_event_that_carries_all_is_found():
    found = leave_one_out([0.1, -0.2, 9.0, 0.1], 0.25 * np.eye(4), np.arange(4))
    assert found.most == 2
    assert found.effect[2] == pytest.approx(0.0, abs=0.2)
    steady = leave_one_out([3.0, 3.2, 2.9], 0.01 * np.eye(3), np.arange(3))
    assert steady.sign_holds
    with pytest.raises(SolutionError, match="none can be left out"):
        leave_one_out([3.0, np.nan], np.eye(2), [0, 1])


def test_other_choices_in_a_table():
    variations = {
        "one shape": (ONE, CHOICES),
        "white": (ONE, Choices(Baseline(1), noise="white")),
        "impossible": (ONE, Choices(Baseline(2, (1e6,)))),
    }
    rows = vary(TIME, noise(10) + 5.0 * answer(), EVENTS, variations)
    assert [row.label for row in rows] == list(variations)
    assert rows[0].amplitude == pytest.approx(5.0, abs=1.5)
    assert np.ptp(rows[1].interval) < 0.8 * np.ptp(rows[0].interval)
    assert "cannot be told apart" in rows[2].problem
    assert np.isnan(rows[2].amplitude)


def test_what_cannot_be_tested_is_a_sentence():
    with pytest.raises(SettingsError, match="expected a positive one"):
        pre_trend(TIME, noise(1), EVENTS, ONE, 0.0, CHOICES)
    values = noise(1)
    for onset in (80, 210, 390):
        values[onset - 10 : onset] = np.nan
    with pytest.raises(SolutionError, match="nothing to compare"):
        pre_trend(TIME, values, EVENTS, ONE, 9.0, CHOICES)
    with pytest.raises(SettingsError, match="less than a step"):
        reverse_test(TIME, noise(1), EVENTS, LAGS, 1.0, CHOICES)


# Pearson (1901) with the weights of York (1966), Can. J. Phys. 44, 1079 (from memory)
PEARSON_X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
PEARSON_Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
WEIGHT_X = np.array([1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0])
WEIGHT_Y = np.array([1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0])


def test_line_with_errors_in_both():
    sx, sy = WEIGHT_X**-0.5, WEIGHT_Y**-0.5
    slope, start, sigma, misfit = line_with_errors(PEARSON_X, sx, PEARSON_Y, sy)
    # York (1966): -0.4805, 5.4799 (from memory)
    assert slope == pytest.approx(-0.48053, abs=5e-6)
    assert start == pytest.approx(5.47991, abs=5e-6)
    # second formula: chi-square with effective variances, minimised numerically

    def chi(p):
        return ((PEARSON_Y - p[0] - p[1] * PEARSON_X) ** 2 / (sy**2 + p[1] ** 2 * sx**2)).sum()

    found = minimize(
        chi, [5.0, -0.5], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12}
    )
    np.testing.assert_allclose([start, slope], found.x, rtol=1e-6)
    assert misfit == pytest.approx(found.fun / 8, rel=1e-6)
    assert 0.05 < sigma < 0.065


def test_dose_and_answer():
    rng = np.random.default_rng(1)
    size = np.arange(1.0, 11.0)
    found = dose_response(size, 0.2, 2.0 * size + rng.normal(0, 0.5, 10), 0.5, rng)
    assert found.rank > 0.9
    assert found.p < 0.01
    assert found.interval[0] < 2.0 < found.interval[1]
    nothing = dose_response(size, 0.2, rng.normal(0, 0.5, 10), 0.5, rng)
    assert nothing.p > 0.05
    assert nothing.interval[0] < 0.0 < nothing.interval[1]
    assert rank_correlation([1, 2, 2, 3], [3, 2, 2, 1]) == pytest.approx(-1.0)
    with pytest.raises(SolutionError, match="needs 4 events, not all of one size"):
        dose_response([1.0, 2.0, 3.0], 0.1, [1.0, 2.0, np.nan], 0.1, rng)
    with pytest.raises(SettingsError, match="not positive"):
        dose_response(size, 0.0, size, 0.1, rng)
