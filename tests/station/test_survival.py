"""Survival by limits and laws: nights by hand, each kind of failure, months, what helps, sizes."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.battery import Bank, cold_share
from stakeline.station.box import Box
from stakeline.station.burial import Rise
from stakeline.station.design import Design, Load, PlacedPanel, Site
from stakeline.station.panel import Panel
from stakeline.station.sizing import Choice, choices_between, pareto, sized
from stakeline.station.surroundings import box_around
from stakeline.station.survival import (
    BURIAL,
    ENERGY,
    FREEZING,
    KINDS,
    OVER_VOLTAGE,
    circumstances,
    station_energy,
    survival,
    wilson,
)
from stakeline.station.turbine import Turbine
from stakeline.station.weather import WeatherYears
from stakeline.station.what_if import Masses, gains, sensitivities
from stakeline.time import from_calendar

pytestmark = pytest.mark.compiled

YEARS, HOURS = 6, 8760
GROUP = PlacedPanel("panel", Panel(), 2, 90.0, 180.0)
LOADS = (Load("receiver", "receiver", 5.0),)
DESIGN = Design("HV01", Site(79.0, 17.0, 200.0), (GROUP,), Bank(parallel=12), Box(), LOADS,
                controller_W=0.0)  # fmt: skip


def weather(month=7, degC=-10.0, wind=3.0, cloud=0.5):
    rng = np.random.default_rng(8)
    shape = (YEARS, HOURS)
    return WeatherYears(
        int(from_calendar(2031, month, 1)), degC + rng.normal(size=shape), np.full(shape, wind),
        np.clip(cloud + 0.1 * rng.normal(size=shape), 0.0, 1.0), np.zeros(shape), 980.0, 3.0,
    )  # fmt: skip


AROUND = circumstances(DESIGN.site, weather())


def test_without_sun_and_wind_it_lasts_as_long_as_its_bank():
    # 5 W at 12 V take 10 Ah a day of what the cold leaves of 1200 Ah, and some percent overdrawn
    bank = Bank(parallel=12, peukert=1.0, discharge_month=0.0)
    found = survival(replace(DESIGN, panels=(), bank=bank), AROUND)
    box_degC = -10.0 + 5.0 / box_around(DESIGN, AROUND.weather)[1][0, 0]
    assert found.chance == 0.0
    days = found.first_h / 24.0
    assert days == pytest.approx(np.full(YEARS, 120.0 * cold_share(bank, box_degC)), rel=0.06)
    assert found.causes == {ENERGY: 1.0}
    assert found.why == "the bank was empty"
    assert found.limiting_month in (9, 10, 11)
    early, middle, late = (found.first_dates_ns - found.start_ns) // (3600 * 10**9)
    assert early == found.first_h.min()
    assert early <= middle <= late == found.first_h.max()
    assert found.lived[:2] == pytest.approx([1.0, 1.0])
    assert found.lived[-1] == 0.0
    assert found.restart.share == 0.0


def test_first_failures_by_cause_share_out_the_years():
    chosen = replace(DESIGN, panels=(), bank=Bank(parallel=12, peukert=1.0, discharge_month=0.0))
    found = survival(chosen, AROUND)
    years = np.arange(YEARS)
    kinds = np.where(years < 2, KINDS.index(BURIAL), found.kind)
    hours = np.where(years < 2, 24 * (years + 1), found.first_h)
    every, *causes = replace(found, kind=kinds, first_h=hours).first_failures
    assert [one.why for one in causes] == ["the bank was empty", BURIAL]
    assert every.share == sum(one.share for one in causes) == 1.0
    assert ((causes[1].dates_ns - found.start_ns) // (3600 * 10**9)).tolist() == [24, 24, 48]
    assert every.dates_ns[0] == causes[1].dates_ns[0]
    assert every.dates_ns[2] == causes[0].dates_ns[2] > causes[1].dates_ns[2]
    lives = survival(replace(DESIGN, bank=Bank(parallel=40)), AROUND).first_failures
    assert [(one.why, one.share, one.dates_ns.size) for one in lives] == [("any", 0.0, 0)]


def test_dark_years_wake_when_the_longest_outage_ends():
    found = survival(replace(DESIGN, bank=Bank(parallel=7)), AROUND)
    hours = (found.restart.wakes_ns - found.start_ns) // (3600 * 10**9)
    done = found.outcome
    assert hours[0] == (done.longest_off + done.longest_off_h).min()
    assert done.first_off.max() < hours[0] <= hours[1] <= hours[2]
    assert (done.starts == 1.0).all()
    assert set(hours) <= set(done.back)  # one start: it is the last one too
    dead = survival(replace(DESIGN, panels=(), bank=Bank(parallel=7)), AROUND).restart
    assert (dead.dark, dead.share, dead.wakes_ns.size) == (YEARS, 0.0, 0)


def test_chances_to_live_never_rise_and_end_at_the_years():
    found = survival(replace(DESIGN, bank=Bank(parallel=7)), AROUND)
    assert (np.diff(found.lived) <= 0.0).all()
    assert found.lived[-1] == found.chance
    assert list(found.months) == [7, 8, 9, 10, 11, 12, 1, 2, 3, 4, 5, 6]
    assert found.restart.dark == YEARS
    assert found.restart.share == 1.0  # the Sun comes back
    assert found.restart.median_h > 6000  # after the middle of March


def test_a_large_bank_lives_and_its_lowest_month_is_the_end_of_the_night():
    found = survival(replace(DESIGN, bank=Bank(parallel=40)), AROUND)
    assert found.chance == 1.0
    assert found.why == ""
    assert found.limiting_month in (2, 3)
    assert found.interval[1] == 1.0
    assert np.abs(found.outcome.balance).max() < 1e-9
    assert (np.diff(found.charge_band, axis=0) >= 0.0).all()


def test_the_south_goes_dark_half_a_year_later():
    bank = Bank(parallel=7)
    site = Site(-79.0, 17.0, 200.0)
    turned = replace(GROUP, azimuth_deg=0.0)
    around = circumstances(site, weather(month=1))
    north = survival(replace(DESIGN, bank=bank), AROUND)
    south = survival(replace(DESIGN, bank=bank, site=site, panels=(turned,)), around)
    assert abs((south.limiting_month - north.limiting_month) % 12 - 6) <= 1
    assert np.median(south.first_h) == pytest.approx(np.median(north.first_h), abs=24 * 12)


def test_snow_at_the_antenna_is_a_failure_with_its_day():
    around = replace(AROUND, antenna_m=2.0)
    surface = np.zeros_like(around.surface_m)
    surface[0, 30:] = 2.5
    found = survival(replace(DESIGN, bank=Bank(parallel=40)), replace(around, surface_m=surface))
    assert KINDS[found.kind[0]] == BURIAL
    assert found.first_h[0] == 30 * 120
    assert found.chance == pytest.approx((YEARS - 1) / YEARS)


def test_a_gale_that_nothing_takes_is_over_voltage():
    windy = circumstances(DESIGN.site, weather(wind=12.0))
    design = replace(DESIGN, turbine=Turbine(), dump_W=50.0, bank=Bank(parallel=4))
    found = survival(design, windy)
    assert set(found.causes) == {OVER_VOLTAGE}
    assert survival(replace(design, dump_W=500.0), windy).chance == 1.0
    # each turbine has its own regulator
    assert survival(replace(design, dump_W=250.0), windy, turbines=2).chance == 1.0


def test_a_cold_and_empty_bank_freezes():
    cold = circumstances(DESIGN.site, weather(degC=-45.0))
    found = survival(replace(DESIGN, bank=Bank(parallel=12)), cold)
    assert FREEZING in found.causes
    assert found.chance == 0.0


def test_saving_carries_further():
    modem = Load("modem", "telemetry", 4.0, saves_below=0.9, saved_W=0.5)
    night = replace(DESIGN, panels=(), loads=(*LOADS, modem))
    spending = replace(night, loads=(*LOADS, replace(modem, saves_below=0.0)))
    saved, spent = survival(night, AROUND), survival(spending, AROUND)
    assert (saved.first_h > 1.3 * spent.first_h).all()
    assert (saved.outcome.saved_J > 0.0).all()
    assert (spent.outcome.saved_J == 0.0).all()


def test_a_peak_below_its_voltage_does_not_come():
    modem = Load("modem", "telemetry", 0.1, peak_W=2000.0)
    loud = station_energy(replace(DESIGN, loads=(*LOADS, modem)), 0.5)
    assert loud.peak_W == 2000.0
    calm = survival(
        replace(DESIGN, loads=(*LOADS, replace(modem, least_V=12.9)), panels=()), AROUND
    )
    hasty = survival(replace(DESIGN, loads=(*LOADS, modem), panels=()), AROUND)
    assert (hasty.first_h < calm.first_h).all()


def test_a_box_in_snow_sees_the_wave_of_its_depth():
    season = -20.0 + 15.0 * np.cos(2.0 * np.pi * (np.arange(HOURS) - 500.0) / HOURS)
    years = replace(weather(), temperature_degC=np.tile(season, (YEARS, 1)))
    buried = replace(DESIGN, box_depth_m=2.0)
    around, loss = box_around(buried, years)
    assert around.shape == (YEARS, HOURS)
    # Calonne et al. (2011) at 350 kg/m3, 0.2872 W/(m K), by 350 kg/m3 and 1955 J/(kg K)
    damping = np.sqrt(0.2872 / (350.0 * 1955.0) * 365.25 * 86400.0 / np.pi)
    assert (around[0].max() - around[0].min()) / 2.0 == pytest.approx(
        15.0 * np.exp(-2.0 / damping), rel=0.01
    )
    lag_h = around[0].argmax() - 500
    assert lag_h == pytest.approx(2.0 / damping / (2.0 * np.pi) * HOURS, abs=20)
    assert 0.0 < loss[0, 0] < box_around(DESIGN, years)[1][0, 0]


def test_an_interval_of_shares_is_wilsons():
    # solves |p - x| = z sqrt(p (1 - p) / n) for p
    for lived, years in ((0, 50), (37, 50), (50, 50)):
        for end in wilson(lived, years):
            off = abs(end - lived / years)
            assert off**2 == pytest.approx(1.959964**2 * end * (1.0 - end) / years, abs=1e-12)


def test_what_hurts_hurts_and_what_helps_helps():
    design = replace(DESIGN, bank=Bank(parallel=7))
    base = survival(design, AROUND)
    hurts = {one.words: one for one in sensitivities(design, AROUND, base)}
    assert hurts["a fifth more load"].hours_gain < 0.0 < hurts["a fifth less load"].hours_gain
    assert hurts["one panel lost"].hours_gain < 0.0
    assert hurts["cloud 0.2 more"].hours_gain < 0.0
    helps = gains(design, AROUND, base, Masses(32.0))
    worth = [one.hours_gain / max(one.mass_kg, 1.0) for one in helps if one.gain == 0.0]
    assert worth == sorted(worth, reverse=True)
    named = {one.words: one for one in helps}
    assert named["one string more"].hours_gain > 0.0
    assert named["one string more"].mass_kg == 32.0
    assert named["one panel more"].hours_gain > 0.0
    assert named["a turbine of 1.1 m"].mass_kg == 12.0


def test_more_strings_never_live_less_and_the_front_rises():
    combinations = choices_between(DESIGN, (4, 8, 16, 32), (0, 1, 2), (0,))
    found = sized(DESIGN, AROUND, Masses(32.0, rest_kg=50.0), combinations, 0.9)
    assert len(found.choices) == 12
    by_strings = [one.chance for one in sorted(found.choices, key=lambda one: one.strings)
                  if one.panels == (2,)]  # fmt: skip
    assert by_strings == sorted(by_strings)
    masses = [one.mass_kg for one in found.front]
    assert masses == sorted(masses)
    assert found.lightest.chance >= 0.9
    one = next(c for c in found.choices if c.strings == 16 and c.panels == (2,))
    assert one.mass_kg == pytest.approx(50.0 + 16 * 32.0 + 2 * GROUP.mass_kg)
    alone = survival(replace(DESIGN, bank=Bank(parallel=16)), AROUND)
    assert one.chance == alone.chance


def test_nothing_on_the_front_is_beaten():
    rng = np.random.default_rng(2)
    tried = [Choice(1, (), 0, m, c, (0.0, 1.0), 0.0) for m, c in rng.uniform(size=(50, 2))]
    front = pareto(tried)
    for one in front:
        assert not any(o.mass_kg < one.mass_kg and o.chance >= one.chance for o in tried)


def test_a_turbine_that_is_not_there_is_refused():
    with pytest.raises(SettingsError, match=r"names no \[turbine\]"):
        sized(DESIGN, AROUND, Masses(32.0), [(1, (2,), 1)], 0.9)


def test_snow_by_chance_needs_a_generator():
    with pytest.raises(SettingsError, match="expected a generator"):
        circumstances(DESIGN.site, weather(), rise=Rise(1.0))
