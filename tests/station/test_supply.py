"""Pulses and restart loops: limits, the quadratic of constant power, hysteresis that calms."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.battery import Bank
from stakeline.station.rules_power import dark_minutes, first_sun_minutes
from stakeline.station.supply import (
    TICK_S,
    Supply,
    at_load_V,
    calm_reconnect_V,
    pulse_course,
    switch_course,
    unseen_share,
)

SMALL = Bank(parallel=1, block_ohm=0.02)


@pytest.mark.parametrize("ohm", [0.0, 0.01, 0.3])
def test_constant_power_is_kept(ohm):
    power = np.array([0.0, 1.0, 30.0])
    left = at_load_V(12.0, power, ohm)
    if ohm:
        np.testing.assert_allclose(left * (12.0 - left) / ohm, power, atol=1e-9)
    assert left[0] == 12.0
    assert (np.diff(left) <= 0.0).all()


def test_beyond_a_quarter_of_e_squared_by_r_the_voltage_collapses():
    assert at_load_V(12.0, 35.9, 1.0) == pytest.approx(6.0, abs=0.4)
    assert np.isnan(at_load_V(12.0, 36.1, 1.0))


def test_a_pulse_without_resistance_leaves_the_voltage_alone():
    calm = pulse_course(Supply(Bank(block_ohm=1e-12), 20.0, 0.0), 0.8, 2.0, 15.0, 0.5)
    assert np.ptp(calm.load_V) < 1e-6
    assert not calm.resets


def test_a_pulse_lasts_as_long_as_it_is_said_to():
    course = pulse_course(Supply(SMALL, -40.0), 0.8, 2.0, 15.0, 0.5)
    low = course.load_V < course.load_V[0] - 1e-6
    assert low.sum() * TICK_S == pytest.approx(0.5)
    assert course.lowest_V == course.load_V.min()
    assert course.load_V[-1] == course.load_V[0]


def test_short_pulses_fall_between_the_looks():
    # the share seen in simulation is peak / sample: the same as the formula
    seen = [
        pulse_course(Supply(SMALL, -20.0), 0.7, 2.0, 15.0, 0.3, phase=phase).seen
        for phase in np.arange(100) / 100.0
    ]
    assert 1.0 - np.mean(seen) == pytest.approx(unseen_share(0.3), abs=0.02)
    assert pulse_course(Supply(SMALL, -20.0), 0.7, 2.0, 15.0, 0.3, sample_s=0.0).seen


def test_a_pulse_resets_what_the_switch_never_saw():
    supply = Supply(Bank(parallel=1, block_ohm=0.1), -45.0, 0.4)
    told = {"needs_V": 10.5, "phase": 0.9}
    course = pulse_course(supply, 0.75, 4.0, 30.0, 0.05, **told)
    assert course.resets
    assert not course.opens


@pytest.mark.parametrize("degrees", [-40.0, -20.0, 0.0])
def test_the_charge_at_the_cut_is_where_the_voltage_says(degrees):
    supply = Supply(Bank(), degrees)
    charge = supply.charge_at_cut(4.5)
    under = at_load_V(supply.working_V(charge), 4.5, supply.ohm)
    assert under == pytest.approx(supply.bank.switch_V[0], abs=0.06)
    assert supply.resting_V(charge) > supply.working_V(charge)


def test_a_colder_bank_is_cut_off_with_more_left():
    left = [Supply(Bank(), t).charge_at_cut(4.5) for t in (-50.0, -30.0, -10.0, 10.0)]
    assert (np.diff(left) < 0.0).all()


def test_limits_that_lie_close_make_a_loop_and_wide_ones_do_not():
    supply, dark = Supply(Bank(), -40.0), dark_minutes()
    begin = supply.charge_at_cut(4.5)
    count = [
        switch_course(supply, begin, 4.5, dark, reconnect_V=back).starts
        for back in (11.6, 11.8, 12.0, 12.2, 12.6)
    ]
    assert count == sorted(count, reverse=True)
    assert count[0] > 50
    assert count[-1] == 0


def test_the_voltage_advised_is_the_least_that_calms():
    supply, sun = Supply(Bank(), -20.0), first_sun_minutes(4.5)
    back = calm_reconnect_V(supply, 4.5, sun)
    begin = supply.charge_at_cut(4.5)
    assert switch_course(supply, begin, 4.5, sun, reconnect_V=back).starts_a_day <= 1.0
    assert switch_course(supply, begin, 4.5, sun, reconnect_V=back - 0.1).starts_a_day > 1.0


def test_energy_goes_only_where_it_may():
    supply = Supply(Bank(parallel=2), -10.0)
    still = switch_course(supply, 0.9, 5.0, np.full(600, 5.0))
    assert np.ptp(still.charge) == 0.0
    falling = switch_course(supply, 0.9, 5.0, np.zeros(600))
    used = (0.9 - falling.charge[-1]) * supply.bank.full_J
    assert used == pytest.approx(600 * 60.0 * 5.0, rel=1e-9)
    full = switch_course(supply, 0.99, 5.0, np.full(6000, 50.0))
    assert full.charge.max() == 1.0


def test_what_is_no_pulse_is_refused():
    supply = Supply(SMALL, 0.0)
    with pytest.raises(SettingsError, match="peak_s is 0"):
        pulse_course(supply, 0.5, 1.0, 1.0, 0.0)
    with pytest.raises(SettingsError, match="phase 1: expected 0 to below 1"):
        pulse_course(supply, 0.5, 1.0, 1.0, 1.0, phase=1.0)
    with pytest.raises(SettingsError, match="lead_ohm is -1"):
        Supply(SMALL, 0.0, -1.0)
