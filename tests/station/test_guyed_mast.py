"""A mast on foot and guys: closed forms of two spans, least work, limits, symmetry, sway."""

import dataclasses

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from stakeline.errors import SettingsError
from stakeline.station import guyed_mast as held
from stakeline.station import mast
from stakeline.station.guys import Guy, guyed_load

TUBE = mast.Tube(3.0, 0.06, 0.003)
EI = TUBE.stiffness_Nm2
LONG, TOP = 3.0, 2.0
REST = LONG - TOP


def ring(stretch_N=5e5, pretension_N=1e5, count=4):
    azimuth = 2.0 * np.pi * np.arange(count) / count
    anchors = 2.5 * np.column_stack([np.sin(azimuth), np.cos(azimuth), 0.0 * azimuth])
    return [
        Guy(f"G{k}", (0.0, 0.0, TOP), tuple(one), stretch_N, 2e4, pretension_N)
        for k, one in enumerate(anchors)
    ]


def pushes(*forces, even=(0.0, 0.0)):
    """Return what pushes: (height, east, north) of each force on the axis."""
    rows = np.array(forces, float).reshape(-1, 3)
    zero = np.zeros(len(rows))
    return held.Pushes(
        np.column_stack([zero, zero, rows[:, 0]]),
        np.column_stack([rows[:, 1:], zero]),
        np.array(even, float),
    )


def lowest(*given, **more):
    return held.mast_sways(*given, **more)[0]


STIFF = ring(1e13, 1e7)


def test_without_guys_it_is_the_cantilever_of_the_handbook():
    found = held.mast_answer(TUBE, (), pushes((LONG, 120.0, 0.0), even=(40.0, 0.0)))
    hand = mast.bending(TUBE, 120.0, 40.0)
    assert found.bending.top_mm == pytest.approx(hand.top_mm, rel=1e-8)
    assert found.bending.moment_Nm == pytest.approx(hand.moment_Nm)
    assert found.bending.safety == pytest.approx(hand.safety)
    tip = held.mast_answer(TUBE, (), pushes((LONG, 120.0, 0.0))).bending
    assert tip.drop_mm == pytest.approx(mast.bending(TUBE, 120.0).drop_mm, rel=1e-3)


def test_guys_that_do_not_stretch_prop_a_clamped_mast():
    # statics of a propped cantilever with an overhang: slope at the prop F c a / (4 EI)
    found = held.mast_answer(TUBE, STIFF, pushes((LONG, 100.0, 0.0)))
    aside = 100.0 * REST**2 * (TOP / 4.0 + REST / 3.0) / EI
    assert found.bending.top_mm == pytest.approx(1e3 * aside, rel=1e-6)
    assert found.bending.moment_Nm == pytest.approx(100.0 * REST)
    pull = found.guyed.anchor_pull_N.sum(axis=0)[0]
    assert pull == pytest.approx(100.0 * (1.0 + 1.5 * REST / TOP), rel=1e-5)


def test_guys_that_do_not_stretch_and_a_foot_that_only_stands():
    # F c^2 (a + c) / (3 EI), and of an even load w c (4 a c^2 - a^3 + 3 c^3) / (24 EI): handbooks
    tip = held.mast_answer(TUBE, STIFF, pushes((LONG, 0.0, 100.0)), foot_Nm_rad=0.0).bending
    assert tip.top_mm == pytest.approx(1e3 * 100.0 * REST**2 * LONG / (3.0 * EI), rel=1e-6)
    even = held.mast_answer(TUBE, STIFF, pushes(even=(0.0, 50.0)), foot_Nm_rad=0.0).bending
    aside = 50.0 * REST * (4.0 * TOP * REST**2 - TOP**3 + 3.0 * REST**3) / (24.0 * EI)
    assert even.top_mm == pytest.approx(1e3 * abs(aside), rel=1e-6)


def test_guys_as_soft_as_none_leave_the_cantilever():
    soft = held.mast_answer(TUBE, ring(1e-3, 0.0), pushes((LONG, 100.0, 0.0), (1.2, 40.0, 0.0)))
    none = held.mast_answer(TUBE, (), pushes((LONG, 100.0, 0.0), (1.2, 40.0, 0.0)))
    assert soft.bending.top_mm == pytest.approx(none.bending.top_mm, rel=1e-6)
    assert soft.bending.moment_Nm == pytest.approx(none.bending.moment_Nm, rel=1e-6)


