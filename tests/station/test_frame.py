"""Frames on legs: tipping, forces in the legs, embedment; balance first, then published values."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station import frame
from stakeline.station.mast import Tube

SQUARE = np.array([[0.75, 0.75], [-0.75, 0.75], [-0.75, -0.75], [0.75, -0.75]])
TRIANGLE = np.array([[0.0, 1.0], [-0.87, -0.5], [0.87, -0.5]])
FORCE = np.array([0.0, 1434.4, 0.0])
MOMENT = np.cross([0.0, 0.0, 2.0], FORCE)


def test_panel_at_two_metres_on_a_base_of_one_and_a_half():
    # 1434.4 N at 2.0 m, half-width 0.75 m: 2868.8 N m, 389.9 kg at factor 1.0, 584.9 kg at 1.5
    assert frame.standing(SQUARE, FORCE, MOMENT, 0.0, safety=1.0).ballast_kg == pytest.approx(
        2868.8 / 0.75 / frame.GRAVITY_M_S2, rel=1e-9
    )
    assert frame.standing(SQUARE, FORCE, MOMENT, 0.0, safety=1.0).ballast_kg == pytest.approx(
        389.9, abs=0.3
    )
    assert frame.standing(SQUARE, FORCE, MOMENT, 0.0).ballast_kg == pytest.approx(584.9, abs=0.4)


def test_ballast_is_what_makes_it_just_enough():
    answer = frame.standing(TRIANGLE, FORCE, MOMENT, 100.0)
    assert not answer.enough
    again = frame.standing(TRIANGLE, FORCE, MOMENT, 100.0 + answer.ballast_kg)
    assert again.safety == pytest.approx(frame.SAFETY, rel=1e-9)
    assert again.ballast_kg == pytest.approx(0.0, abs=1e-9)


def test_tips_over_the_lee_edge_whatever_the_order_of_the_legs():
    answer = frame.standing(SQUARE, FORCE, MOMENT, 400.0)
    assert set(answer.edge) == {0, 1}  # the northern ones: the wind pushes north
    mixed = frame.standing(SQUARE[[2, 0, 3, 1]], FORCE, MOMENT, 400.0)
    assert mixed.safety == pytest.approx(answer.safety)
    assert set(mixed.edge) == {1, 3}


def test_safety_one_is_where_the_windward_legs_lift():
    mass = frame.standing(SQUARE, FORCE, MOMENT, 0.0, safety=1.0).ballast_kg
    assert frame.standing(SQUARE, FORCE, MOMENT, mass).safety == pytest.approx(1.0)
    legs = frame.leg_forces(SQUARE, FORCE, MOMENT, mass)
    assert legs[2:] == pytest.approx([0.0, 0.0], abs=1e-6)
    assert legs[:2] == pytest.approx(np.full(2, mass * frame.GRAVITY_M_S2 / 2.0))


@pytest.mark.parametrize("legs", [SQUARE, TRIANGLE])
def test_legs_balance_force_and_moment(legs):
    force = np.array([700.0, -300.0, 120.0])
    moment = np.array([500.0, 900.0, 10.0])
    up = frame.leg_forces(legs, force, moment, 180.0, (0.1, -0.2))
    ground = np.column_stack([np.zeros((len(legs), 2)), up])
    weight = np.array([0.0, 0.0, -180.0 * frame.GRAVITY_M_S2])
    places = np.column_stack([legs, np.zeros(len(legs))])
    total = np.cross(places, ground).sum(axis=0) + np.cross([0.1, -0.2, 0.0], weight) + moment
    assert up.sum() + weight[2] + force[2] == pytest.approx(0.0, abs=1e-8)
    assert total[:2] == pytest.approx([0.0, 0.0], abs=1e-8)


def test_friction_is_level_force_over_what_presses():
    force = np.array([30.0, 40.0, 100.0])
    answer = frame.standing(SQUARE, force, np.zeros(3), 100.0)
    assert answer.friction == pytest.approx(50.0 / (100.0 * frame.GRAVITY_M_S2 - 100.0))
    assert not answer.slides
    assert frame.standing(SQUARE, FORCE, MOMENT, 400.0).slides  # 0.37: slides before it tips
    assert frame.standing(SQUARE, np.array([1.0, 0.0, 2e3]), np.zeros(3), 9.0).friction == np.inf


def test_no_wind_no_tipping():
    answer = frame.standing(SQUARE, np.zeros(3), np.zeros(3), 50.0)
    assert (answer.safety, answer.ballast_kg) == (np.inf, 0.0)
    # a load beyond the base falls by itself
    assert frame.standing(SQUARE, np.zeros(3), np.zeros(3), 50.0, (2.0, 0.0)).safety == 0.0


def test_embedment_balances_the_pressures():
    push, above, wide, bearing = 900.0, 1.2, 0.06, 3e5
    depth = frame.embedment(push, above, wide, bearing)
    line = bearing * wide
    turn = (depth + push / line) / 2.0  # where the pressure changes side
    assert line * (2.0 * turn - depth) == pytest.approx(push)
    moment = line * ((depth**2 - turn**2) / 2.0 - turn**2 / 2.0)
    assert moment == pytest.approx(push * above)
    # a push at the surface still needs more than its own length of pressure
    h = push / line
    assert frame.embedment(push, 0.0, wide, bearing) == pytest.approx((1.0 + np.sqrt(2.0)) * h)


def test_softer_ground_and_melt_ask_for_more():
    tube = Tube(1.0, 0.06, 0.003)
    hard, soft = (frame.leg(tube, 900.0, 1.2, bearing) for bearing in (1e6, 2e5))
    assert soft.embedment_m > hard.embedment_m
    assert soft.moment_Nm > hard.moment_Nm
    melted = frame.leg(tube, 900.0, 1.2, 1e6, melt_m=2.0)
    assert melted.embedment_m > hard.embedment_m + 2.0
    assert melted.at_m == pytest.approx(hard.at_m + 2.0)
    assert hard.safety == pytest.approx(160e6 / hard.stress_Pa)
    assert any("Drilling" in text for text in hard.cautions)


def test_largest_moment_along_the_leg():
    tube = Tube(1.0, 0.06, 0.003)
    push, above, bearing = 900.0, 1.2, 3e5
    answer = frame.leg(tube, push, above, bearing)
    z = np.linspace(0.0, answer.embedment_m / 2.0, 4001)
    moments = push * (above + z) - bearing * 0.06 * z**2 / 2.0
    assert answer.moment_Nm == pytest.approx(moments.max(), rel=1e-6)
    assert answer.at_m == pytest.approx(z[np.argmax(moments)], abs=z[1])


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: frame.standing(SQUARE[:2], FORCE, MOMENT, 1.0), "expected three or more"),
        (
            lambda: frame.standing([[0, 0], [2, 0], [0, 2], [0.4, 0.4]], FORCE, MOMENT, 1.0),
            "bulges outwards",
        ),
        (lambda: frame.embedment(-1.0, 1.0, 0.06, 1e6), "push_N is -1.0"),
        (lambda: frame.embedment(1.0, -1.0, 0.06, 1e6), "expected 0 or more"),
    ],
)
def test_impossible_frames_are_refused(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()


def test_three_legs_lift_exactly_where_the_frame_tips():
    rng = np.random.default_rng(11)
    lifted = []
    for _ in range(60):
        force = rng.normal(0.0, 300.0, 3)
        moment = rng.normal(0.0, 600.0, 3)
        up = frame.leg_forces(TRIANGLE, force, moment, 90.0)
        lifted.append(up.min() < 0.0)
        assert (frame.standing(TRIANGLE, force, moment, 90.0).safety < 1.0) == lifted[-1]
    assert 5 < sum(lifted) < 55
