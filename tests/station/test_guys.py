"""Guys: equilibrium of forces and moments, symmetry, a second solution, published values."""

import dataclasses
import itertools

import numpy as np
import pytest
from scipy.optimize import linprog

from stakeline.errors import SettingsError
from stakeline.station import guys as held

HEIGHT = 3.0


def ring(count, radius=3.0, pretension_N=300.0, first_deg=0.0):
    """Return guys from the top of a mast to anchors evenly around it, from north by east."""
    found = []
    for k in range(count):
        a = np.radians(first_deg + 360.0 * k / count)
        anchor = (radius * np.sin(a), radius * np.cos(a), 0.0)
        found.append(held.Guy(f"G{k + 1}", (0.0, 0.0, HEIGHT), anchor, 6e5, 12e3, pretension_N))
    return found


def push(size_N, from_deg=0.0, height=HEIGHT):
    a = np.radians(from_deg)
    force = -size_N * np.array([np.sin(a), np.cos(a), 0.0])
    return force, np.cross([0.0, 0.0, height], force)


@pytest.mark.parametrize(
    ("angle_deg", "tension_N", "thrust_N"),
    [(30.0, 1154.7, 577.4), (45.0, 1414.2, 1000.0), (60.0, 2000.0, 1732.1)],
)
def test_one_windward_guy(angle_deg, tension_N, thrust_N):
    # statics: 1000 N at the top, one guy at 30, 45, 60 deg
    radius = HEIGHT / np.tan(np.radians(angle_deg))
    load = held.guyed_load(ring(4, radius, 0.0), *push(1000.0))
    assert load.tensions_N[0] == pytest.approx(tension_N, abs=0.1)
    assert load.tensions_N[2] == 0.0
    assert load.thrust_N == pytest.approx(thrust_N, abs=0.1)
    assert load.uplift_N == 0.0
    assert "G3" in load.slack


@pytest.mark.parametrize("count", [3, 4, 5])
@pytest.mark.parametrize("from_deg", [0.0, 47.0, 180.0, 301.0])
def test_forces_and_moments_balance(count, from_deg):
    guys = ring(count)
    force, moment = push(1800.0, from_deg)
    load = held.guyed_load(guys, force, moment, 400.0)
    on_mast = -load.anchor_pull_N
    weight = np.array([0.0, 0.0, -400.0])
    assert on_mast.sum(axis=0) + force + weight + load.foot_N == pytest.approx(
        np.zeros(3), abs=1e-6
    )
    turning = np.cross([guy.top_m for guy in guys], on_mast).sum(axis=0) + moment
    assert turning == pytest.approx(np.zeros(3), abs=1e-5)
    assert np.all(load.tensions_N >= 0.0)


def test_pretension_alone_changes_nothing_but_the_thrust():
    load = held.guyed_load(ring(3), np.zeros(3), np.zeros(3))
    assert load.tensions_N == pytest.approx(np.full(3, 300.0))
    assert load.turn_deg == pytest.approx(0.0, abs=1e-9)
    assert load.thrust_N == pytest.approx(3 * 300.0 * np.sin(np.radians(45.0)))


def test_while_all_are_taut_pretension_adds_and_halves_the_turn_of_slack_ones():
    loose, tight = (held.guyed_load(ring(4, 3.0, p), *push(500.0)) for p in (0.0, 1000.0))
    # two guys share while both are taut: twice as stiff
    assert loose.turn_deg == pytest.approx(2.0 * tight.turn_deg, rel=1e-6)
    assert tight.tensions_N[0] - 1000.0 == pytest.approx(1000.0 - tight.tensions_N[2])


def test_turning_the_wind_by_the_symmetry_of_the_guys_only_renames_them():
    first = held.guyed_load(ring(3), *push(1500.0, 20.0)).tensions_N
    second = held.guyed_load(ring(3), *push(1500.0, 140.0)).tensions_N
    assert second == pytest.approx(np.roll(first, 1), rel=1e-8)


def test_against_trying_every_set_of_taut_guys():
    rng = np.random.default_rng(5)
    for _ in range(40):
        guys = [
            held.Guy(f"G{k}", (0.0, 0.0, h), (r * np.sin(a), r * np.cos(a), z), 5e5, 1e4, p)
            for k, (h, r, a, z, p) in enumerate(
                zip(
                    rng.uniform(1.5, 3.0, 5),
                    rng.uniform(1.0, 4.0, 5),
                    np.radians(72.0 * np.arange(5) + rng.uniform(-20.0, 20.0, 5)),
                    rng.uniform(-0.4, 0.4, 5),
                    rng.uniform(0.0, 400.0, 5),
                    strict=True,
                )
            )
        ]
        force, moment = push(rng.uniform(100.0, 4000.0), rng.uniform(0.0, 360.0), 2.0)
        found = held.guyed_load(guys, force, moment).tensions_N
        assert found == pytest.approx(every_set(guys, moment), rel=1e-6, abs=1e-4)


def every_set(guys, moment):
    """Return tensions by trying all sets: those taut pull, those slack would have to push."""
    arms = np.array([np.cross(g.top_m, g.direction)[:2] for g in guys])
    k = np.array([g.stretch_N / g.length_m for g in guys])
    p = np.array([g.pretension_N for g in guys])
    for size in range(len(guys), 1, -1):
        for chosen in itertools.combinations(range(len(guys)), size):
            c = list(chosen)
            turn = np.linalg.solve((arms[c].T * k[c]) @ arms[c], moment[:2] - arms[c].T @ p[c])
            would = p + k * (arms @ turn)
            if np.all(would[c] >= -1e-9) and np.all(np.delete(would, c) <= 1e-9):
                return np.where(np.isin(range(len(guys)), c), would, 0.0)
    raise AssertionError("no set of guys holds")


