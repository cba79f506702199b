"""Cover on the panels is told apart from cloud, and from panels that are dead."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.station.health_cover import CLEAN, COVERED, LAW_DOUBT, cover_of, covered_panels
from stakeline.station.health_expected import expected
from stakeline.station.health_parts import COVER, PANELS, Finding, dead_panels

from .health_example import design, telemetry

DAYS, RIMED_D, FREE_D = 30, 12, 22
DAY = np.arange(24 * DAYS) // 24
CHARGE = np.full(DAYS, 0.6)


@pytest.fixture(scope="module")
def light():
    """Hours of September at rest, what clean panels could give, a sky new every six hours."""
    hours, _ = telemetry(DAYS)
    could = expected(design(), hours.time_ns - 30 * 86400 * 10**9, hours.air_degC, hours.wind_m_s)
    beam = np.repeat(np.random.default_rng(3).choice([0.0, 0.3, 1.0], DAY.size // 6), 6)
    return hours, could, (could.overcast_W + beam * (could.clear_W - could.overcast_W))[0]


def cover(light, share):
    """Return the cover of panels that give a share of what clean ones would."""
    hours, could, power = light
    seen = replace(hours, columns=hours.columns | {"panel_A": share * power / hours.battery_V})
    return cover_of(seen, design(), could, CHARGE), seen


@pytest.mark.parametrize("share", [1.0, 0.4, 0.2])
def test_a_share_is_found_within_its_bounds_whatever_the_cloud(light, share):
    found, _ = cover(light, np.full(DAY.size, share))
    told = np.isfinite(found.share)
    assert told[-10:].mean() >= 0.5
    assert ((found.low[told] <= share) & (share <= found.high[told])).mean() > 0.9
    assert np.nanmedian(found.share) == pytest.approx(share, rel=0.3)


def test_rime_is_told_within_days_and_ends_as_light_comes_back(light):
    share = np.where((DAY >= RIMED_D) & (DAY < FREE_D), 0.12, 1.0)
    (found,) = covered_panels(cover(light, share)[0])
    assert found.kind == COVER
    assert RIMED_D < found.told <= RIMED_D + 5
    assert FREE_D <= found.ended <= FREE_D + 5
    assert found.why.startswith("they bring ")
    assert covered_panels(cover(light, np.ones(DAY.size))[0]) == []


def test_dead_panels_are_not_called_dirty(light):
    told, hours = cover(light, np.where(DAY >= RIMED_D, 0.0, 1.0))
    dead = dead_panels(hours, light[1])
    assert [one.kind for one in dead] == [PANELS]
    assert not any(one.holds(DAYS - 1) for one in covered_panels(told, dead))


def test_a_group_that_is_dead_is_the_reason(light):
    told, _ = cover(light, np.where(DAY >= RIMED_D, 0.25, 1.0))
    group = Finding("one group of panels gives nothing", RIMED_D, RIMED_D, DAYS - 1, "why")
    assert covered_panels(told, (group,)) == []


def test_days_that_cannot_tell_have_no_share_but_a_reason(light):
    hours, could, _ = light
    full = cover_of(hours, design(), could, np.full(DAYS, 0.95))
    assert np.isnan(full.share).all()
    assert "a full bank" in full.why_not(DAYS - 1)
    night = expected(design(), hours.time_ns + 60 * 86400 * 10**9, hours.air_degC, hours.wind_m_s)
    assert cover_of(hours, design(), night, CHARGE).why_not(DAYS - 1).startswith("dark: light in 0")


def test_first_days_are_those_of_the_whole(light):
    told, seen = cover(light, np.full(DAY.size, 0.5))
    early = replace(light[1], clear_W=light[1].clear_W[:, : 20 * 24])
    part = cover_of(seen.until(20), design(), early, CHARGE[:20])
    np.testing.assert_array_equal(part.share, told.share[:20])


def test_limits_leave_a_gap_that_the_bounds_can_fill():
    assert COVERED < CLEAN < 1.0 < LAW_DOUBT
