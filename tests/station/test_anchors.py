"""Anchors: limits and monotony, the second formula of a stiff pole, published pull tests."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station import anchors, guys
from stakeline.station.frame import embedment


def test_strength_passes_through_its_rows_and_never_falls():
    for density, strength in anchors.STRENGTH:
        assert anchors.snow_strength(density) == pytest.approx(strength)
    assert np.all(np.diff(anchors.snow_strength(np.linspace(300.0, 917.0, 60))) >= -1e-6)


def test_snow_stake_of_sixty_centimetres():
    # Bogie: 0.04 m2 in snow of 100 kPa hold 4 kN
    found = anchors.buried_plate(0.04, 0.6, 300.0, 20.0)
    assert found.capacity_N == pytest.approx(4000.0)
    assert found.governs == "bearing"
    # a tester's about 4 kN in soft to medium snow, a guide's 6.7 kN buried 60 cm deep (both weak)
    assert 0.5 < found.capacity_N / 6700.0 < 1.5


def test_picket_clipped_on_top_against_pull_tests():
    # a guide's 2 kN in soft snow (weak), measured 2.94 and 4.47 kN (Fortini, ITRS 2005), of a
    # stake 0.6 m by 0.07 m: within a factor of two from soft (300) to firm (400 kg/m3) snow
    soft, firm = (anchors.picket(0.07, 0.6, density).capacity_N for density in (300.0, 400.0))
    assert soft == pytest.approx(2000.0, rel=0.2)
    assert 2940.0 < firm < 4470.0


def test_picket_is_the_inverse_of_the_embedment_of_a_pole():
    capacity = anchors.picket(0.07, 0.6, 400.0).capacity_N
    assert embedment(capacity, 0.0, 0.07, anchors.snow_strength(400.0)) == pytest.approx(0.6)


def test_picket_clipped_in_the_middle_bears_on_all_of_it():
    middle = anchors.picket(0.07, 0.6, 300.0, 0.3).capacity_N
    assert middle == pytest.approx(anchors.buried_plate(0.042, 2.0, 300.0).capacity_N)
    holds = [anchors.picket(0.07, 0.6, 300.0, c).capacity_N for c in np.linspace(0.0, 0.3, 7)]
    assert np.all(np.diff(holds) > 0.0)


def test_shallow_plate_breaks_out_and_a_deep_one_bears():
    shallow, deep = (anchors.buried_plate(0.25, d, 400.0, 60.0) for d in (0.1, 2.0))
    assert shallow.governs == "breaking out"
    assert deep.governs == "bearing"
    assert shallow.capacity_N < deep.capacity_N
    # straight up: shear on four sides and the weight of the block
    up = anchors.buried_plate(0.25, 0.1, 400.0, 90.0)
    expected = 0.25 * 0.2e6 * 4 * 0.5 * 0.1 + 400.0 * anchors.GRAVITY_M_S2 * 0.25 * 0.1
    assert up.capacity_N == pytest.approx(expected)


def test_working_loads_are_capacity_over_safety():
    found = anchors.buried_plate(0.1, 1.0, 400.0)
    assert found.gust_N * found.gust_safety == pytest.approx(found.capacity_N)
    assert found.lasting_N == pytest.approx(found.capacity_N / 10.0)
    assert found.enough(found.gust_N, found.lasting_N)
    assert not found.enough(found.gust_N, 1.01 * found.lasting_N)
    assert not found.enough(1.01 * found.gust_N)


def test_leg_holds_by_its_skin_and_not_while_it_melts():
    one, two = (anchors.drilled_leg(0.05, depth, 917.0).capacity_N for depth in (1.5, 3.0))
    assert two == pytest.approx(2.0 * one)
    assert one == pytest.approx(np.pi * 0.05 * 1.5 * 30e3)
    assert anchors.drilled_leg(0.05, 1.5, 500.0).capacity_N < one
    assert anchors.drilled_leg(0.05, 1.5, 917.0, melting=True).capacity_N == 0.0


def test_screw_and_bolt_reach_what_their_standards_ask():
    # EN 568: 10 kN; EN 959: 25 kN radial, 15 kN axial (from memory)
    assert anchors.ice_screw(0.22).capacity_N == 10e3
    assert anchors.ice_screw(0.08).capacity_N == pytest.approx(5e3)
    assert anchors.rock_bolt(0.0).capacity_N == pytest.approx(25e3)
    assert anchors.rock_bolt(90.0).capacity_N == pytest.approx(15e3)
    assert 15e3 < anchors.rock_bolt(45.0).capacity_N < 25e3


def guyed():
    """Return four guys at 45 deg under 1000 N from the north, and their load."""
    ring = [
        guys.Guy(name, (0.0, 0.0, 3.0), (3.0 * e, 3.0 * n, 0.0), 6e5, 12e3, 200.0)
        for name, e, n in (("N", 0, 1), ("E", 1, 0), ("S", 0, -1), ("W", -1, 0))
    ]
    return ring, guys.guyed_load(ring, (0.0, -1000.0, 0.0), (3000.0, 0.0, 0.0))


def test_anchor_against_its_guy():
    ring, load = guyed()
    plate = anchors.buried_plate(0.05, 0.8, 400.0, 45.0)
    found = anchors.margins(ring, load, dict.fromkeys("NESW", plate))
    assert found[0].name == "N"
    assert found[0].gust == pytest.approx(plate.gust_N / load.tensions_N[0])
    assert all(one.lasting == pytest.approx(plate.lasting_N / 200.0) for one in found)
    assert found[0].enough == plate.enough(load.tensions_N[0], 200.0)
    assert next(one for one in found if one.name == "S").gust == np.inf  # slack


def test_anchors_of_unknown_holding_or_of_a_mast_that_falls_are_refused():
    ring, load = guyed()
    plate = anchors.buried_plate(0.05, 0.8, 400.0, 45.0)
    with pytest.raises(SettingsError, match="anchors without a holding: S, W"):
        anchors.margins(ring, load, {"N": plate, "E": plate})
    fallen = guys.guyed_load(ring[2:3], (0.0, -1000.0, 0.0), (3000.0, 0.0, 0.0))
    with pytest.raises(SettingsError, match="the mast falls"):
        anchors.margins(ring, fallen, {"S": plate})


@pytest.mark.parametrize(
    "holding",
    [
        anchors.buried_plate(0.1, 1.0, 400.0),
        anchors.picket(0.07, 0.6, 400.0),
        anchors.ice_screw(0.2),
        anchors.drilled_leg(0.05, 1.5, 917.0),
        anchors.rock_bolt(30.0),
    ],
)
def test_every_anchor_carries_its_cautions(holding):
    assert any("engineering estimates" in text for text in holding.cautions)
    assert holding.gust_safety >= 2.0
    assert holding.lasting_safety >= holding.gust_safety
    assert holding.notes


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: anchors.snow_strength(150.0), "pack looser snow"),
        (lambda: anchors.buried_plate(0.1, 0.0, 400.0), "depth_m is 0.0"),
        (lambda: anchors.buried_plate(0.1, 1.0, 400.0, 95.0), "expected 0 to 90"),
        (lambda: anchors.picket(0.07, 0.6, 400.0, 0.5), "expected 0 to the middle"),
        (lambda: anchors.ice_screw(0.2, 500.0), "expected ice"),
        (lambda: anchors.rock_bolt(-5.0), "expected 0 to 90"),
    ],
)
def test_impossible_anchors_are_refused(call, sentence):
    with pytest.raises(SettingsError, match=sentence):
        call()
