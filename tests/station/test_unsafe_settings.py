"""Settings that are not safe: never better than the safe ones, and what each of them does."""

import dataclasses

import numpy as np
import pytest

from stakeline.station.battery import LITHIUM, Bank, charge_limit_V, charge_rate_per_h, most_charge
from stakeline.station.box import Box
from stakeline.station.design import Design, Load, PlacedPanel, Site
from stakeline.station.panel import Panel
from stakeline.station.survival import IN_FROST, circumstances, station_energy, survival
from stakeline.station.weather import WeatherYears
from stakeline.station.what_if import Masses, gains
from stakeline.station.year import StationEnergy, simulate_years
from stakeline.time import from_calendar

pytestmark = pytest.mark.compiled

HOURS, YEARS = 8760, 4
COLD_DEGC = np.arange(-60.0, 25.0)
RECEIVER = Load("receiver", "receiver", 4.0, saves_below=0.5, saved_W=1.0)
MODEM = Load("modem", "telemetry", 2.0, 0.1, 15.0)
LEAD = Bank(parallel=3)
IRON = Bank(chemistry=LITHIUM, block_V=12.8, parallel=6, charge_share=0.95)
GROUP = PlacedPanel("panel", Panel(), 2, 90.0, 180.0)
UNSAFE = {
    "uncompensated": (LEAD, {"compensated": False}, {}),
    "no ban": (IRON, {"frost_ban": False}, {}),
    "a breaker above the switch": (LEAD, {"trip_V": 11.8}, {}),
    "a breaker at the switch": (LEAD, {"trip_V": 11.5}, {}),
    "a receiver for a person": (LEAD, {}, {"starts_alone": False}),
    "a receiver that is up only": (LEAD, {}, {"logs_alone": False}),
    "a receiver that never wakes": (LEAD, {}, {"wakes_alone": False}),
}


def weather(degC=-12.0):
    rng = np.random.default_rng(3)
    shape = (YEARS, HOURS)
    return WeatherYears(
        int(from_calendar(2031, 7, 1)), degC + 3.0 * rng.normal(size=shape), np.full(shape, 3.0),
        np.full(shape, 0.5), np.zeros(shape), 980.0, 3.0,
    )  # fmt: skip


def lived(bank, load=RECEIVER, degC=-12.0):
    design = Design("HV01", Site(79.0, 17.0, 200.0), (GROUP,), bank, Box(), (load, MODEM))
    return survival(design, circumstances(design.site, weather(degC)))


@pytest.mark.parametrize("name", UNSAFE)
def test_no_unsafe_setting_does_better(name):
    bank, of_bank, of_load = UNSAFE[name]
    safe = lived(bank)
    found = lived(dataclasses.replace(bank, **of_bank), dataclasses.replace(RECEIVER, **of_load))
    never = 10**6
    first, was = (np.where(one.first_h < 0, never, one.first_h) for one in (found, safe))
    assert (first <= was).all()
    assert (found.outcome.off_h >= safe.outcome.off_h).all()
    assert (found.lived <= safe.lived).all()
    assert found.restart.share <= safe.restart.share
    assert found.lost_h > safe.lost_h
    assert np.abs(found.outcome.balance).max() < 1e-9


def test_a_voltage_that_stays_fills_the_less_the_colder_it_is():
    fixed = dataclasses.replace(LEAD, compensated=False)
    most = most_charge(fixed, COLD_DEGC)
    assert (np.diff(most) > 0.0).all()
    assert ((most > 0.0) & (most < 1.0)).all()
    assert (most_charge(LEAD, COLD_DEGC) == 1.0).all()
    assert (most_charge(dataclasses.replace(IRON, compensated=False), COLD_DEGC) == 1.0).all()
    assert most_charge(fixed, 25.0) == 1.0
    assert np.ptp(charge_limit_V(fixed, COLD_DEGC)) == 0.0
    # the current of C/100 by hand: 2.16 V + (6 + 0.48 / x^1.2) 0.01 (1 + 0.025 45) is the limit
    ends = [0.48 / (((limit - 2.16) / (0.01 * 2.125)) - 6.0) for limit in (2.40, 2.58)]
    by_hand = (1.0 - ends[0] ** (1.0 / 1.2)) / (1.0 - ends[1] ** (1.0 / 1.2))
    assert most_charge(fixed, -20.0) == pytest.approx(by_hand, rel=1e-12)


def test_a_bank_in_the_cold_ends_where_its_voltage_ends():
    fixed = dataclasses.replace(LEAD, compensated=False, discharge_month=0.0)
    station = StationEnergy(fixed, Box(), 50.0, 0.0)
    done = simulate_years(station, np.full(HOURS, -30.0), np.full(HOURS, 50.0), charge=0.3)
    assert done.end_J[0] / fixed.full_J == pytest.approx(most_charge(fixed, -30.0), abs=2e-3)
    warm = simulate_years(station, np.full(HOURS, 25.0), np.full(HOURS, 50.0), charge=0.3)
    assert warm.end_J[0] / fixed.full_J == pytest.approx(1.0, abs=1e-6)


