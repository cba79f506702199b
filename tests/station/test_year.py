"""Whole years: energy that closes, hand-made nights, limits, each cause, published capacities."""

import dataclasses
import itertools

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.battery import LITHIUM, Bank, cold_share, rate_share
from stakeline.station.box import Box
from stakeline.station.year import StationEnergy, simulate_years, smallest_bank
from stakeline.station.year_outcome import CAUSES

HOURS = 8760
PLAIN = Bank(peukert=1.0, discharge_month=0.0, block_ohm=1e-6, charge_share=1.0)
BOX = Box()
STATION = StationEnergy(PLAIN, BOX, 0.5, 5.0)
WARM_DEGC = np.full(HOURS, 15.0)  # with 10 K of the load, the rated 25 degC in the box
NOTHING_W = np.zeros(HOURS)


def weather(years=4, seed=5):
    rng = np.random.default_rng(seed)
    season = np.cos(2 * np.pi * np.arange(HOURS) / HOURS)
    degrees = -22.0 + 18.0 * season + rng.normal(0.0, 4.0, (years, HOURS))
    sun = np.maximum(60.0 * season, 0.0) * rng.uniform(0.0, 1.0, (years, HOURS))
    return degrees, sun + 20.0 * (rng.uniform(size=(years, HOURS)) < 0.05)


@pytest.mark.parametrize("chemistry", ["lead-acid", LITHIUM])
@pytest.mark.parametrize("parallel", [1, 8, 40])
def test_energy_closes_in_each_year(chemistry, parallel):
    bank = Bank(chemistry=chemistry, parallel=parallel)
    box = Box(heater_W=3.0, heater_on_degC=-20.0, heater_off_degC=-15.0)
    station = StationEnergy(bank, box, 0.5, 5.0, peak_W=15.0)
    done = simulate_years(station, *weather())
    assert np.abs(done.balance).max() < 1e-9
    assert (done.lost_J > 0.0).all()
    assert (done.clipped_J <= done.offered_J).all()
    assert ((done.lowest_charge >= 0.0) & (done.end_J <= bank.full_J * (1 + 1e-12))).all()


def test_a_night_by_hand():
    # needs.md 2.2: 5 W at 12 V take 10 Ah a day; 1000 Ah last 100 days to the empty bank
    done = simulate_years(STATION, WARM_DEGC, NOTHING_W)
    assert done.first_off[0] / 24.0 == pytest.approx(100.0, abs=2.0)
    assert done.why[0] == "the bank was empty"
    assert done.load_J[0] == pytest.approx(5.0 * 3600.0 * done.first_off[0])
    assert done.longest_off_h[0] == HOURS - done.first_off[0]


def test_cold_shortens_it_by_its_share():
    cold = simulate_years(STATION, WARM_DEGC - 50.0, NOTHING_W)
    warm = simulate_years(STATION, WARM_DEGC, NOTHING_W)
    ratio = cold.first_off[0] / warm.first_off[0]
    # the switch opens at 11.5 V, the rested empty bank at -25 degC has 11.76 V, and each percent
    # overdrawn takes 0.06 V: 4.3 % more than the share
    assert ratio == pytest.approx(1.043 * cold_share(PLAIN, -25.0), abs=0.005)
    assert cold.why[0] == "the cold locked up what the bank still held"


def test_neither_load_nor_loss_leaves_the_bank_as_it_was():
    idle = dataclasses.replace(STATION, load_W=0.0)
    done = simulate_years(idle, WARM_DEGC, NOTHING_W, charge=0.8)
    assert done.end_J[0] == pytest.approx(0.8 * PLAIN.full_J, rel=1e-12)
    assert done.survived.all()
    assert done.cause[0] == done.first_off[0] + 1 == 0


def test_a_year_of_sun_is_taken_as_it_comes():
    done = simulate_years(STATION, WARM_DEGC, NOTHING_W + 5.0, charge=0.5)
    assert done.end_J[0] == pytest.approx(0.5 * PLAIN.full_J, rel=1e-9)
    assert done.load_J[0] == pytest.approx(done.offered_J[0])


def test_self_discharge_is_exponential():
    bank = dataclasses.replace(PLAIN, discharge_month=0.03)
    idle = StationEnergy(bank, BOX, 1e3, 0.0)
    done = simulate_years(idle, np.full(720, 20.0), np.zeros(720))
    assert done.end_J[0] / bank.full_J == pytest.approx(np.exp(-0.03), rel=1e-4)


def test_the_box_follows_its_surroundings():
    done = simulate_years(STATION, WARM_DEGC[:500], NOTHING_W[:500], keep_hours=True)
    hours = np.arange(1, 501)
    warmth = 5.0 / 0.5 * -np.expm1(-hours * 3600.0 * 0.5 / BOX.heat_J_K)
    assert done.trace[0, 2] == pytest.approx(15.0 + warmth, abs=0.02)