def test_a_tube_that_does_not_bend_moves_by_turn_times_height():
    stout = mast.Tube(LONG, 0.9, 0.1, "steel")
    push = pushes((LONG, 300.0, 200.0), (1.0, 0.0, 400.0), even=(30.0, 0.0))
    found = held.mast_answer(stout, ring(), push, foot_Nm_rad=0.0)
    moment = np.cross([0.0, 0.0, 1.0], [3 * 300.0 + 135.0, 3 * 200.0 + 400.0, 0.0])
    stiff = guyed_load(ring(), [390.0, 600.0, 0.0], moment)
    assert found.guyed.turn_rad == pytest.approx(stiff.turn_rad, rel=1e-6)
    assert found.guyed.tensions_N == pytest.approx(stiff.tensions_N, rel=1e-6)
    assert found.bending.top_mm == pytest.approx(1e3 * LONG * np.radians(stiff.turn_deg), rel=1e-3)
    assert found.turned_mm == pytest.approx(found.bending.top_mm, rel=1e-3)


def test_turn_and_both_spans_add_up_on_a_foot_that_stands():
    push = pushes((LONG, 200.0, 0.0))
    found = held.mast_answer(TUBE, ring(), push, foot_Nm_rad=0.0)
    spans = held.mast_answer(TUBE, STIFF, push, foot_Nm_rad=0.0)
    assert found.bending.top_mm == pytest.approx(found.turned_mm + spans.bending.top_mm, rel=1e-6)


@pytest.mark.parametrize("foot", [2e3, 3e4, 1e7])
def test_against_the_least_work_of_all_that_gives_way(foot):
    # Castigliano: the guys' pull makes the work of tube, foot and guys least; the place of the top
    # is then the work's growth with a force there
    spring, x = held.level_stiffness(ring()), np.linspace(0.0, LONG, 60_001)

    def work(pull, top_N):
        bend = top_N * (LONG - x) + 90.0 * np.maximum(1.5 - x, 0.0) + 20.0 * (LONG - x) ** 2
        bend -= pull * np.maximum(TOP - x, 0.0)
        tube = np.trapezoid(bend**2, x) / (2.0 * EI)
        return tube + bend[0] ** 2 / (2.0 * foot) + pull**2 / (2.0 * spring)

    def least(top_N):
        return minimize_scalar(work, args=(top_N,), bracket=(0.0, 500.0), tol=1e-12).fun

    aside = (least(150.5) - least(149.5)) / 1.0
    push = pushes((LONG, 150.0, 0.0), (1.5, 90.0, 0.0), even=(40.0, 0.0))
    found = held.mast_answer(TUBE, ring(), push, foot_Nm_rad=foot)
    assert found.bending.top_mm == pytest.approx(1e3 * aside, rel=1e-4)


def test_a_panel_that_is_pressed_down_beside_the_axis_bends_the_mast_as_a_couple():
    # 300 N down at 0.4 m to the east: a couple of 120 N m at 2 m of a cantilever
    push = held.Pushes(np.array([[0.4, 0.0, 2.0]]), np.array([[0.0, 0.0, -300.0]]), np.zeros(2))
    found = held.mast_answer(TUBE, (), push).bending
    aside = 120.0 * (2.0**2 / 2.0 + 2.0 * 1.0) / EI
    assert found.top_mm == pytest.approx(1e3 * aside, rel=1e-8)
    assert found.moment_Nm == pytest.approx(120.0)
    above = held.Pushes(np.array([[0.0, 0.0, 3.2]]), np.array([[50.0, 0.0, 0.0]]), np.zeros(2))
    assert held.mast_answer(TUBE, (), above).bending.moment_Nm == pytest.approx(160.0)


def test_turning_wind_and_guys_together_changes_nothing():
    east = held.mast_answer(TUBE, ring(), pushes((LONG, 900.0, 0.0), even=(60.0, 0.0)))
    south = held.mast_answer(TUBE, ring(), pushes((LONG, 0.0, -900.0), even=(0.0, -60.0)))
    assert south.bending.top_mm == pytest.approx(east.bending.top_mm)
    assert sorted(south.guyed.tensions_N) == pytest.approx(sorted(east.guyed.tensions_N))


