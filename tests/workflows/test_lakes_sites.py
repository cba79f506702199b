"""Places where no station stands yet: routes, passing times, tracks and maps know them."""

import csv
import io
import json
import sys
from pathlib import Path

import numpy as np
import pytest

from stakeline.campaign.folders import open_campaign
from stakeline.constants import NS_PER_DAY
from stakeline.earth.projection import ARCTIC
from stakeline.formats.plain_table import write_plain_table
from stakeline.workflows import lakes_routes
from stakeline.workflows.altimetry_input import FOLDER, altimetry_points
from stakeline.workflows.invented_ground import DATUM
from stakeline.workflows.lakes_ground import lake_outlines
from stakeline.workflows.lakes_overflights import (
    overflight_map,
    overflight_words,
    station_overflights,
)
from stakeline.workflows.lakes_passings import passing_features
from stakeline.workflows.lakes_sites import BEST_PLACE, PLANNED_STATION, Site, sites

sys.path.append(str(Path(__file__).parent))
from lakes_campaign import CENTRE_M, RADIUS_M, START, make
from plan_examples import station_text
from test_lakes_passings import root, run  # noqa: F401, a fixture
from test_lakes_routes import VALLEY_M, X_M
from test_lakes_routes import campaign as valley

LAKE = "Upper Halvard"


def lay_plan(folder, name, x, y):
    place = np.degrees(ARCTIC.inverse(x, y))
    text = station_text(
        name=f'"{name}"', latitude_deg=f"{place[0]:.6f}", longitude_deg=f"{place[1]:.6f}"
    )
    (folder / "plans").mkdir(exist_ok=True)
    (folder / "plans" / f"{name}.toml").write_text(text, encoding="utf-8")


def lay_best(folder, lake, x, y):
    latitude, longitude = np.degrees(ARCTIC.inverse(x, y))
    (folder / "6-lakes" / lake).mkdir(parents=True, exist_ok=True)
    (folder / "6-lakes" / lake / "placement.csv").write_text(
        "lake,role,station,latitude_deg,longitude_deg\n"
        f"{lake},best place,,{latitude:.6f},{longitude:.6f}\n{lake},control,,79,0\n"
    )


def test_plans_and_best_places_but_not_stations_that_stand(tmp_path):
    folder = make(tmp_path / "trial")  # HV02 to HV04 stand there
    lay_plan(folder, "HV02", *CENTRE_M)
    lay_plan(folder, "HV21", *CENTRE_M)
    lay_best(folder, "Upper", *CENTRE_M)
    found = sites(open_campaign(folder))
    assert [(one.name, one.kind) for one in found] == [
        ("HV01", PLANNED_STATION),  # the example of a new campaign
        ("HV21", PLANNED_STATION), ("best place on Upper", BEST_PLACE),
    ]  # fmt: skip
    for one in found[1:]:
        np.testing.assert_allclose(one.map_m(3413), CENTRE_M, atol=1.0)


def test_water_is_led_past_planned_stations_and_best_places(tmp_path):
    opened = valley(tmp_path, settings="what_if_m = 3.0\n")
    lay_plan(tmp_path, "HV21", X_M[20], VALLEY_M + 600.0)
    lay_plan(tmp_path, "HV29", X_M[0] - 9e4, VALLEY_M)  # off the maps
    lay_best(tmp_path, "Lower", X_M[34], VALLEY_M)
    places = tuple((s.name, s.latitude_deg, s.longitude_deg, s.kind) for s in sites(opened))
    files = lakes_routes.solve_routes(lakes_routes.RoutesTask("routes", "", tmp_path, places))
    rows = list(csv.DictReader(io.StringIO(files["6-lakes/routes.csv"].decode())))
    by = {(row["lake"], row["target"]): row for row in rows}
    planned = by["Upper", "HV21"]
    assert ("Upper", "HV29") not in by
    assert (planned["kind"], planned["probability"]) == ("planned station", "1.000")
    assert by["Lower", "best place on Lower"]["kind"] == "best place over it"
    assert b"It passes planned station HV21 with probability 1.00" in files["6-lakes/routes.txt"]
    arrivals = files["6-lakes/arrivals.csv"].decode()
    assert "Upper,HV21," in arrivals
    features = json.loads(files["6-lakes/what_if_routes.geojson"])["features"]
    assert [f["properties"]["surface"] for f in features] == ["changed", "changed"]


def lay_passes(folder):
    """Write two passes of a track 300 m north of the lake's middle, 91 d apart."""
    parts = []
    for k in range(2):
        x = np.arange(-6000.0, 6000.0, 200.0)
        latitude, longitude = ARCTIC.inverse(CENTRE_M[0] + x, np.full(len(x), CENTRE_M[1] + 300.0))
        time_ns = np.full(len(x), START + 91 * k * NS_PER_DAY)
        parts.append((time_ns, np.degrees(latitude), np.degrees(longitude), np.full(len(x), 900.0)))
    names = ("time_gps", "latitude_deg", "longitude_deg", "height_m")
    table = dict(zip(names, map(np.concatenate, zip(*parts, strict=True)), strict=True))
    table["track"] = np.full(len(table["time_gps"]), 7)
    (folder / FOLDER).mkdir(parents=True)
    data = write_plain_table(table, {"latitude_deg": 7, "longitude_deg": 7})
    (folder / FOLDER / "passes.csv").write_bytes(data)
    (folder / FOLDER / "passes.toml").write_text(DATUM, encoding="utf-8")


def test_tracks_pass_planned_stations_and_are_drawn_without_results(tmp_path):
    folder = make(tmp_path / "trial", stations=())
    lay_plan(folder, "HV21", *CENTRE_M)
    lay_plan(folder, "HV22", CENTRE_M[0], CENTRE_M[1] + RADIUS_M)
    lay_passes(folder)
    opened = open_campaign(folder)
    ground = lake_outlines(opened)
    altimetry = altimetry_points(opened, ground.epsg)
    found = station_overflights(opened, ground.lakes[LAKE][0], altimetry)
    assert [one.station for one in found] == ["HV21"]  # the other is 2.2 km away
    scale = ARCTIC.point_scale(np.radians(79.2))
    assert found[0].distance_m == pytest.approx([300.0 / scale] * 2, abs=5.0)
    (words,) = overflight_words(found, altimetry.track_names)
    assert "HV21: track 7 passes at" in words
    assert "usually every 91 d" in words
    drawn = overflight_map(opened, None, ground, altimetry, LAKE)
    assert b"HV21" in drawn
    assert b"satellite tracks" in drawn


def test_passings_are_points_at_places_that_are_known(root):  # noqa: F811
    run(root)
    path = root / "6-lakes" / "passings.geojson"
    assert json.loads(path.read_text())["features"] == []  # no station has a place
    lay_plan(root, "HV05", X_M[20], VALLEY_M)
    assert run(root).done == ("passing times",)
    (feature,) = json.loads(path.read_text())["features"]
    assert feature["properties"]["station"] == "HV05"
    at = np.radians(feature["geometry"]["coordinates"])
    np.testing.assert_allclose(ARCTIC.forward(at[1], at[0]), [X_M[20], VALLEY_M], atol=1.0)
    told = feature["properties"]
    assert told["front_low_gps"] < told["front_median_gps"] < told["front_high_gps"]


def test_features_leave_out_places_that_nobody_knows():
    assert passing_features((), {}) == []
    site = Site("HV21", 79.0, -60.0, PLANNED_STATION)
    back = np.degrees(ARCTIC.inverse(*site.map_m(3413)))
    np.testing.assert_allclose(back, [79.0, -60.0], atol=1e-9)
