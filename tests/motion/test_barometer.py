"""Floating ice and the pressure of the air: 1 cm for 1 hPa, gaps are gaps, heights are asked."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError
from stakeline.motion.barometer import air_answer, pressure_at, share_seen, share_words
from stakeline.motion.motion_settings import MotionSettings
from stakeline.motion.solve import covariance_of, rise, solve_motion
from stakeline.motion.station_series import StationSeries
from stakeline.motion.surroundings import AirPressure, Surroundings

HOUR = NS_PER_DAY // 24
TIME = 1_600_000_000 * 10**9 + HOUR * np.arange(24 * 60)
AFLOAT = MotionSettings(barometer_share=1.0)


def air(seed=1, time_ns=TIME):
    """Return a pressure with storms of days, 8 hPa rms or so."""
    rng = np.random.default_rng(seed)
    days = (time_ns - time_ns[0]) / NS_PER_DAY
    waves = [rng.normal(0.0, 4.0) * np.sin(2.0 * np.pi * (days / p + rng.random()))
             for p in (2.5, 4.0, 5.5, 9.0, 15.0)]  # fmt: skip
    return AirPressure("0-raw/weather/HB01.csv", time_ns, 990.0 + sum(waves))


def heights(share, pressure, seed=2):
    rng = np.random.default_rng(seed)
    rate = -0.002 * (TIME - TIME[0]) / NS_PER_DAY
    return rate - 0.01 * share * (pressure - pressure.mean()) + rng.normal(0.0, 0.004, len(TIME))


@pytest.mark.parametrize("share", [1.0, 0.4, 0.0])
def test_heights_tell_their_share(share):
    z = []
    for seed in range(30):
        pressure = air(seed).pressure_hPa
        answer = air_answer(TIME, AFLOAT, air(seed))[0].bridged_m(TIME)
        found, sigma = share_seen(TIME, heights(share, pressure, 100 + seed), answer)
        z.append((found - share) / sigma)
        assert sigma < 0.05
    # differences of days are not independent but opposed: the sigma is on the safe side
    assert 0.3 < np.sqrt(np.mean(np.square(z))) < 1.4


def floating(share, seed=2):
    """Return the series of ice that moves 1 m/d and follows the pressure with a share."""
    days = (TIME - TIME[0]) / NS_PER_DAY
    rng = np.random.default_rng(seed)
    up = heights(share, air().pressure_hPa)
    enu = np.stack([days, 0.0 * days, up], axis=1) + rng.normal(0.0, 0.002, (len(days), 3))
    sigma = covariance_of(np.full((len(days), 3), 0.003))
    return StationSeries("HV14", TIME, enu, sigma, around=Surroundings(air=air()))


QUICK = {"find_steps": False, "remove_tide": False, "likelihood_rows": 1000, "slope_source": "none"}


@pytest.mark.compiled
def test_the_answer_is_a_term_and_no_motion():
    asked = MotionSettings(**QUICK, barometer_share=1.0)
    motion = solve_motion(floating(1.0), asked)
    budget = motion.vertical.budget
    (term,) = [t for t in budget.terms if t.name == "inverse barometer"]
    true = -0.01 * (air().pressure_hPa - air().pressure_hPa.mean())
    np.testing.assert_allclose(term.value_m, np.interp(motion.time_ns, TIME, true), atol=1e-12)
    assert term.source == "0-raw/weather/HB01.csv"
    rate = -0.002 * (motion.time_ns - TIME[0]) / NS_PER_DAY
    for left in (motion.vertical.residual_up_m, motion.up.position_m):
        assert np.nanstd(left - rate) < 0.003 < 0.02 < np.std(true)
    assert np.nanstd(motion.vertical.raw_residual_m - rate) < 0.006  # noise of 4.5 mm
    total = sum(t.value_m for t in budget.terms) + budget.residual_m
    np.testing.assert_allclose(total, budget.measured_m, atol=1e-12)
    (said,) = [w for w in motion.warnings if "barometer" in w]
    assert "contradict" not in said
    without = solve_motion(floating(1.0), MotionSettings(**QUICK))
    assert np.nanstd(without.up.position_m - rate) > 0.02
    assert not [w for w in without.warnings if "barometer" in w]


@pytest.mark.compiled
def test_the_rise_between_two_days_holds_no_answer():
    motion = solve_motion(floating(1.0), MotionSettings(**QUICK, barometer_share=1.0))
    pressure = air().pressure_hPa.reshape(-1, 24).mean(axis=1)
    low, high = int(np.argmin(pressure)), int(np.argmax(pressure))
    windows = [(int(TIME[24 * d]), int(TIME[24 * d + 23])) for d in sorted((low, high))]
    height, sigma = rise(motion, *windows)
    expected = -0.002 * abs(high - low)
    assert abs(height - expected) < 4.0 * sigma
    assert abs(0.01 * np.ptp(pressure)) > 20.0 * sigma  # what it would be off by


def test_ice_on_the_ground_contradicts():
    assert "they contradict it; does the station float?" in share_words(0.02, 0.01, 1.0, 0.0)[0]
    assert "contradict" not in share_words(0.02, 0.01, 0.5, 0.4)[0]
    assert share_words(np.nan, np.nan, 1.0, 0.0) == ()


def test_nothing_is_done_that_nobody_asked_for():
    assert air_answer(TIME, MotionSettings(), air()) == (None, ())


def test_gaps_of_the_pressure_are_gaps_and_said():
    whole = air()
    missing = np.ones(len(TIME), bool)
    missing[200:203] = False  # three hours are bridged
    missing[600:640] = False  # forty are not
    pressure = whole.pressure_hPa.copy()
    pressure[~missing] = np.nan
    answer, (said,) = air_answer(TIME, AFLOAT, AirPressure("x", TIME, pressure))
    at = pressure_at(TIME, answer.air)
    assert np.isfinite(at[:600]).all()
    assert np.isnan(at[600:640]).all()
    assert np.isfinite(at[640:]).all()
    np.testing.assert_array_equal(at[missing], pressure[missing])
    assert np.flatnonzero(np.isnan(answer.term(TIME).value_m)).tolist() == list(range(600, 640))
    assert np.isfinite(answer.bridged_m(TIME)).all()
    assert "no pressure for 2.8 % of the positions; no residual up" in said  # 40 of 1440


def test_order_of_the_rows_does_not_matter_and_ends_are_ends():
    known = air()
    back = AirPressure("x", TIME[::-1][:-48], known.pressure_hPa[::-1][:-48])
    answer, _ = air_answer(TIME, AFLOAT, back)
    at = pressure_at(TIME, answer.air)
    assert np.isnan(at[:48]).all()
    np.testing.assert_array_equal(at[48:], known.pressure_hPa[48:])
    np.testing.assert_array_equal(answer.bridged_m(TIME)[:49], answer.bridged_m(TIME[48:49])[0])


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (None, "no pressure of the air is known; it is left in"),
        (AirPressure("x", TIME + 400 * NS_PER_DAY, air().pressure_hPa), "x: no pressure at the"),
        (AirPressure("x", TIME, np.full(len(TIME), np.nan)), "x: no pressure at the"),
    ],
)
def test_what_is_missing_is_said(given, said):
    answer, (sentence,) = air_answer(TIME, AFLOAT, given)
    assert answer is None
    assert said in sentence


def test_short_records_tell_no_share():
    assert np.isnan(share_seen(TIME[:200], np.zeros(200), air().pressure_hPa[:200])).all()
    with pytest.raises(SettingsError, match="0 or more"):
        MotionSettings(barometer_share=1.0, barometer_share_sigma=-0.1)
