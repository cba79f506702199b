"""Faults put into even telemetry are told in days, with their figures; sound parts are not."""

import numpy as np
import pytest

from stakeline.station.box import Box
from stakeline.station.health_expected import expected
from stakeline.station.health_parts import (
    LOAD,
    PANELS,
    TURBINE,
    dead_panels,
    grown_load,
    runs,
    standing_rotor,
)
from stakeline.station.health_turbine import chance_dead, rotor_of
from stakeline.station.turbine import Turbine

from .health_example import LOAD_A, design, telemetry

DAYS = 40
HOURS = 24 * DAYS
DAY = np.arange(HOURS) // 24


def test_runs_are_what_a_loop_finds():
    assert runs([True, False, True, True]) == [(0, 0), (2, 3)]
    assert runs(np.zeros(4, bool)) == []


def test_a_load_that_doubles_is_told_on_the_second_day_and_a_heater_is_not():
    load = np.where(DAY >= 20, 2.0 * LOAD_A, LOAD_A)
    found = grown_load(telemetry(DAYS, load_A=load)[0], design())
    assert [(f.kind, f.begins, f.told, f.last) for f in found] == [(LOAD, 20, 21, DAYS - 1)]
    assert "2.5 W, usually 1.3 W" in found[0].why
    hours, _ = telemetry(DAYS, load_A=load)
    hours.columns["box_degC"][DAY < 20] = -5.0
    heated = Box(heater_W=12.0 * LOAD_A, heater_on_degC=-15.0, heater_off_degC=-14.0)
    assert grown_load(hours, design(box=heated)) == []


def in_the_sun(panel_A):
    """Return (hours, expected) of forty days of September's light with a current."""
    hours, _ = telemetry(DAYS, panel_A=panel_A)
    time_ns = hours.time_ns - 30 * 86400 * 10**9
    return hours, expected(design(), time_ns, hours.air_degC, hours.wind_m_s)


def test_panels_that_give_nothing_in_light_are_told_and_by_night_nothing_is_said():
    light = in_the_sun(np.zeros(HOURS))[1].overcast_W.sum(axis=0)
    alive = np.where(light > 0.5, 0.1, 0.0)
    assert dead_panels(*in_the_sun(alive)) == []
    found = dead_panels(*in_the_sun(np.where(DAY < 10, alive, 0.0)))
    assert found[0].kind == PANELS
    assert 10 <= found[0].told <= 20
    hours, _ = telemetry(DAYS)
    night = expected(design(), hours.time_ns + 60 * 86400 * 10**9, hours.air_degC, hours.wind_m_s)
    assert night.clear_W.max() == 0.0
    assert dead_panels(hours, night) == []


@pytest.mark.parametrize(("rime", "dead"), [(0.0, True), (0.9, False)])
def test_a_rotor_that_stands_is_told_and_rime_is_named_where_it_is_likely(rime, dead):
    turning = np.where(DAY < 15, 0.15, 0.0)
    hours, _ = telemetry(DAYS, turbine_A=turning, wind_m_s=np.full(HOURS, 9.0))
    windy = design(turbine=Turbine(), panels=())
    could = expected(windy, hours.time_ns, hours.air_degC, hours.wind_m_s)
    index = np.where(DAY < 15, 0.1, rime)
    rotor = rotor_of(hours, windy.turbine, could, index)
    found = standing_rotor(rotor, hours)
    assert found[0].kind == TURBINE
    assert 15 <= found[0].told <= 18
    assert bool(rotor.dead[-1]) is dead
    assert ("bearing" in found[-1].why) is dead
    assert rotor.odds[: 15 * 4].max() == 0.0


def rotor_findings(wind_m_s, turbine_A):
    """Return what is found of a rotor without rime, by hour's wind and current."""
    hours, _ = telemetry(DAYS, turbine_A=turbine_A, wind_m_s=wind_m_s)
    windy = design(turbine=Turbine(), panels=())
    could = expected(windy, hours.time_ns, hours.air_degC, hours.wind_m_s)
    return standing_rotor(rotor_of(hours, windy.turbine, could, np.full(HOURS, 0.1)), hours)


@pytest.mark.parametrize("wind", [1.0, np.nan])
def test_a_dead_rotor_holds_through_calm_and_silence_until_it_turns(wind):
    calm = np.where(DAY < 18, 9.0, wind)
    (found,) = rotor_findings(calm, np.where(DAY < 10, 0.15, 0.0))
    assert (found.begins, found.last, found.ended) == (10, DAYS - 1, -1)
    assert not found.holds(found.told - 1)
    assert all(found.holds(day) for day in range(found.told, DAYS))
    (turned,) = rotor_findings(calm, np.where((DAY < 10) | (DAY == 35), 0.15, 0.0))
    assert (turned.told, turned.ended) == (found.told, 35)
    assert turned.holds(34)
    assert not turned.holds(35)


def test_panels_that_come_back_end_their_finding_on_that_day():
    light = in_the_sun(np.zeros(HOURS))[1].overcast_W.sum(axis=0)
    alive = np.where(light > 0.5, 0.1, 0.0)
    (found,) = dead_panels(*in_the_sun(np.where((DAY < 10) | (DAY >= 30), alive, 0.0)))
    assert found.ended == 30
    assert [found.holds(day) for day in (found.told - 1, 29, 30)] == [False, True, False]


def test_a_single_hour_of_a_meter_s_noise_brings_no_panel_back():
    light = in_the_sun(np.zeros(HOURS))[1].overcast_W.sum(axis=0)
    noise = np.where((DAY < 10) & (light > 0.5), 0.1, 0.0)
    noise[30 * 24 + 3] = noise[35 * 24 + 4] = 0.04
    (found,) = dead_panels(*in_the_sun(noise))
    assert (found.last, found.ended) == (DAYS - 1, -1)


def test_a_load_needs_fresh_signs():
    load = np.where((DAY >= 20) & (DAY < 25), 2.0 * LOAD_A, LOAD_A)
    (found,) = grown_load(telemetry(DAYS, load_A=load)[0], design())
    assert [found.holds(day) for day in (20, 21, 24, 27, 28)] == [False, True, True, True, False]


def test_chance_of_a_dead_rotor_rises_with_the_odds():
    chances = [chance_dead(odds) for odds in (0.0, 2.0, 12.0, 20.0, 99.0)]
    assert chances[:2] == [0.0, 0.0]
    assert (np.diff(chances) >= 0.0).all()
    assert chances[-1] == 0.9
