"""Placement on the lakes of a campaign: what settings and stations do to it."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.earth.projection import ARCTIC
from stakeline.formats.grids import Grids, write_grids
from stakeline.formats.outlines import Outline, write_outlines
from stakeline.lakes.whitening import START
from stakeline.motion.smoother import MotionModel
from stakeline.workflows import lakes
from stakeline.workflows import lakes_placement as p
from stakeline.workflows.lakes_placement_tables import placement_table, sentences

X_M, Y_M = 4.6e5, -1.09e6
LAKE = "Lower Halvard"


def campaign(root, settings="", thickness_m=700.0):
    create(root)
    path = root / "campaign.toml"
    path.write_text(f"{path.read_text()}\n{settings}\n[lakes.placement]\noutlines = 3\n")
    (root / "maps").mkdir()
    turn = np.linspace(0.0, 2.0 * np.pi, 60, endpoint=False)
    latitude, longitude = ARCTIC.inverse(X_M + 2500.0 * np.cos(turn), Y_M + 2500.0 * np.sin(turn))
    ring = np.degrees(np.stack([longitude, latitude], axis=1))
    (root / "maps" / "lakes.geojson").write_bytes(write_outlines([Outline(LAKE, ring)]))
    if thickness_m:
        x, y = X_M + np.linspace(-2e4, 2e4, 21), Y_M + np.linspace(-2e4, 2e4, 21)
        grids = Grids(x, y, 3413, {"thickness": np.full((21, 21), thickness_m)}, {"thickness": "m"})
        (root / "maps" / "ice.nc").write_bytes(write_grids(grids))
    return open_campaign(root)


def mover(name="HV07", x=0.0, y=0.0, speed_m_d=1.0, azimuth_deg=90.0):
    latitude, longitude = ARCTIC.inverse(X_M + x, Y_M + y)
    return p.Mover(
        name, float(latitude), float(longitude), speed_m_d, np.radians(azimuth_deg), START, 0.004
    )


def table(placed, part):
    return list(csv.DictReader(io.StringIO(placement_table(placed, part).decode())))


def test_on_a_circle_the_middle_and_its_dwell(tmp_path):
    opened = campaign(tmp_path)
    part = opened.settings.lakes.placement
    placed = p.place_on(opened, LAKE, [mover()])
    best, control, own = table(placed, part)
    assert [best["role"], control["role"], own["role"]] == ["best place", "control", "stands there"]
    scale = ARCTIC.point_scale(np.radians(float(best["latitude_deg"])))
    radius = 2500.0 / scale
    assert float(own["inside_m"]) == pytest.approx(radius, rel=0.1)
    assert float(own["dwell_d"]) == pytest.approx(radius, rel=0.15)  # at 1 m/d
    # it begins some 180 m upstream; speeds off by a tenth are drawn anew for each place
    assert float(best["dwell_d"]) == pytest.approx(float(own["dwell_d"]) + 180.0, rel=0.15)
    assert float(control["inside_high_m"]) < 0.0
    assert abs(float(control["stay_share"])) <= 0.02
    assert float(best["seen_m"]) < float(control["seen_m"])
    assert 0.0 < float(best["onset_1m_h"]) < float(control["onset_1m_h"])
    area = np.pi * radius**2
    assert float(best["seen_km3"]) == pytest.approx(float(best["seen_m"]) * area / 1e9, rel=0.02)


def test_azimuth_and_map_agree(tmp_path):
    """Where ice flows east on the Earth, the best place lies west of the middle on the Earth."""
    opened = campaign(tmp_path)
    placed = p.place_on(opened, LAKE, [mover(speed_m_d=4.0)])
    best = placed.rows[0][2]
    longitude = np.radians(placed.degrees(best)[1])
    turn = ARCTIC.convergence(longitude)
    east = best.true_m @ [np.cos(-turn), np.sin(-turn)]
    north = best.true_m @ [-np.sin(-turn), np.cos(-turn)]
    assert east < -200.0
    assert abs(north) < 0.6 * abs(east)


def test_without_motion_the_ice_is_taken_to_stand_still(tmp_path):
    opened = campaign(tmp_path)
    placed = p.place_on(opened, LAKE, [mover(x=60e3)])
    words = " ".join(sentences(placed, opened.settings.lakes.placement))
    assert "taken to stand still" in words
    assert "The ice does not carry it away." in words


def test_the_noise_is_that_of_stations_over_no_lake(tmp_path):
    """Over the lake motion takes its events for noise: a velocity that walks far."""
    opened, lively = campaign(tmp_path), MotionModel(1e-3, np.inf, (0.006,), (2.0,), 1.0)
    over = replace(mover(), model=lively)
    beside = [mover(f"HV{k:02d}", x=7e3 + 1e3 * k) for k in range(3)]
    alone = p.place_on(opened, LAKE, beside).change_sigma_m
    assert p.place_on(opened, LAKE, [over, *beside]).change_sigma_m == alone
    loud = [replace(one, model=lively) for one in beside]
    assert p.place_on(opened, LAKE, loud).change_sigma_m > 5.0 * alone
    words = p.place_on(opened, LAKE, [over]).taken
    assert any("for want of a station beside the lakes" in word for word in words)


def test_settings_change_the_answer_of_the_ice(tmp_path):
    for name, settings in (("a", '[lakes]\nbed = "stuck"'), ("b", '[lakes]\nshape = "uniform"')):
        (tmp_path / name).mkdir()
        placed = p.place_on(campaign(tmp_path / name, settings), LAKE, [mover()])
        share = placed.rows[0][2].share[1]
        assert share == pytest.approx(1.0, abs=0.05 if name == "a" else 0.01)


def test_a_control_keeps_off_the_waters_way(tmp_path):
    opened = campaign(tmp_path)
    free = p.place_on(opened, LAKE, [mover()]).rows[1][2]
    x, y = X_M + np.linspace(-2e4, 2e4, 81), Y_M + np.linspace(-2e4, 2e4, 81)
    above = np.repeat(((y > Y_M) == (free.map_m[1] > Y_M))[:, None], 81, axis=1)
    grids = Grids(x, y, 3413, {"probability_Upper": above.astype(float)})
    (tmp_path / "6-lakes" / "route_probability.nc").write_bytes(write_grids(grids))
    kept = p.place_on(opened, LAKE, [mover()]).rows[1][2]
    side = np.sign(free.map_m[1] - Y_M)
    # odds rise from 0 to 1 over one cell of 500 m beyond the middle
    assert side * (kept.map_m[1] - Y_M) <= 500.0 * p.ON_THE_WAY


def test_no_control_is_a_sentence(tmp_path):
    opened = campaign(tmp_path, f'[[lakes.lake]]\nname = "{LAKE}"\nthickness_m = 700', 20.0)
    placed = p.place_on(opened, LAKE, [mover()])  # a map of thin ice all around
    assert len(placed.rows) == 2
    assert any("no control can be placed" in line for line in placed.taken)


def test_the_verb_does_it_once_and_says_what_is_missing(tmp_path):
    campaign(tmp_path)
    assert "placement on 1 lakes" in lakes.run(tmp_path).done
    words = (tmp_path / "6-lakes" / "Lower_Halvard" / "placement.txt").read_text()
    assert "Lower Halvard: a station would see most at" in words
    assert "placement on 1 lakes" in lakes.run(tmp_path).up_to_date
    (tmp_path / "maps" / "ice.nc").unlink()
    assert any("thickness" in line for line in lakes.run(tmp_path).problems)
