"""One invented station from storm to anchors, snow and freight: the pieces fit and add up."""

import numpy as np
import pytest

from stakeline.station import anchors, burial, cargo, frame, guys, mast, storm, wind_load

TUBE = mast.Tube(3.0, 0.06, 0.004)
PARTS = (
    wind_load.Part("mast", "cylinder", 0.06, 3.0, (0.0, 0.0, 1.5), 6.0),
    wind_load.Part("antenna", "antenna", 0.2, 0.1, (0.0, 0.0, 3.0), 0.6),
    wind_load.Part("panel", "plate", 0.65, 1.2, (0.0, 0.0, 1.8), 8.0, 70.0, 0.0),
)


def ring(count):
    found = []
    for k in range(count):
        a = 2.0 * np.pi * k / count
        anchor = (2.5 * np.sin(a), 2.5 * np.cos(a), 0.0)
        found.append(guys.Guy(f"G{k}", (0.0, 0.0, 2.5), anchor, 5e5, 10e3, 1000.0))
    return found


@pytest.fixture(scope="module")
def gale():
    maxima = np.random.default_rng(2).gumbel(26.0, 2.5, 25)
    mean = storm.fit_extremes(maxima).once_in(50.0)
    density = storm.air_density(storm.pressure_at(800.0, -30.0), -30.0)
    gust = storm.gust_factor(3.0) * storm.speed_at_height(mean, 10.0, 3.0)
    assert 35.0 < gust < 55.0
    return wind_load.worst_load(PARTS, gust, density, measured_at_m=3.0, rime_m=0.01)[1]


def test_four_guys_stand_in_the_gale_and_three_do_not_when_one_is_lost(gale):
    load = guys.guyed_load(ring(4), gale.force_N, gale.moment_Nm, gale.weight_N)
    assert load.enough
    lost = guys.each_lost(ring(3), gale.force_N, gale.moment_Nm, gale.weight_N)
    assert not all(one.stands for one in lost.values())


def test_forces_end_in_the_ground(gale):
    load = guys.guyed_load(ring(4), gale.force_N, gale.moment_Nm, gale.weight_N)
    into_ground = load.anchor_pull_N.sum(axis=0) - load.foot_N
    assert into_ground == pytest.approx(gale.force_N - [0.0, 0.0, gale.weight_N], abs=1e-6)


def test_anchors_in_firn_hold_and_small_ones_do_not(gale):
    load = guys.guyed_load(ring(4), gale.force_N, gale.moment_Nm, gale.weight_N)
    large, small = (anchors.buried_plate(area, 1.0, 400.0, 45.0) for area in (0.25, 0.01))
    names = load.names
    assert all(m.enough for m in anchors.margins(ring(4), load, dict.fromkeys(names, large)))
    assert not any(m.enough for m in anchors.margins(ring(4), load, dict.fromkeys(names, small)))


def test_mast_alone_bends_the_antenna_by_centimetres(gale):
    antenna = np.hypot(*gale.forces_N[gale.names.index("antenna")][:2])
    along = np.hypot(*gale.forces_N[gale.names.index("mast")][:2]) / TUBE.free_m
    bent = mast.bending(TUBE, antenna, along)
    assert 5.0 < bent.top_mm < 100.0
    assert bent.safety > 1.0
    leg = frame.leg(TUBE, float(np.hypot(*gale.force_N[:2])), 1.8, 2e4)
    assert leg.embedment_m > frame.leg(TUBE, 100.0, 1.8, 2e4).embedment_m


def test_snow_comes_to_the_panel_before_the_antenna_and_all_flies():
    heights = {"antenna": 2.95, "panel": 1.2}
    found = burial.burial(heights, burial.Rise(0.9, 0.1, 0.15), 6.0, np.random.default_rng(1))
    assert [one.name for one in found] == ["panel", "antenna"]
    assert found[0].visit_a < found[0].median_a < found[0].late_a
    bill = [cargo.Item(p.name, p.mass_kg, 0.05) for p in PARTS]
    assert cargo.totals(bill).mass_kg == pytest.approx(sum(p.mass_kg for p in PARTS))
    assert cargo.loads(bill, cargo.Aircraft(350.0, 4.0)).at_best
