"""Placement on the lakes of a campaign: what settings and stations do to it."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.earth.projection import ARCTIC
from stakeline.errors import SettingsError
from stakeline.formats.grids import Grids, write_grids
from stakeline.formats.outlines import Outline, write_outlines
from stakeline.lakes.whitening import START
from stakeline.motion.smoother import MotionModel
from stakeline.workflows import lakes
from stakeline.workflows import lakes_placement as p
from stakeline.workflows.lakes_placement_tables import placement_table, sentences

from .plan_examples import station_text

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


def motion_grid(opened, fields, units):
    """Write a map of the ice's motion about the lake; ``fields`` of true metres east of it."""
    x, y = X_M + np.linspace(-4e3, 2e4, 61), Y_M + np.linspace(-4e3, 4e3, 21)
    scale = ARCTIC.point_scale(ARCTIC.inverse(X_M, Y_M)[0])
    east = np.broadcast_to((x - X_M) / scale, (21, 61))
    grids = Grids(x, y, 3413, {name: of(east) for name, of in fields.items()}, units)
    (opened.folder("maps") / "motion.nc").write_bytes(write_grids(grids))


def test_a_map_of_velocity_says_when_the_lake_and_the_limit_are_left(tmp_path):
    """Speed 365 + k x^2 / 2 m/a: strain rate k x passes 0.01 at 8 km; to there it takes arctan."""
    opened, bend = campaign(tmp_path), 0.01 / 8e3
    fields = {"vx": lambda x: 365.25 + 0.5 * bend * x**2, "vy": lambda x: 0.0 * x}
    motion_grid(opened, fields, {"vx": "m year-1", "vy": "m year-1"})
    part = opened.settings.lakes.placement
    placed = p.place_on(opened, LAKE, [mover(speed_m_d=0.0)])
    own = table(placed, part)[-1]
    root = np.sqrt(2.0 * 365.25 / bend)
    assert float(own["limit_d"]) == pytest.approx(root * np.arctan(8e3 / root), rel=0.02)
    assert float(own["limit_low_d"]) == pytest.approx(float(own["limit_d"]) / 1.1645, rel=0.01)
    assert float(own["left_by_map_d"]) == pytest.approx(float(own["inside_m"]), rel=0.1)  # 1 m/d
    words = " ".join(sentences(placed, part))
    assert "comes to strain rates of 0.01 a year, where crevasses may open, after" in words
    assert "velocity of maps/motion.nc; strain rate by its differences" in words
    assert "rope up by your operator's rules" in words


def test_a_map_of_strain_alone_goes_with_the_lakes_motion(tmp_path):
    opened = campaign(tmp_path)
    motion_grid(opened, {"strain_rate": lambda x: 2e-6 * x}, {"strain_rate": "1/a"})
    along = 90.0 - np.degrees(ARCTIC.convergence(mover().longitude_rad))
    placed = p.place_on(opened, LAKE, [mover(azimuth_deg=along)])  # along the map's x
    own = table(placed, opened.settings.lakes.placement)[-1]
    assert float(own["limit_d"]) == pytest.approx(5e3, rel=0.02)  # met at 5 km, at 1 m/d
    assert "the lake's motion everywhere" in placed.taken[-1]


def test_speed_along_the_flow_and_no_limit_on_the_way(tmp_path):
    opened = campaign(tmp_path)
    motion_grid(opened, {"speed": lambda x: 1.0 + 0.0 * x}, {"speed": "m d-1"})
    placed = p.place_on(opened, LAKE, [mover()])
    words = " ".join(sentences(placed, opened.settings.lakes.placement))
    assert "meets no strain rate of 0.01 a year on the" in words
    assert table(placed, opened.settings.lakes.placement)[-1]["limit_d"] == ""  # the map ends


def test_maps_of_motion_that_cannot_be_read_are_refused(tmp_path):
    opened = campaign(tmp_path)
    motion_grid(opened, {"speed": lambda x: x}, {"speed": "furlong/d"})
    with pytest.raises(SettingsError, match="speed is in 'furlong/d'; give one of m d-1"):
        p.place_on(opened, LAKE, [mover()])
    motion_grid(opened, {"vx": lambda x: x}, {"vx": "m a-1"})
    with pytest.raises(SettingsError, match="velocity_x and velocity_y go together"):
        p.place_on(opened, LAKE, [mover()])


def test_planned_stations_are_judged_and_tell_more_together(tmp_path):
    opened = campaign(tmp_path)
    for name, x in (("HV21", -900.0), ("HV22", 900.0), ("HV07", 0.0)):
        place = np.degrees(ARCTIC.inverse(X_M + x, Y_M))
        text = station_text(
            name=f'"{name}"', latitude_deg=f"{place[0]:.6f}", longitude_deg=f"{place[1]:.6f}"
        )
        (tmp_path / "plans" / f"{name}.toml").write_text(text, encoding="utf-8")
    (tmp_path / "plans" / "HV23.toml").write_text("name = 3", encoding="utf-8")
    placed = p.place_on(opened, LAKE, [mover()])
    found = table(placed, opened.settings.lakes.placement)
    over = {row["station"]: row for row in found if row["role"] in ("stands there", "planned")}
    assert {name: row["role"] for name, row in over.items()} == {
        "HV07": "stands there", "HV21": "planned", "HV22": "planned",
    }  # fmt: skip
    together = found[-1]
    assert together["role"] == "together"
    assert together["station"].split() == ["HV07", "HV21", "HV22"]
    best = min(float(row["onset_1m_h"]) for row in over.values())
    # three equal ones with errors alike by 0.3 (Kish): sqrt(1.6 / 3) of one
    assert float(together["onset_1m_h"]) == pytest.approx(best * np.sqrt(1.6 / 3.0), rel=0.06)
    assert float(together["seen_m"]) < min(float(row["seen_m"]) for row in over.values())


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
