"""Log against reflections, and the date of burial: laws, limits, and simulated snow."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.signals.snow_height import (
    BURIED_M,
    burial,
    contradictions,
    recent_trend,
    standing_of,
)

START = 1_935_360_000 * 10**9


def at(days):
    return START + np.round(np.asarray(days, float) * NS_PER_DAY).astype(np.int64)


def test_each_time_has_its_standing():
    assert standing_of(at([-1, 0, 4.9, 5.0, 9]), at([0, 5])).tolist() == [0, 0, 0, 1, 1]


def said(days, height, begins=(0,), above=(2.5,)):
    height = np.asarray(height, float)
    return contradictions(at(days), height, np.full(height.size, 0.01), at(begins), np.array(above))


def test_a_right_log_is_not_contradicted():
    assert said([1, 2, 3], [2.5, 2.45, 2.4]) == []
    # raised by a metre, the snow of 60 days below it stays
    assert said([1, 59, 61], [2.5, 1.9, 2.9], (0, 60), (2.5, 3.5)) == []


def test_a_wrong_height_at_the_set_up():
    (one,) = said([1, 2], [2.86, 2.85], above=(0.1,))
    assert (one.number, one.logged_m, one.found_m, one.apart_d) == (0, 0.1, 2.86, 1.0)
    assert one.time_ns == at(1)
    # what a hundred days of snow can do is no contradiction any more
    assert said([100], [1.4]) == []
    assert len(said([100], [-0.5])) == 1


def test_a_raise_that_the_log_tells_wrongly():
    (one,) = said([9, 11], [2.4, 3.4], (0, 10), (2.5, 2.6))
    assert one.number == 1
    assert one.logged_m == pytest.approx(0.1)
    assert one.found_m == pytest.approx(1.0)
    assert one.apart_d == pytest.approx(2.0)
    # a foot of the pole at some depth: the set-up contradicts, the raise does not
    assert [c.number for c in said([1, 9, 11], [1.5, 1.5, 2.5], (0, 10), (2.5, 3.5))] == [0]


def test_days_without_a_height_do_not_speak():
    assert said([1, 2], [np.nan, np.nan], above=(0.1,)) == []
    assert said([11, 12], [2.0, 2.0], (0, 10), (2.5, 9.9)) == []  # none before: nothing to compare


def falling(rng, days, begin_m, rate_m_d, drift_m=0.03, memory=0.6):
    noise = rng.normal(0.0, drift_m, days.size)
    for k in range(1, days.size):
        noise[k] = memory * noise[k - 1] + np.sqrt(1 - memory**2) * noise[k]
    return begin_m + rate_m_d * days + noise


def test_a_straight_line_comes_back():
    days = np.arange(30.0)
    trend = recent_trend(at(days), 2.0 - 0.02 * days, START)
    assert trend.rate_m_d == pytest.approx(-0.02, abs=1e-12)
    assert trend.rate_half_width_m_d < 1e-9
    assert trend.at(0.0)[0] == pytest.approx(2.0 - 0.02 * 29, abs=1e-9)
    when = burial(trend)
    expected = at((2.0 - BURIED_M) / 0.02)
    assert abs(when.time_ns - expected) <= NS_PER_DAY // 4
    assert abs(when.earliest_ns - when.latest_ns) <= NS_PER_DAY // 4


def test_only_the_last_weeks_since_the_last_move_count():
    days = np.arange(60.0)
    height = np.where(days < 40, 3.0 - 0.05 * days, 4.0 - 0.01 * (days - 40))
    assert recent_trend(at(days), height, at(40)).rate_m_d == pytest.approx(-0.01)
    assert recent_trend(at(days), height, at(56)) is None
    assert recent_trend(at(days), np.full(60, np.nan), START) is None
    assert recent_trend(at([0.0, 0.1] * 5), np.ones(10), START) is None  # many rows, no time


def test_snow_that_sinks_or_lies_still_buries_nothing():
    days = np.arange(28.0)
    assert burial(recent_trend(at(days), 2.0 + 0.01 * days, START)) is None
    assert burial(recent_trend(at(days), np.full(28, 2.0), START)) is None
    assert burial(recent_trend(at(days), 2.0 - 0.001 * days, START)) is None  # beyond a year


def test_intervals_of_the_date_hold_the_truth():
    rng = np.random.default_rng(4)
    days, held = np.arange(28.0), []
    truth = at((2.0 - BURIED_M) / 0.03)
    for _ in range(300):
        when = burial(recent_trend(at(days), falling(rng, days, 2.0, -0.03), START))
        held.append(when.earliest_ns <= truth <= (when.latest_ns or np.inf))
    # lag-one correlations of 28 rows are found too small: somewhat fewer than 0.95
    assert 0.85 <= np.mean(held) <= 0.99
