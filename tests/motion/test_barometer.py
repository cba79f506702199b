"""Floating ice and the pressure of the air: 1 cm for 1 hPa, gaps are gaps, heights are asked."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError
from stakeline.motion.barometer import barometer, pressure_at, share_seen
from stakeline.motion.motion_settings import MotionSettings
from stakeline.motion.surroundings import AirPressure

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
        found, sigma = share_seen(TIME, heights(share, pressure, 100 + seed), pressure)
        z.append((found - share) / sigma)
        assert sigma < 0.05
    # differences of days are not independent but opposed: the sigma is on the safe side
    assert 0.3 < np.sqrt(np.mean(np.square(z))) < 1.4


def test_the_term_takes_the_answer_out():
    pressure = air()
    up = heights(1.0, pressure.pressure_hPa)
    (term,), said = barometer(TIME, up, AFLOAT, pressure)
    left = up - term.value_m + 0.002 * (TIME - TIME[0]) / NS_PER_DAY
    assert np.std(left) < 0.0045 < 0.02 < np.std(up)  # the noise of 4 mm is what is left
    assert term.source == "0-raw/weather/HB01.csv"
    assert len(said) == 1
    assert "a share of 1.0" in said[0] or "a share of 0.9" in said[0]
    assert "contradict" not in said[0]


def test_ice_on_the_ground_contradicts():
    pressure = air()
    _, (said,) = barometer(TIME, heights(0.0, pressure.pressure_hPa), AFLOAT, pressure)
    assert "they contradict it; does the station float?" in said
    half = MotionSettings(barometer_share=0.5, barometer_share_sigma=0.4)
    _, (said,) = barometer(TIME, heights(0.0, pressure.pressure_hPa), half, pressure)
    assert "contradict" not in said


def test_nothing_is_done_that_nobody_asked_for():
    assert barometer(TIME, heights(1.0, air().pressure_hPa), MotionSettings(), air()) == ((), ())


def test_gaps_of_the_pressure_are_gaps_and_said():
    whole = air()
    missing = np.ones(len(TIME), bool)
    missing[200:203] = False  # three hours are bridged
    missing[600:640] = False  # forty are not
    pressure = whole.pressure_hPa.copy()
    pressure[~missing] = np.nan
    at = pressure_at(TIME, AirPressure("x", TIME, pressure))
    assert np.isfinite(at[:600]).all()
    assert np.isnan(at[600:640]).all()
    assert np.isfinite(at[640:]).all()
    np.testing.assert_array_equal(at[missing], pressure[missing])
    holed = AirPressure("x", TIME, pressure)
    _, said = barometer(TIME, heights(1.0, whole.pressure_hPa), AFLOAT, holed)
    assert "no pressure for 2.8 % of the times" in said[0]  # 40 of 1440


def test_order_of_the_rows_does_not_matter_and_ends_are_ends():
    known = air()
    back = AirPressure("x", TIME[::-1][:-48], known.pressure_hPa[::-1][:-48])
    at = pressure_at(TIME, back)
    assert np.isnan(at[:48]).all()
    np.testing.assert_array_equal(at[48:], known.pressure_hPa[48:])


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (None, "no pressure of the air is known; the term is left out"),
        (
            AirPressure("x", TIME + 400 * NS_PER_DAY, air().pressure_hPa),
            "x: no pressure at",
        ),
        (AirPressure("x", TIME, np.full(len(TIME), np.nan)), "x: no pressure at"),
    ],
)
def test_what_is_missing_is_said(given, said):
    terms, (sentence,) = barometer(TIME, np.zeros(len(TIME)), AFLOAT, given)
    assert terms == ()
    assert said in sentence


def test_short_records_tell_no_share():
    assert np.isnan(share_seen(TIME[:200], np.zeros(200), air().pressure_hPa[:200])).all()
    with pytest.raises(SettingsError, match="0 or more"):
        MotionSettings(barometer_share=1.0, barometer_share_sigma=-0.1)
