"""Bending and sway of a mast: limits, a second formula, published values."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station import mast

POLE = mast.Tube(3.0, 0.06, 0.003)


def test_bending_by_integrating_the_beam():
    # second formula: twice integrated moment over stiffness
    top, along = 120.0, 40.0
    x = np.linspace(0.0, POLE.free_m, 20001)
    rest = POLE.free_m - x
    curvature = (top * rest + along * rest**2 / 2.0) / POLE.stiffness_Nm2
    step = x[1]
    slope = np.concatenate([[0.0], np.cumsum((curvature[1:] + curvature[:-1]) / 2.0) * step])
    aside = np.sum((slope[1:] + slope[:-1]) / 2.0) * step
    result = mast.bending(POLE, top, along)
    assert result.top_mm == pytest.approx(1e3 * aside, rel=1e-6)
    # stress: what the fibres carry balances the moment
    r = np.linspace(POLE.inner_m / 2.0, POLE.diameter_m / 2.0, 2001)
    carried = np.pi * r**3 * result.stress_Pa / (POLE.diameter_m / 2.0)
    assert np.sum((carried[1:] + carried[:-1]) / 2.0) * (r[1] - r[0]) == pytest.approx(
        result.moment_Nm, rel=1e-5
    )
    assert result.safety == pytest.approx(160e6 / result.stress_Pa)


def test_sinking_of_a_bent_mast_by_its_arc_length():
    result = mast.bending(POLE, 60.0)
    x = np.linspace(0.0, POLE.free_m, 10001)
    slope = 60.0 * (POLE.free_m * x - x**2 / 2.0) / POLE.stiffness_Nm2
    half = slope**2 / 2.0
    assert result.drop_mm == pytest.approx(
        1e3 * np.sum((half[1:] + half[:-1]) / 2.0) * x[1], rel=1e-4
    )


def test_no_wind_no_bend():
    result = mast.bending(POLE, 0.0)
    assert (result.top_mm, result.stress_Pa, result.safety) == (0.0, 0.0, np.inf)


@pytest.mark.parametrize(
    ("tilt_deg", "aside_m", "down_m"), [(5.0, 0.26, 0.011), (10.0, 0.52, 0.046)]
)
def test_leaning_mast_of_three_metres(tilt_deg, aside_m, down_m):
    # 3 m: 26 and 52 cm aside, 1.1 and 4.6 cm down (arithmetic of the geometry)
    assert mast.lean(3.0, tilt_deg) == pytest.approx((aside_m, down_m), abs=0.005)
    aside, down = mast.lean(3.0, tilt_deg)
    assert np.hypot(aside, 3.0 - down) == pytest.approx(3.0)


def test_sway_without_a_mass_on_top():
    # 1.875104^2 = 3.516015 (textbooks on vibration)
    expected = 3.516015 / (2.0 * np.pi * 9.0) * np.sqrt(POLE.stiffness_Nm2 / POLE.mass_kg_m)
    assert mast.natural_frequency(POLE) == pytest.approx(expected, rel=1e-6)


def test_heavy_top_sways_as_a_spring_with_a_mass():
    heavy = 1e4 * POLE.mass_kg_m * POLE.free_m
    spring = 3.0 * POLE.stiffness_Nm2 / POLE.free_m**3
    expected = np.sqrt(spring / heavy) / (2.0 * np.pi)
    assert mast.natural_frequency(POLE, heavy) == pytest.approx(expected, rel=1e-4)


@pytest.mark.parametrize("top_kg", [0.5, 3.0, 10.0])
def test_sway_against_rayleigh(top_kg):
    # Rayleigh's quotient with the shape of a tip load (33/140 of the mass on top): an upper bound,
    # 1.5 % too high at most
    spring = 3.0 * POLE.stiffness_Nm2 / POLE.free_m**3
    moving = top_kg + 33.0 / 140.0 * POLE.mass_kg_m * POLE.free_m
    bound = np.sqrt(spring / moving) / (2.0 * np.pi)
    assert 0.984 * bound < mast.natural_frequency(POLE, top_kg) < bound


def test_vortices_meet_the_sway_at_the_critical_wind():
    answer = mast.sway_at(12.0, 0.06)
    assert mast.vortex_frequency(answer.critical_m_s, 0.06) == pytest.approx(12.0)
    low, high = answer.shaken_m_s
    assert low < answer.critical_m_s < high
    assert mast.sway_at(12.0, 0.12).critical_m_s == pytest.approx(2.0 * answer.critical_m_s)


def test_thick_tube_of_steel_is_stiffer():
    steel = mast.Tube(3.0, 0.06, 0.003, "steel")
    assert mast.bending(steel, 100.0).top_mm == pytest.approx(
        mast.bending(POLE, 100.0).top_mm / 3.0
    )


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: mast.Tube(3.0, 0.06, 0.04), "wall of half the diameter at most"),
        (lambda: mast.Tube(3.0, 0.06, 0.003, "wood"), "'wood' is not known; known are aluminium"),
        (lambda: mast.natural_frequency(POLE, -1.0), "expected 0 or more"),
    ],
)
def test_impossible_masts_are_refused(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()
