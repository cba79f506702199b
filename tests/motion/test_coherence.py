"""Coherence of series: with itself, with a late copy, with chance; what cannot be said."""

import numpy as np
import pytest
from scipy.signal import lfilter

from stakeline.errors import SettingsError
from stakeline.motion.coherence import (
    BANDS_CPD,
    coherences,
    segments_of,
    significance_level,
)

HOUR_D = 1.0 / 24.0


def red(rng, days, memory_d, interval_d=HOUR_D, late_d=0.0):
    """Return noise with a memory, and the same later."""
    rows = round((days + 10.0) / interval_d)
    keep = np.exp(-interval_d / memory_d)
    series = lfilter([1.0], [1.0, -keep], rng.standard_normal(rows))
    count, late = round(days / interval_d), round(late_d / interval_d)
    first = rows - count
    return series[first:], series[first - late : rows - late]


def compared(one, other, interval_d=HOUR_D):
    found = coherences(segments_of(one, interval_d), segments_of(other, interval_d))
    return {c.band: c for c in found}


def test_a_series_is_coherent_with_itself():
    one, _ = red(np.random.default_rng(1), 200, 3.0)
    for found in compared(one, -2.0 * one + 7.0).values():
        assert found.coherence == pytest.approx(1.0)
        assert abs(found.lag_d) == pytest.approx(0.5 * found.period_d)  # turned over
    for found in compared(one, one).values():
        assert found.lag_d == pytest.approx(0.0, abs=1e-9)
        assert found.p_value < 1e-12


@pytest.mark.parametrize(("late_d", "bands"), [(0.125, list(BANDS_CPD)), (1.0, ["days", "weeks"])])
def test_a_late_copy_gives_the_delay_and_its_sigma_covers_it(late_d, bands):
    # simulation: 30 pairs with as much noise of their own; the delay is 3 h, then a day
    rng = np.random.default_rng(7)
    off = {band: [] for band in bands}
    for _ in range(30):
        one, late = red(rng, 300, 3.0, late_d=late_d)
        own = [0.5 * red(rng, 300, 3.0)[0] for _ in range(2)]
        found, turned = compared(one + own[0], late + own[1]), compared(late, one)
        for band in bands:
            off[band].append((found[band].lag_d - late_d) / found[band].lag_sigma_d)
            assert turned[band].lag_d == pytest.approx(-late_d, abs=0.1 * late_d)
            assert found[band].coherence > found[band].level
    for band in bands:
        assert abs(np.mean(off[band])) < 1.0  # a segment holds another stretch of a late copy
        assert 0.4 < np.std(off[band]) < 1.5  # a day turns the phase within a band: sigma too wide


@pytest.mark.parametrize("days", [504, 130, 64])
def test_unrelated_series_stay_below_the_level(days):
    # simulation: 5 of 100 pairs pass; 300 pairs of red noise know that to 1.3 of 100
    rng = np.random.default_rng(days)
    interval_d, below = 1.0 / 6.0, {band: [] for band in BANDS_CPD}
    chances = {band: [] for band in BANDS_CPD}
    for _ in range(300):
        one, other = (red(rng, days, 3.0, interval_d)[0] for _ in range(2))
        for band, found in compared(one, other, interval_d).items():
            below[band].append(found.coherence < found.level)
            chances[band].append(found.p_value)
    for band in BANDS_CPD:
        assert 0.91 < np.mean(below[band]) < 0.99, band
        assert 0.4 < np.mean(chances[band]) < 0.6, band  # p-values of chance are even


def test_level_is_the_published_one():
    # 1 - 0.05^(1/(N - 1)); 0.283 for N = 10: Thompson (1979) formula, arithmetic done again
    assert significance_level(10.0) == pytest.approx(0.28313, abs=1e-5)


def test_gaps_are_left_out():
    rng = np.random.default_rng(11)
    one, late = red(rng, 400, 3.0, late_d=0.5)
    whole = compared(one, late)["days"]
    holed = late.copy()
    holed[3000:5000] = np.nan
    found = compared(one, holed)["days"]
    assert found.independent < whole.independent
    assert found.lag_d == pytest.approx(0.5, abs=0.05)


def test_what_cannot_be_said_has_a_reason():
    rng = np.random.default_rng(12)
    one, other = (red(rng, 40, 3.0)[0] for _ in range(2))
    found = compared(one, np.where(np.arange(len(one)) < 600, other, np.nan))
    assert found["days"].why == "1 segments that both have; 3 are needed"
    assert np.isnan(found["days"].coherence)
    daily = compared(*(red(rng, 400, 3.0, 1.0)[0] for _ in range(2)), 1.0)
    assert daily["half a day"].why == "the results lie too far apart"
    assert daily["days"].why == ""
    assert {c.why for c in compared(one[:30], other[:30]).values()} == {"the record is too short"}
    assert compared(one, np.ones_like(one))["days"].why == "a series does not change"
    with pytest.raises(SettingsError, match="same times"):
        compared(one, other[:500])
