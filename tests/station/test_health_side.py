"""One group of panels lost is told by the hours of its harvest; what takes from both is not."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.station.design import PlacedPanel
from stakeline.station.health_expected import expected
from stakeline.station.health_forecast import takes_all
from stakeline.station.health_parts import ONE_PANEL
from stakeline.station.health_side import (
    MOST_H,
    SIDE_AT,
    likelihoods,
    one_sided_panels,
    passages,
    side_odds,
)
from stakeline.station.panel import Panel

from .health_example import BANK, design, telemetry

DAYS, LOST_D = 30, 15
CHARGE = np.full(DAYS, 0.6)
DAY = np.arange(24 * DAYS) // 24
TWO = design(
    panels=tuple(
        PlacedPanel(name, Panel(), 1, 90.0, facing)
        for name, facing in (("east", 135.0), ("west", 225.0))
    )
)


@pytest.fixture(scope="module")
def light():
    """Hours of September at rest, what two groups could give, and a sky that changes daily."""
    hours, _ = telemetry(DAYS)
    time_ns = hours.time_ns - 30 * 86400 * 10**9
    could = expected(TWO, time_ns, hours.air_degC, hours.wind_m_s)
    beam = np.repeat(np.random.default_rng(3).uniform(0.0, 1.0, DAYS), 24)
    return hours, could, could.overcast_W + beam * (could.clear_W - could.overcast_W)


def in_light(light, share):
    """Return (hours, expected) with shares (2, n) of what both groups give."""
    hours, could, each = light
    hours.columns["panel_A"] = (share * each).sum(axis=0) / hours.battery_V
    return hours, could


@pytest.mark.parametrize("row", [0, 1])
def test_a_group_that_gives_nothing_is_told_within_ten_days_by_its_name(light, row):
    share = np.full((2, DAY.size), 0.8)
    share[row, DAY >= LOST_D] = 0.0
    hours, could = in_light(light, share)
    found = one_sided_panels(hours, TWO, could, CHARGE)
    assert [f.kind for f in found] == [ONE_PANEL]
    assert abs(found[0].begins - LOST_D) <= 1
    assert LOST_D <= found[0].told <= LOST_D + 10
    assert found[0].last == DAYS - 1
    assert found[0].why.startswith(TWO.panels[row].name)


def test_rime_on_both_and_sound_groups_tell_nothing(light):
    rimed = np.where(DAY >= LOST_D, 0.3, 1.0)
    for share in (rimed, np.ones(DAY.size)):
        hours, could = in_light(light, share)
        odds, _ = side_odds(hours, TWO, could, CHARGE)
        assert odds.max() < 0.5 * SIDE_AT


def test_a_group_that_comes_back_takes_the_odds_away(light):
    share = np.ones((2, DAY.size))
    share[0, (DAY >= 5) & (DAY < LOST_D)] = 0.0
    hours, could = in_light(light, share)
    odds, _ = side_odds(hours, TWO, could, CHARGE)
    assert odds[0, LOST_D - 1] > SIDE_AT
    assert odds[0, LOST_D + 8] < SIDE_AT


def test_first_days_are_those_of_the_whole(light):
    hours, could = in_light(light, np.array([[0.2], [0.8]]))
    whole, since = side_odds(hours, TWO, could, CHARGE)
    first = replace(could, clear_W=could.clear_W[:, : 12 * 24])
    odds, begins = side_odds(hours.until(12), TWO, first, CHARGE)
    np.testing.assert_array_equal(odds, whole[:, :12])
    np.testing.assert_array_equal(begins, since[:, :12])


def test_one_group_alone_and_a_full_bank_tell_nothing(light):
    hours, could = in_light(light, np.zeros((2, 1)))
    assert one_sided_panels(hours, design(), could, CHARGE) == []
    assert side_odds(hours, TWO, could, np.full(DAYS, 0.95))[0].max() == 0.0


def test_chains_keep_chances_and_forget():
    steps = passages(7, 0.1, 0.05)
    np.testing.assert_allclose(steps.sum(axis=2), 1.0, rtol=1e-12)
    np.testing.assert_array_equal(steps[0], np.eye(7))
    np.testing.assert_allclose(steps[MOST_H], 1.0 / 7.0, atol=0.02)


def test_chance_of_a_power_sums_to_one_but_for_the_odd(light):
    _, could, _ = light
    grid = np.concatenate([np.arange(-3.0, 12.0, 0.02), np.arange(12.0, 400.0, 0.5)])
    likely = np.array([likelihoods(np.full(24, x), could, np.array([12]))[0] for x in grid])
    whole = np.trapezoid(likely - likely[-1], grid, axis=0)
    np.testing.assert_allclose(whole, 0.98, atol=3e-3)  # trapezia of a narrow peak


def test_a_controller_that_stops_compensating_is_seen_by_its_voltage():
    hours, _ = telemetry(DAYS, box_degC=-30.0)
    volts = np.where(np.arange(DAY.size) % 24 == 12, 15.2, 12.6)
    hours.columns["battery_V"] = np.where(DAY >= 3, volts, 12.6)
    assert takes_all(hours, BANK, CHARGE)[:72].all()
    np.testing.assert_array_equal(takes_all(hours, BANK, CHARGE), hours.battery_V < 14.0)
    assert not takes_all(hours, BANK, np.full(DAYS, 0.95)).any()
