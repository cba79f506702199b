"""Hydraulic head: published numbers, limits, planes, datums, ice afloat."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.lakes.potential import (
    above_geoid_m,
    afloat,
    hydraulic_head_m,
    potential_Pa,
    slope_ratio,
)

RNG = np.random.default_rng(3)
BED_M = RNG.uniform(-500.0, 200.0, (6, 7))
SURFACE_M = BED_M + RNG.uniform(0.0, 900.0, (6, 7))


@pytest.mark.parametrize(
    ("ice", "ratio"),
    # checks.md 5.1: Shreve (1972) with densities of 917, 910 and 900 kg/m3
    [(917.0, 11.048), (910.0, 10.111), (900.0, 9.000)],
)
def test_a_surface_slope_outweighs_a_bed_slope(ice, ratio):
    assert slope_ratio(1.0, ice, 1000.0) == pytest.approx(ratio, abs=6e-4)
    surface = hydraulic_head_m(np.array([1001.0]), np.array([0.0]), ice_kg_m3=ice)
    bed = hydraulic_head_m(np.array([1000.0]), np.array([1.0]), ice_kg_m3=ice)
    level = hydraulic_head_m(np.array([1000.0]), np.array([0.0]), ice_kg_m3=ice)
    assert (surface - level) / (bed - level) == pytest.approx(ratio, abs=6e-4)


def test_hand_example():
    # checks.md 5.1: S 1000, B -500 -> 8588655 Pa, 875.5 m of head
    head = hydraulic_head_m(np.array([1000.0]), np.array([-500.0]))
    assert head == pytest.approx(875.5, abs=1e-9)
    assert potential_Pa(head) == pytest.approx(8588655.0, abs=0.5)
    # S +10, B -100 -> +8534.7 Pa: still uphill; balanced by a bed 110.48 m lower
    change = hydraulic_head_m(np.array([1010.0]), np.array([-600.0])) - head
    assert potential_Pa(change) == pytest.approx(8534.7, abs=0.1)
    balanced = hydraulic_head_m(np.array([1010.0]), np.array([-610.48])) - head
    assert balanced == pytest.approx(0.0, abs=1e-3)


def test_limits_of_flotation():
    # Shreve (1972): pressure of the air, head is the bed; whole weight of ice under 1/1 density too
    assert hydraulic_head_m(SURFACE_M, BED_M, 0.0) == pytest.approx(BED_M, abs=1e-12)
    whole = hydraulic_head_m(SURFACE_M, BED_M, 1.0)
    assert whole == pytest.approx(BED_M + 0.917 * (SURFACE_M - BED_M), abs=1e-10)
    half = hydraulic_head_m(SURFACE_M, BED_M, 0.5)
    assert half == pytest.approx(0.5 * (whole + BED_M), abs=1e-10)


@pytest.mark.parametrize("flotation", [0.0, 0.7, 1.0])
def test_plane(flotation):
    # gradient of Shreve's equation: k r dS + (1 - k r) dB
    x, y = np.meshgrid(np.arange(8) * 100.0, np.arange(6) * 100.0)
    surface, bed = 900.0 - 0.01 * x + 0.002 * y, 100.0 + 0.03 * x - 0.01 * y
    north, east = np.gradient(hydraulic_head_m(surface, bed, flotation), 100.0)
    weight = flotation * 0.917
    assert east == pytest.approx(np.full_like(x, -0.01 * weight + 0.03 * (1 - weight)), abs=1e-12)
    assert north == pytest.approx(np.full_like(x, 0.002 * weight - 0.01 * (1 - weight)), abs=1e-12)


def test_bowl_over_which_the_head_is_level():
    # a lake: where the surface answers a bowl of the bed by -(1 - r) / r, the head is level
    x, y = np.meshgrid(np.linspace(-1, 1, 9), np.linspace(-1, 1, 9))
    bowl = 100.0 * (x**2 + y**2)
    head = hydraulic_head_m(800.0 - bowl * 0.083 / 0.917, -200.0 + bowl)
    assert np.ptp(head) == pytest.approx(0.0, abs=1e-10)


def test_datum():
    geoid = 25.0 + 0.3 * np.arange(7)
    ellipsoid = hydraulic_head_m(SURFACE_M + geoid, BED_M + geoid, geoid_m=geoid)
    assert ellipsoid == pytest.approx(hydraulic_head_m(SURFACE_M, BED_M), abs=1e-10)
    assert above_geoid_m(BED_M + geoid, geoid) == pytest.approx(BED_M, abs=1e-10)
    constant = hydraulic_head_m(SURFACE_M + 40.0, BED_M + 40.0, 0.8)
    assert constant - hydraulic_head_m(SURFACE_M, BED_M, 0.8) == pytest.approx(
        np.full((6, 7), 40.0), abs=1e-10
    )


def test_missing_stays_missing():
    surface, bed = SURFACE_M.copy(), BED_M.copy()
    surface[1, 2] = bed[3, 4] = np.nan
    missing = np.isnan(hydraulic_head_m(surface, bed))
    assert np.argwhere(missing).tolist() == [[1, 2], [3, 4]]


def test_a_bed_a_little_above_the_surface_carries_no_ice():
    assert hydraulic_head_m(np.array([99.0]), np.array([100.0])) == pytest.approx(100.0)


def test_afloat():
    # Archimedes: 1028 - 917 of 1028 above the sea: 100 m of ice afloat stand 10.80 m high
    surface = np.array([10.7977, 10.7977, 40.0, 0.0, 50.0])
    bed = np.array([-200.0, -80.0, -200.0, -300.0, 50.0])
    assert afloat(surface, bed, 0.0).tolist() == [True, False, False, True, False]
    assert afloat(surface + 26.0, bed + 26.0, 26.0).tolist() == [True, False, False, True, False]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((SURFACE_M, BED_M[:3]), r"\(6, 7\), the bed \(3, 7\)"),
        ((SURFACE_M, BED_M, 1.2), "between 0 and 1"),
        ((SURFACE_M, BED_M, np.nan), "between 0 and 1"),
        ((BED_M - 40.0, BED_M), "heights above the ellipsoid, or both above the geoid"),
        ((BED_M * np.nan, BED_M), "no cell in common"),
    ],
)
def test_refused(arguments, words):
    with pytest.raises(SettingsError, match=words):
        hydraulic_head_m(*arguments)


def test_densities_exchanged():
    with pytest.raises(SettingsError, match="densities of ice 1000"):
        hydraulic_head_m(SURFACE_M, BED_M, ice_kg_m3=1000.0, water_kg_m3=917.0)