@pytest.mark.compiled
def test_more_of_anything_good_never_hurts():
    degrees, sun = weather(6)
    outage = [
        simulate_years(dataclasses.replace(STATION, bank=Bank(parallel=n)), degrees, sun).off_h
        for n in (2, 6, 12, 25)
    ]
    assert all((more <= less).all() for less, more in itertools.pairwise(outage))
    station = dataclasses.replace(STATION, bank=Bank(parallel=6))
    brighter = simulate_years(station, degrees, 1.5 * sun).off_h
    assert (brighter <= outage[1]).all()


def test_twice_the_station_is_the_same_station():
    degrees, sun = weather(2)
    one = StationEnergy(Bank(parallel=7), BOX, 0.5, 4.0)
    warm_as_one = dataclasses.replace(BOX, heat_J_K=2.0 * BOX.heat_J_K)
    two = StationEnergy(Bank(parallel=14), warm_as_one, 1.0, 8.0)
    first, second = simulate_years(one, degrees, sun), simulate_years(two, degrees, 2.0 * sun)
    assert second.end_J == pytest.approx(2.0 * first.end_J, rel=1e-9)
    assert (first.off_h == second.off_h).all()


def test_the_switch_has_two_limits():
    done = simulate_years(STATION, WARM_DEGC, NOTHING_W, keep_hours=True)
    assert (np.diff(done.trace[0, 1]) <= 0.0).all()  # off once, without flicker
    back = NOTHING_W.copy()
    back[5000:] = 200.0
    done = simulate_years(STATION, WARM_DEGC, back, keep_hours=True)
    on = done.trace[0, 1]
    assert on[4999] == 0.0
    assert on[-1] == 1.0
    returned = 5000 + int(np.argmax(on[5000:]))
    assert done.trace[0, 0, returned] > done.trace[0, 0, 4999]


def test_a_cold_bank_wakes_in_bursts_when_charging_lifts_its_voltage():
    # without loads the voltage is that of the whole charge, with them that of what the cold leaves
    bank = Bank(reconnect_V=12.4, parallel=6)
    station = dataclasses.replace(STATION, bank=bank)
    degrees, light = WARM_DEGC - 50.0, NOTHING_W.copy()
    light[6000:] = 24.0 * (np.arange(2760) % 24 < 2)
    on = simulate_years(station, degrees, light, keep_hours=True).trace[0, 1]
    dead = int(np.argmin(on))
    assert (on[dead:6000] == 0.0).all()
    assert (np.diff(on[6000:6240]) > 0.0).sum() >= 3
    assert on[6000:6240].mean() < 0.5
    stiff = dataclasses.replace(bank, charging_ohm_100Ah=1e-6)
    dull = simulate_years(dataclasses.replace(station, bank=stiff), degrees, light, keep_hours=True)
    assert dull.trace[0, 1, 6000:6240].sum() < on[6000:6240].sum()


def test_the_peak_of_a_modem_can_be_the_end():
    # needs.md 3, case 14: dies when the modem dials
    bank = dataclasses.replace(PLAIN, parallel=10, block_ohm=0.1)
    station = StationEnergy(bank, BOX, 0.5, 5.0, peak_W=0.0)
    quiet = simulate_years(station, WARM_DEGC, NOTHING_W)
    loud = simulate_years(dataclasses.replace(station, peak_W=400.0), WARM_DEGC, NOTHING_W)
    assert loud.first_off[0] < quiet.first_off[0]
    assert loud.why[0] == "the peak load pulled the voltage below the switch"


def test_a_heater_can_empty_the_bank():
    # needs.md 3, case 15: empty in autumn by the heater's limits
    box = Box(heater_W=10.0, heater_on_degC=0.0, heater_off_degC=5.0, heater_least_V=0.0)
    degrees, sun = weather(2)
    heated = simulate_years(dataclasses.replace(STATION, box=box), degrees, sun)
    plain = simulate_years(STATION, degrees, sun)
    assert (heated.first_off < plain.first_off).all() or (plain.first_off < 0).all()
    assert (heated.heater_J > 0.4 * heated.load_J).all()
    careful = dataclasses.replace(box, heater_least_V=12.6)
    spared = simulate_years(dataclasses.replace(STATION, box=careful), degrees, sun)
    assert (spared.off_h < heated.off_h).all()


