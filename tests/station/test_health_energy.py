"""The balance closes, a drain that no meter sees is what is left, and silence says nothing."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.station.battery import rest_V
from stakeline.station.health_energy import (
    SPAN_D,
    TERMS,
    balance_of,
    designed_loss_W_K,
    energy_days,
    night_before,
    stored_Wh,
)
from stakeline.station.health_expected import expected
from stakeline.station.health_fit import fit_bank, nights_of
from stakeline.station.turbine import Turbine

from .health_example import BANK, CAPACITY_AH, LOAD_A, design, telemetry

DAYS = 60
SIGNS = np.array([1.0, 1.0, -1.0, -1.0, -1.0, 1.0])


def energy_of(hours, made=None, charge=None):
    """Return (columns, nights, course) of a station's hours; ``charge``: instead of the fit's."""
    made = made or design()
    could = expected(made, hours.read_ns, hours.air_degC, hours.wind_m_s)
    nights = nights_of(hours, BANK)
    course = fit_bank(BANK, nights, np.random.default_rng(1))
    course = course if charge is None else replace(course, charge=charge)
    return energy_days(hours, made, could, nights, course), nights, course


@pytest.fixture(scope="module")
def even():
    return energy_of(telemetry(DAYS)[0])


def balance(columns, place=-1):
    return np.array([columns[f"balance_{name}_Wh_d"][place] for name in TERMS])


def test_the_balance_closes_on_every_day_that_has_one(even):
    columns, _, _ = even
    told = np.flatnonzero(columns["balance_days"])
    assert told.size >= DAYS - SPAN_D - 1
    for day in told:
        assert balance(columns, day) @ SIGNS == pytest.approx(0.0, abs=1e-9)


def test_nothing_is_left_where_meters_see_all_and_a_hidden_drain_is(even):
    columns, _, _ = even
    sigma = columns["balance_sigma_Wh_d"]
    told = np.isfinite(sigma)
    off = columns["balance_unexplained_Wh_d"]
    assert (np.abs(off[told]) < 2.0 * sigma[told]).mean() > 0.9
    hidden, _ = telemetry(DAYS, load_A=2.0 * LOAD_A)
    hidden.columns["load_A"][:] = LOAD_A
    seen = energy_of(hidden)[0]
    assert seen["balance_unexplained_Wh_d"][14] < off[14] - 0.4 * 24.0 * 12.0 * LOAD_A


def test_load_is_what_was_drawn_and_its_scatter_none(even):
    columns, _, _ = even
    watt = columns["load_Wh"][-10:].sum() / 240.0
    assert columns["load_W"][-1] == pytest.approx(watt, rel=1e-12)
    assert columns["load_sigma_W"][-1] < 0.01 * watt
    assert columns["load_days"][-1] == 10


def test_loss_of_the_box_is_load_by_warmth(even):
    columns, _, _ = even
    watt = columns["load_Wh"][-30:].sum() / 720.0
    assert columns["box_loss_W_K"][-1] == pytest.approx(watt / 5.0, rel=1e-9)
    cold, _ = telemetry(DAYS)
    cold.columns["air_degC"][:] = cold.box_degC
    assert np.isnan(energy_of(cold)[0]["box_loss_W_K"]).all()
    assert designed_loss_W_K(design()) > 0.0


def test_the_turbine_s_share_is_of_what_the_wind_offers():
    wind = 6.0 + 3.0 * np.sin(np.arange(24 * DAYS) / 7.0)
    made = design(turbine=Turbine(), panels=())
    hours, _ = telemetry(DAYS, wind_m_s=wind, charge=0.7)
    could = expected(made, hours.read_ns, hours.air_degC, hours.wind_m_s)
    hours.columns["turbine_A"] = 0.5 * could.turbine_W / hours.battery_V
    columns = energy_of(hours, made, np.full(DAYS, 0.6))[0]
    told = np.isfinite(columns["turbine_share"])
    assert told.any()
    np.testing.assert_allclose(columns["turbine_share"][told], 0.5, rtol=1e-9)
    np.testing.assert_allclose(columns["turbine_share_sigma"][told], 0.0, atol=1e-6)


def test_stored_between_two_nights_is_what_the_law_says(even):
    _, nights, course = even
    gained, sigma = stored_Wh(BANK, course.clouds[-1], nights, DAYS - 11, DAYS - 1)
    drawn = -nights.out_Ah[DAYS - 10 :].sum() * BANK.nominal_V
    assert abs(gained - drawn) < 2.0 * sigma
    back, same = stored_Wh(BANK, course.clouds[-1], nights, DAYS - 1, DAYS - 11)
    assert back == pytest.approx(-gained, rel=1e-12)
    assert same == pytest.approx(sigma, rel=1e-12)


def test_without_nights_or_readings_there_is_no_balance(even):
    columns, nights, course = even
    dark = replace(nights, rest_V=np.full(DAYS, np.nan), full=np.zeros(DAYS, bool))
    silent = replace(nights, hours=np.zeros(DAYS, int))
    for other in (dark, silent):
        assert balance_of(BANK, other, course, columns, DAYS - 1)[-1] == 0
    assert night_before(nights, -1, 3) is None
    assert night_before(dark, DAYS - 1, 3) is None
    assert night_before(nights, DAYS - 1, 3) == DAYS - 1


def test_days_charged_and_full_are_counted():
    hours, _ = telemetry(20)
    charged = np.repeat(np.arange(20) % 4 == 0, 24)
    hours.columns["panel_A"][charged] = LOAD_A + 0.01 * CAPACITY_AH / 24.0
    hours.columns["battery_V"][:] = np.where(charged, 15.4, float(rest_V(BANK, 0.9, -20.0)))
    columns = energy_of(hours)[0]
    np.testing.assert_array_equal(columns["charged"] == 1.0, np.arange(20) % 4 == 0)
    np.testing.assert_array_equal(columns["full"] == 1.0, np.arange(20) % 4 == 0)
