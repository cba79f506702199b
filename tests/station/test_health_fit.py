"""A bank of known capacity, drawn evenly in the dark, is found again; and what it holds."""

import numpy as np
import pytest

from stakeline.station.battery import rest_V
from stakeline.station.health_fit import (
    cloud_V,
    first_cloud,
    fit_bank,
    left_V,
    nights_of,
    settled,
)

from .health_example import BANK, CAPACITY_AH, design, telemetry


@pytest.fixture(scope="module")
def course():
    hours, left = telemetry()
    nights = nights_of(hours, BANK)
    return nights, fit_bank(BANK, nights, np.random.default_rng(1)), left


def test_capacity_and_charge_are_found_within_three_sigmas(course):
    _, fit, left = course
    assert abs(fit.capacity_Ah[-1] - CAPACITY_AH) < 3.0 * fit.capacity_sigma_Ah[-1]
    assert abs(fit.charge[-1] - left[-1]) < 3.0 * fit.charge_sigma[-1]
    assert fit.capacity_sigma_Ah[-1] < 0.6 * fit.capacity_sigma_Ah[0]


@pytest.mark.parametrize("capacity", [250.0, 700.0])
def test_a_bank_that_is_not_its_name_plate_is_told(capacity):
    hours, _ = telemetry(days=70, capacity_Ah=capacity)
    fit = fit_bank(BANK, nights_of(hours, BANK), np.random.default_rng(2))
    assert abs(fit.capacity_Ah[-1] - CAPACITY_AH) > 0.5 * abs(capacity - CAPACITY_AH)
    assert abs(fit.capacity_Ah[-1] - capacity) < 0.4 * capacity


def test_energy_drawn_is_counted_by_the_nominal_voltage(course):
    nights, _, left = course
    np.testing.assert_allclose(nights.out_Ah.sum(), (left[0] - left[-1]) * CAPACITY_AH, rtol=2e-3)
    assert nights.in_Ah.sum() == 0.0
    assert (nights.hours == 24).all()


def test_weights_are_shares_and_the_same_seed_gives_the_same(course):
    nights, fit, _ = course
    for cloud in fit.clouds[::20]:
        assert cloud.weight.sum() == pytest.approx(1.0)
        assert ((cloud.charge > 0.0) & (cloud.charge <= 1.0)).all()
    again = fit_bank(BANK, nights, np.random.default_rng(1))
    np.testing.assert_array_equal(again.capacity_Ah, fit.capacity_Ah)


def test_what_is_said_of_a_day_does_not_depend_on_later_ones(course):
    nights, fit, _ = course
    short = type(nights)(*(getattr(nights, name)[:30] for name in nights.__dataclass_fields__))
    early = fit_bank(BANK, short, np.random.default_rng(1))
    np.testing.assert_array_equal(early.charge, fit.charge[:30])


def test_the_law_is_the_plain_ones_middle_and_straight_at_full_bend():
    cloud = first_cloud(BANK, np.random.default_rng(3)).mean
    plain = type(cloud)(**(cloud.__dict__ | {"offset_V": 0.0, "span": 1.0, "bend": 0.0}))
    share = np.linspace(0.0, 1.0, 11)
    np.testing.assert_allclose(left_V(BANK, plain, share, -20.0), rest_V(BANK, share, -20.0))
    straight = type(cloud)(**(plain.__dict__ | {"bend": 1.0}))
    assert np.abs(np.diff(left_V(BANK, straight, share, -20.0), 2)).max() < 1e-12


def test_settled_clouds_meet_the_last_night(course):
    nights, fit, _ = course
    cloud = settled(BANK, fit.clouds[-1], nights, len(fit.clouds))
    volts = cloud_V(BANK, cloud, nights.rest_degC[-1], nights.rest_A[-1])
    np.testing.assert_allclose(volts, nights.rest_V[-1], atol=1e-9)


def test_a_station_that_is_charged_has_a_full_bank():
    hours, _ = telemetry(days=20)
    volts = np.full(hours.rows.size, 15.4)
    hours.columns["battery_V"][:] = volts
    hours.columns["panel_A"][:] = 0.3
    fit = fit_bank(design().bank, nights_of(hours, BANK), np.random.default_rng(4))
    assert fit.charge[-1] > 0.95
