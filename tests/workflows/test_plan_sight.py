"""What planned stations tell together: laws of size and time, routes and lakes read, words."""

import csv
import io
import json
from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.constants import DAYS_PER_YEAR
from stakeline.earth.projection import ARCTIC
from stakeline.formats.map_features import Feature, write_features
from stakeline.lakes.network_sight import fastest_told_m_s, slowness_sigma_d_m
from stakeline.workflows import plan_sight as s

X_M, Y_M = 4.6e5, -1.09e6
LAKE = "Lower Halvard"


def place(name, x_m, y_m, on_rock=False):
    """Return a place that lies so many true metres from the middle, along the map's axes."""
    scale = ARCTIC.point_scale(ARCTIC.inverse(X_M, Y_M)[0])
    latitude, longitude = np.degrees(ARCTIC.inverse(X_M + scale * x_m, Y_M + scale * y_m))
    return SimpleNamespace(name=name, latitude_deg=float(latitude), on_rock=on_rock,
                           longitude_deg=float(longitude), height_m=200.0)  # fmt: skip


SQUARE = [place("HV01", 0.0, 0.0), place("HV02", 4e3, 0.0), place("HV03", 4e3, 4e3),
          place("HV04", 0.0, 4e3), place("HVB0", 2e3, 9e3, on_rock=True)]  # fmt: skip


@pytest.fixture
def opened(tmp_path):
    create(tmp_path)
    return open_campaign(tmp_path)


def with_route(opened, onsets=()):
    """Write a route of 12 km along the map's x, and what stations over the lake tell."""
    scale = ARCTIC.point_scale(ARCTIC.inverse(X_M, Y_M)[0])
    x = X_M + scale * np.linspace(0.0, 12e3, 25)
    latitude, longitude = np.degrees(ARCTIC.inverse(x, np.full(25, Y_M)))
    line = Feature("LineString", (np.column_stack([longitude, latitude]),), {"lake": LAKE})
    (opened.folder("6-lakes") / s.ROUTES_FILE).write_bytes(write_features([line]))
    if onsets:
        folder = opened.folder("6-lakes") / "Lower_Halvard"
        folder.mkdir()
        rows = "".join(f"{role},{name},{onset}\n" for role, name, onset in onsets)
        (folder / s.PLACEMENT_FILE).write_text(f"role,station,onset_1m_h\n{rows}")
    return opened


def table(data):
    return list(csv.DictReader(io.StringIO(data.decode())))


def test_strain_is_told_better_by_wide_networks_and_long_drainings(opened):
    sight = s.sight_of(opened, SQUARE, (), np.nan)
    whole = [row for row in sight.strain if row[0] == (s.ALL,)]
    assert [length for _, length, _ in whole] == list(s.LENGTHS_D)
    assert (np.diff([one.along_per_d for *_, one in whole]) < 0.0).all()
    wide = [place(one.name, 2.0 * x, 2.0 * y) for one, (x, y) in
            zip(SQUARE, [(0, 0), (4e3, 0), (4e3, 4e3), (0, 4e3)], strict=False)]  # fmt: skip
    twice = s.sight_of(opened, wide, (), np.nan).strain[0][2]
    assert twice.along_per_d == pytest.approx(0.5 * whole[0][2].along_per_d, rel=2e-3)
    triangles = {names for names, *_ in sight.strain if len(names) == 3}
    assert len(triangles) == 2
    assert not any("HVB0" in names for names in triangles)
    row = table(s.strain_table(sight))[0]
    assert float(row["along_per_a"]) == pytest.approx(
        DAYS_PER_YEAR * whole[0][2].along_per_d, abs=1e-8
    )
    assert row["poor_shape"] == "false"