def test_what_is_charged_in_frost_is_metal():
    bank = dataclasses.replace(IRON, frost_ban=False, discharge_month=0.0)
    assert charge_rate_per_h(bank, np.array([-41.0, -5.0, 5.0])).tolist() == [0.0, 0.1, 0.1]
    station = StationEnergy(bank, Box(), 50.0, 0.0)
    done = simulate_years(station, np.full(48, -5.0), np.full(48, 10.0), charge=0.5)
    assert done.frost_h[0] == 48.0
    assert done.plated_J[0] == pytest.approx(48 * 3600.0 * 10.0)
    assert done.end_J[0] == pytest.approx(0.5 * bank.full_J, rel=1e-12)  # nothing of it is kept
    assert abs(done.balance[0]) < 1e-12
    # in the warm again it is full where the metal ends
    air = np.where(np.arange(2000) < 48, -5.0, 15.0)
    done = simulate_years(station, air, np.full(2000, 40.0), charge=0.5)
    left = bank.full_J - done.plated_J[0]
    assert done.plated_J[0] == pytest.approx(done.frost_h[0] * 3600.0 * 40.0)
    assert done.end_J[0] == pytest.approx(left, rel=1e-6)
    banned = dataclasses.replace(station, bank=IRON)
    kept = simulate_years(banned, np.full(48, -5.0), np.full(48, 10.0), charge=0.5)
    assert kept.frost_h[0] == kept.plated_J[0] == 0.0


def test_a_bank_spoilt_by_frost_says_so():
    found = lived(dataclasses.replace(IRON, frost_ban=False), degC=-25.0)
    assert set(found.causes) == {IN_FROST}
    assert found.why == "charged in frost"
    assert (found.outcome.first_frost < found.outcome.first_spoilt).all()
    assert (found.outcome.off_h == HOURS - found.first_h).all()
    assert set(found.outcome.why) == {"charging in frost had spoilt the bank"}
    for years in (np.zeros((2, 8760)), np.full((2, 8760), 30.0)):  # however long, it stays finite
        frost = dataclasses.replace(IRON, frost_ban=False)
        done = simulate_years(StationEnergy(frost, Box(), 50.0, 1.0), years - 20.0, years)
        assert np.isfinite(done.end_J).all()


def test_without_frost_the_ban_changes_nothing():
    station = StationEnergy(IRON, Box(), 0.5, 5.0)
    free = dataclasses.replace(station, bank=dataclasses.replace(IRON, frost_ban=False))
    sun = 30.0 * (np.arange(HOURS) % 24 < 6)
    banned, done = (simulate_years(one, np.full(HOURS, 5.0), sun) for one in (station, free))
    for name in ("end_J", "off_h", "lost_J", "lowest_V"):
        assert (getattr(banned, name) == getattr(done, name)).all()


def test_a_breaker_below_the_switch_never_trips():
    safe, found = lived(LEAD), lived(dataclasses.replace(LEAD, trip_V=10.0))
    for name in ("end_J", "off_h", "lost_J", "back"):
        assert (getattr(safe.outcome, name) == getattr(found.outcome, name)).all()


def test_a_breaker_that_tripped_ends_the_year():
    found = lived(dataclasses.replace(LEAD, trip_V=11.8))
    assert found.why == "a breaker tripped, and stays off until somebody comes"
    assert (found.outcome.off_h == HOURS - found.outcome.first_off).all()
    assert (found.outcome.starts == 0.0).all()


def test_what_waits_for_a_person_takes_nothing_and_loses_the_year():
    safe = lived(LEAD)
    found = lived(LEAD, dataclasses.replace(RECEIVER, starts_alone=False))
    assert (found.first_h == safe.first_h).all()
    assert (found.outcome.off_h == HOURS - found.outcome.first_off).all()
    assert found.restart.share == 0.0 < safe.restart.share
    assert set(found.outcome.why) == {"a load has to be started by hand"}
    assert found.outcome.load_J.sum() < safe.outcome.load_J.sum()


def test_a_receiver_that_is_up_but_records_nothing_takes_what_it_took():
    safe, found = lived(LEAD), lived(LEAD, dataclasses.replace(RECEIVER, logs_alone=False))
    assert (found.outcome.load_J == safe.outcome.load_J).all()
    assert (found.outcome.end_J == safe.outcome.end_J).all()
    assert found.lost_h > safe.lost_h


def test_a_sleep_without_a_wake_is_for_ever():
    found = lived(LEAD, dataclasses.replace(RECEIVER, wakes_alone=False))
    assert found.why == "a load fell asleep to save, and nothing woke it"
    begun = found.outcome.days[:, 0] < RECEIVER.saves_below
    day = found.first_h // 24
    for asleep, first in zip(begun, day, strict=True):
        assert abs(int(asleep.argmax()) - first) <= 1
    assert found.outcome.saved_J.sum() > 0.0


def test_what_nobody_has_tried_is_taken_as_good():
    design = Design("HV01", Site(79.0, 17.0, 200.0), (GROUP,), LEAD, Box(), (RECEIVER,))
    sure = dataclasses.replace(RECEIVER, starts_alone=True, logs_alone=True, wakes_alone=True)
    known = dataclasses.replace(design, loads=(sure,))
    assert station_energy(design, 0.5) == station_energy(known, 0.5)
    # a modem that does not log, a sleeper that never sleeps: neither is asked for it
    told = dataclasses.replace(MODEM, logs_alone=False, duty=1.0, wakes_alone=False)
    station = station_energy(dataclasses.replace(design, loads=(told,)), 0.5)
    assert (station.hand_W, station.silent) == (0, False)


def test_what_helps_names_the_safe_setting():
    load = dataclasses.replace(RECEIVER, starts_alone=False)
    bank = dataclasses.replace(LEAD, compensated=False, trip_V=10.0)
    design = Design("HV01", Site(79.0, 17.0, 200.0), (GROUP,), bank, Box(), (load,))
    around = circumstances(design.site, weather())
    found = {one.words: one for one in gains(design, around, survival(design, around), Masses(32))}
    assert found["loads that start, wake and record alone"].hours_gain > 0.0
    assert found["a controller that follows the cold"].hours_gain >= 0.0
    assert "no breaker that stays off" in found
    assert "a ban on charging in frost" not in found