def test_falls_only_where_some_turn_is_resisted_by_no_guy():
    # Farkas: guys balance a moment unless a turn exists that it drives and that slackens them all
    rng = np.random.default_rng(6)
    stood = []
    for _ in range(150):
        azimuth = rng.uniform(0.0, 2.0 * np.pi, 4)
        reach = rng.uniform(1.0, 5.0, 4)
        guys = [
            held.Guy(f"G{k}", (0.0, 0.0, 2.5), (r * np.sin(a), r * np.cos(a), 0.0), 1e7, 1e4, 50.0)
            for k, (r, a) in enumerate(zip(reach, azimuth, strict=True))
        ]
        force, moment = push(rng.uniform(100.0, 1000.0), rng.uniform(0.0, 360.0))
        arms = np.array([np.cross(g.top_m, g.direction)[:2] for g in guys])
        free = linprog(-moment[:2] / 1e3, A_ub=arms, b_ub=np.zeros(4), bounds=[(-1.0, 1.0)] * 2)
        stood.append(held.guyed_load(guys, force, moment).stands)
        if stood[-1]:
            assert -free.fun < 1e-9
        else:  # or it would turn by a radian first, at tensions beyond all breaking loads
            assert -free.fun > 1e-4 or -1e3 * free.ineqlin.marginals.min() > 1e4
    assert 30 < sum(stood) < 145


def test_three_guys_on_a_bare_foot_fall_when_the_windward_one_is_lost():
    lost = held.each_lost(ring(3), *push(1500.0, 0.0))
    assert not lost["G1"].stands
    assert not lost["G1"].enough
    assert np.isnan(lost["G1"].tensions_N).all()
    drilled = held.each_lost(ring(3), *push(1500.0, 0.0), foot_Nm_rad=5e4)
    assert drilled["G1"].stands
    assert drilled["G1"].turn_deg > 1.0


def test_with_six_guys_any_one_may_be_lost():
    whole = held.guyed_load(ring(6), *push(1500.0, 10.0))
    lost = held.each_lost(ring(6), *push(1500.0, 10.0))
    assert all(load.stands and name not in load.names for name, load in lost.items())
    # the two to windward are missed; G4, to leeward, was slack anyway
    assert max(lost["G1"].tensions_N.max(), lost["G2"].tensions_N.max()) > whole.tensions_N.max()
    assert "G4" in whole.slack
    assert lost["G4"].tensions_N.max() == pytest.approx(whole.tensions_N.max(), rel=1e-8)


def test_without_guys_a_foot_holds_alone_or_the_mast_falls():
    force, moment = push(100.0)
    assert not held.guyed_load([], force, moment).stands
    alone = held.guyed_load([], force, moment, 50.0, foot_Nm_rad=3e4)
    assert np.radians(alone.turn_deg) == pytest.approx(300.0 / 3e4)
    assert alone.foot_N == pytest.approx([0.0, 100.0, 50.0])
    assert alone.safety == np.inf


def test_wind_from_below_lifts_the_foot():
    force, moment = push(200.0)
    load = held.guyed_load(
        ring(4, pretension_N=0.0), force + np.array([0.0, 0.0, 900.0]), moment, 100.0
    )
    assert load.uplift_N == pytest.approx(900.0 - 100.0 - 200.0)  # less what the guy pulls down
    assert load.thrust_N == 0.0


def test_free_twist_needs_guys_that_stand_off_the_axis():
    force, moment = push(500.0)
    twisted = moment + np.array([0.0, 0.0, 60.0])
    assert not held.guyed_load(ring(4), force, twisted, twist_held=False).stands
    arms = [
        dataclasses.replace(guy, top_m=(0.2 * e, 0.2 * n, HEIGHT))
        for guy, (e, n) in zip(
            ring(4, pretension_N=1500.0), [(1, 0), (0, -1), (-1, 0), (0, 1)], strict=True
        )
    ]
    both = arms + [
        dataclasses.replace(guy, name=f"{guy.name}b", top_m=(-guy.top_m[0], -guy.top_m[1], HEIGHT))
        for guy in arms
    ]
    assert held.guyed_load(both, force, twisted, twist_held=False).stands


def test_usual_pretension_and_cautions():
    # 7-15 % of the breaking strength, usual 10 % (ANSI/TIA-222 as quoted in a planning notice)
    assert held.usual_pretension(10e3) == pytest.approx((700.0, 1000.0, 1500.0))
    assert any("out of the line" in text for text in held.guyed_load(ring(3), *push(1.0)).cautions)


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: held.Guy("A", (0, 0, 1), (0, 0, 1), 1e5, 1e4), "two different places"),
        (lambda: held.Guy("A", (0, 0, 1), (1, 0, 0), 0.0, 1e4), "expected positive numbers"),
        (lambda: held.guyed_load(ring(3) + ring(1), *push(1.0)), "names that differ"),
        (lambda: held.guyed_load(ring(3), [0.0, np.nan, 0.0], np.zeros(3)), "three numbers"),
    ],
)
def test_impossible_guys_are_refused(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()