def test_along_is_along_the_flow(opened):
    """Three stations that stand in a row along the flow tell strain along it, hardly across."""
    long = [place("HV01", 0.0, 0.0), place("HV02", 8e3, 300.0), place("HV03", 4e3, -300.0)]
    turn = float(ARCTIC.convergence(np.radians(long[0].longitude_deg)))
    azimuth = 90.0 - np.degrees(turn)  # of the map's x
    result = SimpleNamespace(
        station="HV01", moves=True, columns={"azimuth_deg": np.full(3, azimuth)},
        told={"axes": {"along": {"noise": {
            "acceleration_m2_d3": 1e-8, "coloured_sigma_m": [0.003], "coloured_memory_d": [2.0],
            "white_scale": 1.0,
        }}}},
    )  # fmt: skip
    sight = s.sight_of(opened, long, (result,), 1.0)
    one = sight.strain[0][2]
    assert one.across_per_d > 8.0 * one.along_per_d
    assert one.poor
    assert "poor shape" in " ".join(s.sight_words(sight))
    assert "noise along the flow of HV01" in sight.noise


def test_stations_on_a_line_or_too_few_are_told(opened):
    flat = [place(f"HV0{k}", 0.0, 0.0) for k in range(1, 5)]
    for k, one in enumerate(flat):
        one.latitude_deg, one.longitude_deg = 79.0 + 0.02 * k, 17.0
    words = " ".join(s.sight_words(s.sight_of(opened, flat, (), np.nan)))
    assert "stand on a line" in words
    few = " ".join(s.sight_words(s.sight_of(opened, SQUARE[:2], (), np.nan)))
    assert "three stations on moving ice are needed" in few
    assert "not known: a route with two stations" in few


def test_the_waters_speed_by_two_stations_on_a_route(opened):
    with_route(opened)
    there = [place("HV01", 2e3, 300.0), place("HV02", 10e3, -300.0), place("HV03", 5e3, 6e3)]
    sight = s.sight_of(opened, there, (), 1.0)
    assert [row.response for row in sight.speeds] == list(s.RESPONSES)
    strong = sight.speeds[-1]
    assert strong.stations == ("HV01", "HV02")
    assert strong.apart_km == pytest.approx(8.0, rel=1e-3)
    sigma_d = strong.onset_h / 24.0
    slowness = slowness_sigma_d_m([2e3, 10e3], [sigma_d] * 2)
    assert strong.fastest_m_s == pytest.approx(fastest_told_m_s(slowness), rel=1e-3)
    onsets = [row.onset_h for row in sight.speeds]
    assert onsets[0] == pytest.approx(2.0 * onsets[1])
    rows = table(s.speed_table(sight))
    last = [row for row in rows if row["response_percent"] == "20"]
    assert len(last) == len(opened.settings.lakes.routes.water_speed_m_s)
    assert all(float(row["low_m_s"]) < float(row["speed_m_s"]) for row in last)


def test_a_lake_whose_onset_is_told_is_a_place_of_the_route(opened):
    with_route(opened, [("stands there", "HV00", 3.0), ("planned", "HV09", 4.0),
                        ("together", "HV00 HV09", 2.5), ("best place", "", 1.0)])  # fmt: skip
    there = [place("HV09", 200.0, 0.0), place("HV02", 10e3, 0.0)]
    sight = s.sight_of(opened, there, (), 1.0)
    row = sight.speeds[-1]
    assert row.stations == ("lake", "HV02")  # what stands over it is in its onset
    slowness = slowness_sigma_d_m([0.0, 10e3], [2.5 / 24.0, row.onset_h / 24.0])
    assert row.fastest_m_s == pytest.approx(fastest_told_m_s(slowness), rel=1e-3)
    assert s._lake_onset(opened, "Upper Halvard")[0] == set()


def test_a_response_too_small_to_be_dated_is_said(opened):
    with_route(opened)
    there = [place("HV01", 2e3, 0.0), place("HV02", 10e3, 0.0)]
    slow = s.sight_of(opened, there, (), 1e-4)
    assert all(row.sights == () for row in slow.speeds)
    assert "too small to be dated" in " ".join(s.sight_words(slow))
    assert table(s.speed_table(slow))[0]["fastest_told_m_s"] == ""


def test_the_files_read_are_those_named(opened):
    with_route(opened, [("stands there", "HV00", 3.0)])
    names = {path.name for path in s.sight_files(opened)}
    assert names == {s.ROUTES_FILE, s.PLACEMENT_FILE}
    assert json.loads(s.sight_files(opened)[-1].read_text())["type"] == "FeatureCollection"