def test_forces_on_the_guyed_mast_balance_and_lost_guys_pull_nothing():
    push = pushes((LONG, 500.0, 300.0), even=(20.0, 10.0))
    guyed = held.mast_answer(TUBE, ring(5e5, 500.0), push, 100.0, foot_Nm_rad=5e4).guyed
    total = guyed.foot_N - guyed.anchor_pull_N.sum(axis=0) + [560.0, 330.0, -100.0]
    assert total == pytest.approx(np.zeros(3), abs=1e-6)
    lost = held.lost_guys(TUBE, ring(5e5, 500.0), push, 100.0, foot_Nm_rad=5e4)
    assert set(lost) == {"G0", "G1", "G2", "G3"}
    assert all(name not in one.names for name, one in lost.items())
    fallen = held.mast_answer(TUBE, ring(5e5, 0.0)[:1], push, foot_Nm_rad=0.0)
    assert not fallen.guyed.stands
    assert np.isnan([fallen.bending.top_mm, fallen.bending.safety]).all()


def two_spans(overhang):
    """Return (beta a)^2 of the lowest sway of a pinned span with a free overhang, by its equation.

    sin and sinh below, all four above; no place at the guys, slope and moment go on, a free end.
    """

    def balance(b):
        c = b * overhang
        low = np.array([np.sin(b), np.sinh(b)])
        ends = np.array([[np.cos(b), np.cosh(b)], [-np.sin(b), np.sinh(b)]])
        rows = np.zeros((6, 6))
        rows[0, :2] = low
        rows[1, 2:] = 0.0, 1.0, 0.0, 1.0  # sin, cos, sinh, cosh from the guys on
        rows[2] = [*ends[0], -1.0, 0.0, -1.0, 0.0]
        rows[3] = [*ends[1], 0.0, 1.0, 0.0, -1.0]
        rows[4, 2:] = -np.sin(c), -np.cos(c), np.sinh(c), np.cosh(c)
        rows[5, 2:] = -np.cos(c), np.sin(c), np.cosh(c), np.sinh(c)
        return np.linalg.det(rows)

    b = np.linspace(0.3, 6.0, 400)
    values = np.array([balance(one) for one in b])
    first = int(np.flatnonzero(np.diff(np.sign(values)))[0])
    return brentq(balance, b[first], b[first + 1]) ** 2


@pytest.mark.parametrize(("top", "span"), [(2.7, held.BELOW), (1.2, held.ABOVE)])
def test_sway_of_two_spans_by_their_equation(top, span):
    stiff = [dataclasses.replace(g, top_m=(0.0, 0.0, top)) for g in STIFF]
    found = lowest(TUBE, stiff, (), 1.3, foot_Nm_rad=0.0)
    root = two_spans((LONG - top) / top)
    hand = root / (2.0 * np.pi * top**2) * np.sqrt(EI / TUBE.mass_kg_m)
    assert found.frequency_Hz == pytest.approx(hand, rel=1e-4)
    assert found.span == span


@pytest.mark.parametrize("top_kg", [0.0, 3.0, 40.0])
def test_sway_without_guys_is_the_cantilevers(top_kg):
    found = lowest(TUBE, (), [(LONG, top_kg)], 1.3)
    assert found.frequency_Hz == pytest.approx(mast.natural_frequency(TUBE, top_kg), rel=1e-6)
    assert found.span == held.ALONE


def test_a_stout_tube_sways_on_its_guys_as_on_a_spring():
    stout = mast.Tube(LONG, 0.5, 0.1, "steel")
    found = lowest(stout, ring(1e5), [(2.5, 80.0)], 1.3, foot_Nm_rad=0.0)
    inertia = 80.0 * 2.5**2 + stout.mass_kg_m * LONG**3 / 3.0
    spring = 2.0 * (1e5 / np.hypot(2.0, 2.5)) * (2.5 / np.hypot(2.0, 2.5)) ** 2 * TOP**2
    assert found.frequency_Hz == pytest.approx(np.sqrt(spring / inertia) / (2 * np.pi), rel=1e-3)


