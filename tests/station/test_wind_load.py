"""Forces of the wind: symmetry, sums and moments, rime, published values."""

import dataclasses

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station import wind_load as loads
from stakeline.station.cautions import STORM

PANEL = loads.Part("panel", "plate", 0.65, 1.2, (0.0, 0.0, 2.0), 8.0, facing_deg=180.0)
BOX = loads.Part("box", "box", 0.6, 0.5, (0.5, 0.0, 0.3), 60.0)
MAST = loads.Part("mast", "cylinder", 0.06, 3.0, (0.0, 0.0, 1.5), 6.0)
DOME = loads.Part("antenna", "antenna", 0.2, 0.1, (0.0, 0.0, 3.0), 0.6)
ROTOR = loads.Part("turbine", "rotor running", 1.1, 1.1, (0.0, 0.0, 3.0), 6.0)
ALL = (PANEL, BOX, MAST, DOME, ROTOR)


def test_panel_square_to_fifty_metres_a_second():
    # 0.65 m by 1.2 m, 1.2, 1532.5 Pa: 1434.4 N (arithmetic of the handbook's formula);
    # at 2.0 m: 2868.8 N m
    load = loads.wind_load([PANEL], 50.0, 180.0, 1.226)
    assert load.force_N == pytest.approx([0.0, 1434.4, 0.0], abs=0.1)
    assert load.overturning_Nm == pytest.approx(2868.8, abs=0.2)
    assert STORM in load.cautions


def test_plate_is_the_same_from_either_side_and_free_along_its_edge():
    front, back = (loads.part_force(PANEL, 40.0, side, 1.3) for side in (180.0, 0.0))
    assert front == pytest.approx(-back, abs=1e-9)
    assert loads.part_force(PANEL, 40.0, 90.0, 1.3) == pytest.approx(np.zeros(3), abs=1e-9)
    left, right = (loads.part_force(PANEL, 40.0, 180.0 + a, 1.3) for a in (-35.0, 35.0))
    assert left == pytest.approx(right, rel=1e-12, abs=1e-9)  # normal to the plate either way


def test_tilted_panel_is_lifted_from_behind_and_pressed_from_the_front():
    tilted = dataclasses.replace(PANEL, tilt_deg=60.0)
    assert loads.part_force(tilted, 40.0, 180.0, 1.3)[2] < 0.0
    assert loads.part_force(tilted, 40.0, 0.0, 1.3)[2] > 0.0
    flat = dataclasses.replace(PANEL, tilt_deg=0.0)
    assert loads.part_force(flat, 40.0, 180.0, 1.3) == pytest.approx(np.zeros(3), abs=1e-9)


def test_plate_coefficient_has_its_limits():
    assert loads.plate_coefficient(np.pi / 2.0) == pytest.approx(loads.PLATE, rel=1e-12)
    assert loads.plate_coefficient(0.0) == 0.0
    assert np.all(np.diff(loads.plate_coefficient(np.linspace(0.0, np.pi / 2.0, 50))) > 0.0)


@pytest.mark.parametrize("part", ALL)
def test_twice_the_wind_is_four_times_the_force(part):
    # rimed, so that a tube's coefficient does not change with speed
    slow, fast = (loads.part_force(part, v, 200.0, 1.3, rime_m=0.01) for v in (20.0, 40.0))
    assert fast == pytest.approx(4.0 * slow, rel=1e-12)


@pytest.mark.parametrize("part", [BOX, MAST, DOME, ROTOR])
def test_bodies_are_pushed_along_the_wind(part):
    for side in (0.0, 90.0, 225.0):
        force = loads.part_force(part, 30.0, side, 1.3)
        towards = -np.array([np.sin(np.radians(side)), np.cos(np.radians(side)), 0.0])
        assert np.cross(force, towards) == pytest.approx(np.zeros(3), abs=1e-9)
        assert force @ towards > 0.0


def test_sum_and_moment_are_those_of_the_parts():
    load = loads.wind_load(ALL, 45.0, 250.0, 1.4, rime_m=0.02)
    single = [loads.wind_load([part], 45.0, 250.0, 1.4, rime_m=0.02) for part in ALL]
    assert load.force_N == pytest.approx(sum(one.force_N for one in single))
    assert load.moment_Nm == pytest.approx(sum(one.moment_Nm for one in single))
    assert load.weight_N == pytest.approx(sum(one.weight_N for one in single))


def test_turning_wind_and_station_together_turns_the_force():
    turned = dataclasses.replace(PANEL, facing_deg=250.0)
    there = loads.wind_load([PANEL], 40.0, 200.0, 1.3)
    here = loads.wind_load([turned], 40.0, 270.0, 1.3)
    assert np.linalg.norm(here.force_N) == pytest.approx(np.linalg.norm(there.force_N))
    assert here.overturning_Nm == pytest.approx(there.overturning_Nm)


