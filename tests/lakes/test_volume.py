"""Volumes: the hand example, stations that agree, discharge, lakes that cannot be judged."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.errors import SettingsError, SolutionError
from stakeline.lakes.event_record import LakeEvent, interval
from stakeline.lakes.outline import drawn_outlines, ellipse_outline
from stakeline.lakes.response import FLOWS, Ice
from stakeline.lakes.surface import shares, view_of
from stakeline.lakes.volume import MEASURED, IceSpread, ages_s, event_volume, flat_volume_m3

OUTLINE = ellipse_outline("lake", (0.0, 0.0), (2600.0, 1600.0))
PLACES = {"HV02": (0.0, 0.0), "HV03": (800.0, 1046.0)}
ICE = Ice(800.0)
SURE = IceSpread(0.0, 0.0, 0.0, 0.0)


def an_event(surface_m, count=300, length_d=10.0, end_bound=""):
    one = np.ones(count)
    return LakeEvent(
        "Upper", "drain", 0, 100.0 * one, length_d * one, 1.0 * one, 1.0 * one,
        np.mean(surface_m) * one, {n: v * one for n, v in zip(PLACES, surface_m, strict=True)},
        1.0, 0.0, end_bound=end_bound,
    )  # fmt: skip


def test_hand_example():
    # expected: 22.6 km2 and 49 m make 1.11 km3, by hand
    assert flat_volume_m3(22.6e6, 49.0) / 1e9 == pytest.approx(1.11, abs=0.005)
    with pytest.raises(SettingsError, match="more than 0"):
        flat_volume_m3(0.0, 1.0)


def test_flat_roof_is_area_times_change():
    rng = np.random.default_rng(1)
    found = event_volume(an_event((-2.0, -2.0)), [OUTLINE], PLACES, ICE, rng, SURE, "uniform")
    assert found.volume_m3 == pytest.approx(2.0 * OUTLINE.area_m2)
    # even rate: mean and peak discharge are the same
    mean = 2.0 * OUTLINE.area_m2 / 864000.0
    assert found.mean_m3_s == pytest.approx(mean)
    assert found.peak_m3_s == pytest.approx(mean)


@pytest.mark.parametrize("flow", FLOWS)
def test_volume_behind_flowing_ice_is_found(flow):
    seen = -3.0 * shares(view_of(OUTLINE, list(PLACES.values())), ICE, flow)
    rng = np.random.default_rng(2)
    drawn = drawn_outlines([OUTLINE], None, 100.0, rng, 12)
    found = event_volume(an_event(seen), drawn, PLACES, ICE, rng)
    row = found.row()
    assert row["volume_m3_low"] < 3.0 * OUTLINE.area_m2 < row["volume_m3_high"]
    assert row["volume_m3_high"] / row["volume_m3_low"] < 1.8
    assert found.effective > 30.0


def test_an_event_that_goes_on_is_a_bound():
    rng = np.random.default_rng(3)
    event = an_event((-2.0, -1.8), end_bound="still draining at the last row")
    found = event_volume(event, [OUTLINE], PLACES, ICE, rng)
    assert "until the last row" in found.notes[-1]


@pytest.mark.parametrize("days", [5.0, 100.0, 365.0])
def test_a_surface_that_levels_itself_gives_back_the_volume(days):
    rng, seen = np.random.default_rng(7), {}
    view = view_of(OUTLINE, list(PLACES.values()))
    for viscosity in (1e34, 2e14, 1e14):
        ice = Ice(800.0, viscosity)
        # second formula: an even sinking of the roof, convolved with the response step by step
        lag = days * 86400.0 * (np.arange(60) + 0.5) / 60.0
        surface = -3.0 * np.mean([shares(view, ice, FLOWS[1], t) for t in lag], axis=0)
        sure = IceSpread(0.0, 0.0, 0.0, 0.0, FLOWS[1:])
        event = an_event(surface, 40, days)
        found = event_volume(event, [OUTLINE], PLACES, ice, rng, sure)
        assert found.volume_m3 == pytest.approx(3.0 * OUTLINE.area_m2, rel=2e-3)
        blind = event_volume(event, [OUTLINE], PLACES, Ice(800.0, 1e34), rng, sure)
        seen[viscosity] = blind.volume_m3[0] / found.volume_m3[0]
        assert seen[viscosity] == pytest.approx(found.ice.kept[0], rel=1e-3)
    assert seen[1e34] == pytest.approx(1.0)
    # at these ages levelling goes with time over viscosity: half the viscosity, twice the loss
    assert seen[2e14] > seen[1e14]
    assert np.log(seen[1e14]) / np.log(seen[2e14]) == pytest.approx(2.0, rel=0.15)


def test_viscosity_widens_long_events_and_leaves_short_ones():
    alone = IceSpread(0.0, 0.7, 0.0, 0.0)
    width = {}
    for days in (5.0, 300.0):
        found = event_volume(
            an_event((-2.0, -1.9), 400, days), [OUTLINE], PLACES, ICE, np.random.default_rng(8),
            replace(alone, beds=FLOWS[1:]),
        )  # fmt: skip
        low, middle, high = interval(found.volume_m3)
        width[days] = (high - low) / middle
    assert width[5.0] < 0.05
    assert width[300.0] > 0.5


def test_of_a_record_that_ends_first_only_what_is_over_has_an_age():
    event = an_event((-2.0, -2.0), 3, 100.0, "still draining at the last row")
    # even rate from day 100 to 200: parts in the middle of their twelfths
    assert ages_s(event)[0] == pytest.approx(86400.0 * 100.0 * (1.0 - (np.arange(12) + 0.5) / 12.0))
    cut = replace(event, rows_d=(120.0, 150.0))
    assert ages_s(cut)[0] == pytest.approx(86400.0 * 30.0 * (1.0 - (np.arange(12) + 0.5) / 12.0))


def test_plate_bulge_holds_less_than_a_block():
    rng = np.random.default_rng(4)
    here = {"HV02": PLACES["HV02"]}
    block = event_volume(an_event((-2.0, -2.0), 40), [OUTLINE], here, ICE, rng, SURE, "uniform")
    rng = np.random.default_rng(4)
    bulge = event_volume(an_event((-2.0, -2.0), 40), [OUTLINE], here, ICE, rng, SURE, "plate bulge")
    assert bulge.volume_m3.min() < 0.5 * block.volume_m3.min()


def test_what_cannot_be_judged():
    tiny = ellipse_outline("tiny", (0.0, 0.0), (250.0, 250.0))
    rng = np.random.default_rng(5)
    with pytest.raises(SolutionError, match="cannot be judged"):
        event_volume(an_event((-0.1, 0.0)), [tiny], PLACES, Ice(2500.0), rng)
    with pytest.raises(SettingsError, match="shape 'cone' of uniform"):
        event_volume(an_event((-0.1, 0.0)), [tiny], PLACES, ICE, rng, shape="cone")


def test_stations_that_disagree_are_said():
    rng = np.random.default_rng(6)
    event = an_event((-1.0, -3.0))
    found = event_volume(event, [OUTLINE], PLACES, ICE, rng)
    assert any("unlike those given" in note for note in found.notes)


def test_a_measured_pattern_is_area_times_the_mean_of_the_surface():
    rng = np.random.default_rng(9)
    pattern = {"HV02": (1.25, 0.0), "HV03": (0.8, 0.0)}
    event = an_event((-2.5, -1.6), 300)
    found = event_volume(event, [OUTLINE], PLACES, Ice(1.0), rng, SURE, MEASURED, pattern=pattern)
    assert found.volume_m3 == pytest.approx(2.0 * OUTLINE.area_m2)
    # a pattern that is known badly leaves its own share of doubt, and one station is enough
    one = {"HV03": (0.8, 0.08)}
    found = event_volume(event, [OUTLINE], PLACES, Ice(1.0), rng, SURE, MEASURED, pattern=one)
    low, middle, high = interval(found.volume_m3)
    assert list(found.share) == ["HV03"]
    assert middle == pytest.approx(2.0 * OUTLINE.area_m2, rel=0.03)
    assert (high - low) / middle == pytest.approx(0.1 * 2.0 * 1.96, rel=0.25)
    with pytest.raises(SettingsError, match="with a place"):
        event_volume(event, [OUTLINE], PLACES, Ice(1.0), rng, SURE, MEASURED, pattern={})