def test_buckling_between_foot_and_guys_is_eulers():
    # pi^2 EI / a^2 pinned at both ends, 20.19 EI / a^2 with a clamped foot: textbooks
    pinned = held.buckling_N(TUBE, STIFF, foot_Nm_rad=0.0)
    assert pinned == pytest.approx(np.pi**2 * EI / TOP**2, rel=1e-4)
    assert held.buckling_N(TUBE, STIFF) == pytest.approx(20.1907 * EI / TOP**2, rel=1e-4)
    # a stout mast on soft guys turns over first: k a, as a stick on a spring
    stout, soft = mast.Tube(LONG, 0.5, 0.1, "steel"), ring(1e4)
    turned = held.level_stiffness(soft) * TOP
    assert held.buckling_N(stout, soft, foot_Nm_rad=0.0) == pytest.approx(turned, rel=1e-3)


def test_rime_and_loose_guys_slow_the_sway():
    taut = lowest(TUBE, ring(), [(2.0, 20.0)], 1.3, foot_Nm_rad=0.0)
    iced = lowest(TUBE, ring(), [(2.0, 20.0)], 1.3, foot_Nm_rad=0.0, rime_m=0.02)
    loose = lowest(TUBE, ring(5e5, 0.0), [(2.0, 20.0)], 1.3, foot_Nm_rad=0.0)
    assert max(iced.frequency_Hz, loose.frequency_Hz) < taut.frequency_Hz
    assert held.level_stiffness(ring(5e5, 0.0)) == pytest.approx(held.level_stiffness(ring()) / 2)


def test_a_heavy_top_is_shaken_as_one_mass_on_a_spring():
    # a push on three widths at the top, at the resonance of a mass M on 3 EI / L^3: by the shape of
    # a tip load 1 - 3 x / 2 of it comes to the top, and each swing loses the decrement
    heavy, density = 200.0 * TUBE.mass_kg_m * LONG, 1.3
    found = lowest(TUBE, (), [(LONG, heavy)], density)
    push = mast.LATERAL * 0.5 * density * found.critical_m_s**2 * TUBE.diameter_m
    along = held.IN_STEP / 2.0 * TUBE.diameter_m
    steady = push * along * (1.0 - 0.75 * along / LONG) / (3.0 * EI / LONG**3)
    assert found.shaken_mm == pytest.approx(1e3 * steady * np.pi / mast.DECREMENT, rel=0.005)
    thick = lowest(TUBE, (), [(LONG, heavy)], 2.0 * density)
    assert thick.shaken_mm == pytest.approx(2.0 * found.shaken_mm)


def test_higher_sways_come_in_order_and_of_a_bare_tube_as_textbooks_have_them():
    # (beta L)^2 of a cantilever: 3.516, 22.034 (textbooks on vibration)
    found = [one.frequency_Hz for one in held.mast_sways(TUBE, (), (), 1.3)]
    unit = np.sqrt(EI / TUBE.mass_kg_m) / (2.0 * np.pi * LONG**2)
    assert found == pytest.approx([3.51602 * unit, 22.0345 * unit], rel=1e-4)


def test_a_mass_above_the_end_swings_as_on_a_longer_stiff_arm():
    # light tube, F at arm e above its end: L^3/3 + L^2 e + L e^2 over EI
    arm, one_kg = 0.7, 500.0
    found = lowest(TUBE, (), [(LONG + arm, one_kg)], 1.3)
    soft = (LONG**3 / 3.0 + LONG**2 * arm + LONG * arm**2) / EI
    expected = 1.0 / np.sqrt(soft * one_kg) / (2.0 * np.pi)
    assert found.frequency_Hz == pytest.approx(expected, rel=0.005)


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        ((mast.Tube(1.5, 0.06, 0.003), ring(), 0.0), "expected on the mast"),
        ((TUBE, (), 0.0), "more than 0 where no guy holds"),
        ((TUBE, ring(), -1.0), "expected 0 or more"),
    ],
)
def test_impossible_masts_are_refused(given, sentence):
    tube, guys, foot = given
    with pytest.raises(SettingsError, match=sentence):
        held.mast_answer(tube, guys, pushes((1.0, 1.0, 0.0)), foot_Nm_rad=foot)