def test_a_thermostat_keeps_between_its_limits():
    box = Box(heater_W=40.0, heater_on_degC=-5.0, heater_off_degC=0.0)
    station = StationEnergy(dataclasses.replace(PLAIN, parallel=400), box, 0.5, 5.0)
    done = simulate_years(station, WARM_DEGC[:900] - 45.0, NOTHING_W[:900], keep_hours=True)
    degrees = done.trace[0, 2, 200:]
    assert degrees.min() > -6.0
    assert degrees.max() < 1.0


def test_lithium_is_never_charged_in_frost():
    bank = Bank(chemistry=LITHIUM, parallel=20, charge_share=0.95)
    station = StationEnergy(bank, BOX, 50.0, 5.0)
    degrees = np.full(HOURS, -0.6)
    done = simulate_years(station, degrees, NOTHING_W + 30.0, charge=0.5, keep_hours=True)
    assert (np.diff(done.trace[0, 0]) <= 0.0).all()
    assert done.refused_J[0] == pytest.approx(done.clipped_J[0])
    dark = np.where(np.arange(HOURS) % 24 < 8, 30.0, 0.0)
    done = simulate_years(station, degrees - 20.0, dark, charge=0.5)
    assert done.why[0] == "charging was forbidden in frost"


def test_lithium_is_charged_no_faster_than_its_maker_allows():
    # checks.md 1.4: a tenth of the capacity an hour from 0 to 10 degC, a fifth above
    bank = Bank(
        chemistry=LITHIUM,
        block_V=12.8,
        parallel=1,
        charge_share=1.0,
        discharge_month=0.0,
        charging_ohm_100Ah=1e-3,
    )
    station = StationEnergy(bank, BOX, 1e3, 0.0)
    for degrees, rate in ((0.2, 0.1), (9.7, 0.1), (10.5, 0.2)):
        done = simulate_years(
            station, np.full(4, degrees), np.full(4, 1e3), charge=0.05, keep_hours=True
        )
        assert np.diff(done.trace[0, 0]).max() == pytest.approx(rate, rel=1e-9)


def test_a_frozen_bank_is_counted():
    # checks.md 1.3: half charged freezes at about -35 degC
    station = StationEnergy(dataclasses.replace(PLAIN, parallel=40), BOX, 100.0, 0.0)
    for degrees, frozen in ((-30.0, 0), (-40.0, HOURS)):
        done = simulate_years(station, np.full(HOURS, degrees), NOTHING_W, charge=0.5)
        assert done.frozen_h[0] == frozen


def test_rows_of_many_years_are_those_of_one():
    degrees, sun = weather(3)
    together = simulate_years(STATION, degrees, sun)
    alone = simulate_years(STATION, degrees[1], sun[1])
    assert together.end_J[1] == alone.end_J[0]
    assert set(together.why) <= set(CAUSES)


@pytest.mark.compiled
def test_the_smallest_bank_is_the_smallest():
    degrees, sun = weather(2)
    least = smallest_bank(STATION, degrees, sun)
    for parallel, lives in ((least, True), (least - 1, False)):
        station = dataclasses.replace(STATION, bank=dataclasses.replace(PLAIN, parallel=parallel))
        assert simulate_years(station, degrees, sun).survived.all() == lives
    with pytest.raises(SettingsError, match="even 3 strings of 100 Ah do not last"):
        smallest_bank(STATION, degrees, 0.0 * sun, most=3)


def test_slow_discharge_counts():
    assert rate_share(Bank(), 5.0 / 12.0) > 1.0
    slow = dataclasses.replace(STATION, bank=dataclasses.replace(PLAIN, peukert=1.1))
    cold = WARM_DEGC - 50.0
    gain = (
        simulate_years(slow, cold, NOTHING_W).first_off
        / simulate_years(STATION, cold, NOTHING_W).first_off
    )
    assert gain[0] == pytest.approx(5.0**0.1, rel=0.02)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"surroundings_degC": np.zeros(5)}, "expected the same years and hours"),
        ({"offered_W": np.where(np.arange(HOURS) == 7, np.nan, 1.0)}, "missing in year 0, hour 7"),
        ({"offered_W": NOTHING_W - 1.0}, "offered_W: lowest -1 W; expected 0 or more"),
        ({"load_W": np.zeros(3)}, "expected one value for each of 8760 hours"),
        ({"charge": 80.0}, "charge 80: expected 0 to 1"),
    ],
)
def test_refusals(change, sentence):
    given = {"surroundings_degC": WARM_DEGC, "offered_W": NOTHING_W} | change
    with pytest.raises(SettingsError, match=sentence):
        simulate_years(STATION, **given)


def test_a_station_without_walls_is_refused():
    with pytest.raises(SettingsError, match="expected a loss above 0"):
        StationEnergy(PLAIN, BOX, 0.0, 5.0)