def test_rotor_at_the_limit_of_betz():
    # thrust 8/9 on the disc (momentum theory)
    expected = 8.0 / 9.0 * 0.5 * 1.225 * 100.0 * np.pi / 4.0 * 1.1**2
    assert loads.part_force(ROTOR, 10.0, 0.0, 1.225)[1] == pytest.approx(-expected, rel=1e-3)


@pytest.mark.parametrize(
    ("shape", "expected"), [("lattice square", 2.980), ("lattice triangle", 2.596)]
)
def test_lattice_mast(shape, expected):
    # solidity 0.2 (TIA-222 / ASCE 7, from memory)
    assert loads.lattice_coefficient(shape, 0.2) == pytest.approx(expected, abs=5e-4)
    tower = loads.Part("tower", shape, 0.3, 3.0, (0.0, 0.0, 1.5), 20.0, solidity=0.2)
    force = loads.part_force(tower, 50.0, 0.0, 1.226)
    assert force == pytest.approx([0.0, -expected * 1532.5 * 0.2 * 0.9, 0.0], rel=1e-3)
    # less than a solid box of its outline, bare or rimed shut
    solid = loads.part_force(dataclasses.replace(BOX, width_m=0.3, length_m=3.0), 50.0, 0.0, 1.226)
    assert np.linalg.norm(force) < np.linalg.norm(solid)
    iced = loads.part_force(tower, 50.0, 0.0, 1.226, rime_m=0.01)
    assert np.linalg.norm(iced) > np.linalg.norm(force)


def test_drag_of_tubes_through_the_crisis():
    # 1.2 below, 0.6 to 0.7 above the critical Reynolds number (handbooks, from memory)
    assert loads.cylinder_drag(1e4) == 1.2
    assert loads.cylinder_drag(1e6) == pytest.approx(0.7)
    assert loads.cylinder_drag(1e6, rimed=True) == 1.2
    assert 0.7 < loads.cylinder_drag(3e5) < 1.2
    # viscosity at 15 degC 1.7894e-5 Pa s (ISO 2533, table of sea level)
    assert loads.reynolds_number(10.0, 0.1, 1.225, 15.0) == pytest.approx(
        1.225 / 1.7894e-5, rel=1e-4
    )


def test_rime_adds_area_and_mass_and_none_adds_nothing():
    assert loads.rimed(MAST, 0.0) == (0.06, 3.0, 6.0)
    width, _, mass = loads.rimed(MAST, 0.03, 500.0)
    assert width == pytest.approx(0.12)
    assert mass - 6.0 == pytest.approx(500.0 * np.pi / 4.0 * (0.12**2 - 0.06**2) * 3.0)
    assert loads.rimed(PANEL, 0.02, 500.0)[2] - 8.0 == pytest.approx(500.0 * 0.02 * 0.65 * 1.2)
    bare, iced = (loads.wind_load(ALL, 40.0, 180.0, 1.4, rime_m=t) for t in (0.0, 0.03))
    assert iced.overturning_Nm > bare.overturning_Nm
    assert np.all(iced.mass_kg > bare.mass_kg)


def test_higher_parts_stand_in_more_wind():
    pair = [dataclasses.replace(BOX, position_m=(0.0, 0.0, h)) for h in (1.0, 3.0)]
    load = loads.wind_load(pair, 30.0, 0.0, 1.3, measured_at_m=3.0)
    low, high = np.linalg.norm(load.forces_N, axis=1)
    assert low / high == pytest.approx((np.log(1000.0) / np.log(3000.0)) ** 2, rel=1e-9)
    even = loads.wind_load(pair, 30.0, 0.0, 1.3)
    assert np.linalg.norm(even.forces_N[1]) == pytest.approx(high, rel=1e-12)


def test_worst_side_of_a_lone_panel_is_its_front_or_back():
    side, load = loads.worst_load([PANEL], 40.0, 1.3)
    assert side in (0.0, 180.0)
    assert load.overturning_Nm >= loads.wind_load([PANEL], 40.0, 130.0, 1.3).overturning_Nm


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: dataclasses.replace(BOX, shape="cube"), "part box: shape 'cube' is not known"),
        (lambda: dataclasses.replace(BOX, solidity=0.0), "solidity 0.0; expected more than 0"),
        (lambda: dataclasses.replace(BOX, width_m=0.0), "expected positive sizes"),
        (lambda: dataclasses.replace(BOX, position_m=(0.0, 0.0, -1.0)), "height above the snow"),
        (lambda: loads.rimed(BOX, -0.1), "rime of -0.1 m"),
        (lambda: loads.wind_load([], 30.0, 0.0, 1.3), "0 parts in 30.0 m/s"),
    ],
)
def test_impossible_parts_are_refused(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()
