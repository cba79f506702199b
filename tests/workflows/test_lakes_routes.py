"""Routes of a campaign: a valley whose water can only go one way, and maps that are wrong."""

import csv
import io
import json
import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.io import netcdf_file

from stakeline.campaign.folders import create, open_campaign
from stakeline.earth.projection import ARCTIC
from stakeline.errors import StakelineError
from stakeline.formats.grids import Grids, read_grids, write_grids
from stakeline.formats.outlines import Outline, write_outlines
from stakeline.workflows import lakes, lakes_routes
from stakeline.workflows.lakes_route_tables import duration, route_rows, sentences
from stakeline.workflows.water_maps import water_maps

sys.path.append(str(Path(__file__).parent))
from lakes_campaign import geotiff

X_M, Y_M = 4.4e5 + 500.0 * np.arange(60), -1.1e6 + 500.0 * np.arange(30)
VALLEY_M = -1.0926e6  # northing of the valley, which falls to the east
ABOVE = "above the ellipsoid"


def fields():
    """Surface and bed: a straight valley; the ice floats over the last 4 km."""
    x, y = np.meshgrid(X_M - X_M[0], Y_M - VALLEY_M)
    surface = 900.0 - 0.012 * x + 2e-6 * y**2
    bed = 200.0 - 0.01 * x + 8e-6 * y**2
    thickness = surface - bed
    thickness[:, 52:] -= 50.0
    return {"surface": surface, "bed": bed, "thickness": thickness}


def outline(name, x, y, radius_m=1500.0, corners=40):
    turn = np.linspace(0.0, 2.0 * np.pi, corners + 1)[:-1]
    latitude, longitude = ARCTIC.inverse(x + radius_m * np.cos(turn), y + radius_m * np.sin(turn))
    return Outline(name, np.degrees(np.stack([longitude, latitude], axis=1)))


LAKES = (outline("Upper", X_M[10], VALLEY_M), outline("Lower", X_M[34], VALLEY_M))


def station(name, x, y):
    latitude, longitude = ARCTIC.inverse(x, y)
    return name, float(np.degrees(latitude)), float(np.degrees(longitude))


STATIONS = (
    station("HV01", X_M[20], VALLEY_M + 600.0),
    station("HV02", X_M[20], VALLEY_M + 6000.0),
    station("HV03", X_M[10], VALLEY_M),
)


def campaign(tmp_path, changed=None, outlines=LAKES, settings="", words=None, epsg=3413, **more):
    """Return a campaign with maps/; fields may be changed, more files laid beside."""
    create(tmp_path)
    path = tmp_path / "campaign.toml"
    path.write_text(
        path.read_text()
        + "\n[lakes.placement]\noutlines = 0\n[lakes.routes]\nrealisations = 8\nbed_sigma_m = 10\n"
        + settings
    )
    (tmp_path / "maps").mkdir()
    found = {**fields(), **(changed or {})}
    found = {name: v for name, v in found.items() if v is not None}
    told = {name: f"height {ABOVE}" for name in ("surface", "bed")} | (words or {})
    if found:
        grids = Grids(X_M, Y_M, epsg, found, dict.fromkeys(found, "m"), told)
        (tmp_path / "maps" / "halvard.nc").write_bytes(write_grids(grids))
    (tmp_path / "maps" / "lakes.geojson").write_bytes(write_outlines(outlines))
    for name, data in more.items():
        (tmp_path / "maps" / name.replace("__", ".")).write_bytes(data)
    return open_campaign(tmp_path)


def rows(data):
    return list(csv.DictReader(io.StringIO(data.decode())))


@pytest.fixture(scope="module")
def solved(tmp_path_factory):
    root = tmp_path_factory.mktemp("routes")
    campaign(root, settings="what_if_m = 3.0\n")
    task = lakes_routes.RoutesTask("routes", "", root, STATIONS)
    return {n.removeprefix("6-lakes/"): v for n, v in lakes_routes.solve_routes(task).items()}


def test_every_file_is_there(solved):
    assert sorted(solved) == [
        "arrivals.csv", "figures/route_Lower.svg", "figures/route_Upper.svg", "figures/routes.svg",
        "head.nc", "predicted_lakes.csv", "predicted_lakes.geojson", "route_probability.nc",
        "routes.csv", "routes.geojson", "routes.txt", "what_if_routes.geojson",
    ]  # fmt: skip


def test_the_water_goes_down_the_valley_through_the_lower_lake(solved):
    by = {(r["lake"], r["target"]): r for r in rows(solved["routes.csv"])}
    below = by["Upper", "HV01"]
    scale = ARCTIC.point_scale(np.radians(STATIONS[0][1]))
    expected = (X_M[20] - X_M[10] - 1500.0) / scale
    assert float(below["along_m"]) == pytest.approx(expected, abs=600.0)  # a cell
    assert abs(float(below["beside_m"])) == pytest.approx(600.0 / scale, abs=260.0)
    assert float(below["beside_m"]) > 0.0  # left, looking downstream
    assert (below["on_drawn_route"], below["probability"]) == ("yes", "1.000")
    assert (by["Upper", "HV02"]["on_drawn_route"], by["Upper", "HV02"]["along_m"]) == ("no", "")
    assert by["Upper", "HV03"]["kind"] == "station over it"
    assert float(by["Upper", "Lower"]["probability"]) == 1.0
    assert float(by["Lower", "Upper"]["probability"]) == 0.0
    assert by["Upper", "floating ice or the sea"]["on_drawn_route"] == "yes"


def test_arrival_is_distance_over_speed(solved):
    arrivals = [r for r in rows(solved["arrivals.csv"]) if r["lake"] == "Upper"]
    assert {r["station"] for r in arrivals} == {"HV01"}
    for row in arrivals:
        metres = float(row["middle_h"]) * 3600.0 * float(row["speed_m_s"])
        assert metres == pytest.approx(3.6e3, abs=700.0)
        assert float(row["low_h"]) <= float(row["middle_h"]) <= float(row["high_h"])
    assert [float(r["speed_m_s"]) for r in arrivals] == [0.05, 0.1, 0.2, 0.5, 1.0, 2.0]


def test_lines_and_areas_are_in_degrees(solved):
    features = json.loads(solved["routes.geojson"])["features"]
    assert [f["properties"]["lake"] for f in features] == ["Upper", "Lower"]
    line = np.radians(np.array(features[0]["geometry"]["coordinates"]))
    x, y = ARCTIC.forward(line[:, 1], line[:, 0])
    assert np.ptp(y) < 600.0
    assert (np.diff(x) > 0.0).all()
    assert json.loads(solved["predicted_lakes.geojson"])["type"] == "FeatureCollection"


def test_grids_hold_the_odds_and_the_head(solved, tmp_path):
    for name, fields_there in (
        ("route_probability.nc", {"probability_Upper", "probability_Lower", "upstream_area"}),
        ("head.nc", {"head", "sink_depth", "surface", "bed"}),
    ):
        (tmp_path / name).write_bytes(solved[name])
        with netcdf_file(tmp_path / name, mmap=False) as file:
            assert fields_there <= set(file.variables)
    odds = read_grids(tmp_path / "route_probability.nc").fields["probability_Upper"]
    assert (odds.min(), odds.max()) == (0.0, 1.0)
    head = read_grids(tmp_path / "head.nc").fields["head"]
    k = 0.95 * 0.917  # middle of the flotation range
    expected = fields()["bed"] + k * (fields()["surface"] - fields()["bed"])
    np.testing.assert_allclose(head, expected, atol=1e-3)


def test_words_name_what_was_found_and_taken(solved):
    words = solved["routes.txt"].decode()
    assert "It runs through Lower with probability 1.00." in words
    assert "It passes HV01 with probability 1.00" in words
    assert "HV03" not in words  # it stands over the lake
    assert "Under the changed surface the water of Upper keeps its way to within 2 km" in words
    assert "no geoid is given" in words
    assert "routes end where the ice is thinner than surface less bed" in words


def test_the_same_campaign_gives_the_same_bytes(solved, tmp_path):
    campaign(tmp_path, settings="what_if_m = 3.0\n")
    task = lakes_routes.RoutesTask("routes", "", tmp_path, STATIONS)
    again = lakes_routes.solve_routes(task)
    assert all(again[f"6-lakes/{name}"] == data for name, data in solved.items())


def test_the_verb_does_it_once_and_again_where_a_setting_changes(tmp_path):
    campaign(tmp_path)
    first = lakes.run(tmp_path)
    assert "water routes" in first.done
    assert not first.problems
    assert (tmp_path / "6-lakes" / "routes.csv").is_file()
    assert "water routes" in lakes.run(tmp_path).up_to_date
    path = tmp_path / "campaign.toml"
    path.write_text(path.read_text() + "flotation = [0.8, 0.9]\n")
    assert "water routes" in lakes.run(tmp_path).done
    (tmp_path / "maps" / "halvard.nc").unlink()
    gone = lakes.run(tmp_path)
    assert any("no grids and outlines" in sentence for sentence in gone.skipped)
    assert not (tmp_path / "6-lakes" / "routes.csv").exists()


def test_a_lake_that_the_grid_does_not_cover_is_left_out_and_said(tmp_path):
    far = outline("Far", X_M[-1] + 1e3, VALLEY_M)
    found = lakes_routes.routed(campaign(tmp_path, outlines=(*LAKES, far)), STATIONS)
    assert found.case.names == ("Upper", "Lower")
    assert any("'Far'" in line and "Left out" in line for line in sentences(found))


def test_without_stations_there_are_routes_all_the_same(tmp_path):
    found = lakes_routes.routed(campaign(tmp_path), ())
    _, table = route_rows(found)
    assert {row["kind"] for row in table} == {"lake", "end"}


def test_a_bed_from_the_thickness_is_the_same_bed(tmp_path):
    whole = fields()
    thickness = whole["surface"] - whole["bed"]
    maps = water_maps(campaign(tmp_path, {"bed": None, "thickness": thickness}))
    np.testing.assert_allclose(maps.bed_m, whole["bed"], atol=1e-3)
    assert any("surface less the thickness" in note for note in maps.notes)


def test_a_bed_on_other_cells_is_brought_to_those_of_the_surface(tmp_path):
    x, y = X_M[0] - 900.0 + 250.0 * np.arange(140), Y_M[0] - 900.0 + 300.0 * np.arange(70)
    east, north = np.meshgrid(x - X_M[0], y - VALLEY_M)
    bed = 200.0 - 0.01 * east + 8e-6 * north**2
    data = write_grids(Grids(x, y, 3413, {"bed": bed}, {"bed": "m"}))
    maps = water_maps(campaign(tmp_path, {"bed": None}, bed__nc=data))
    np.testing.assert_allclose(maps.bed_m, fields()["bed"], atol=0.5)
    assert any("bed was brought from other cells" in note for note in maps.notes)


def test_geotiff_leads_the_water_as_netcdf_does(tmp_path):
    whole = water_maps(campaign(tmp_path / "netcdf", settings="what_if_grid = 'lower.nc'\n",
                                lower__nc=lower_surface()))  # fmt: skip
    corner = X_M[0] - 250.0, Y_M[-1] + 250.0
    tiffs = {f"{k}__tif": geotiff(v[::-1], corner) for k, v in fields().items()}
    tiffs["surface_change__tif"] = geotiff(np.full(fields()["bed"].shape, -2.0), corner)
    settings = "what_if_grid = 'surface_change.tif'\n"
    found = water_maps(campaign(tmp_path / "tiff", dict.fromkeys(fields()), LAKES, settings,
                                **tiffs))  # fmt: skip
    for name in ("surface_m", "bed_m", "change_m"):
        np.testing.assert_allclose(getattr(found, name)[::-1], getattr(whole, name), atol=1e-3)
    assert np.array_equal(found.ends[::-1], whole.ends)


def lower_surface():
    """Return a NetCDF of the surface, 2 m lower."""
    words = {"surface": f"height {ABOVE}"}
    return write_grids(Grids(X_M, Y_M, 3413, {"surface": fields()["surface"] - 2.0},
                             {"surface": "m"}, words))  # fmt: skip


def test_a_geoid_is_taken_off_heights_above_the_ellipsoid(tmp_path):
    geoid = 26.0 + np.zeros_like(fields()["bed"])
    maps = water_maps(campaign(tmp_path, {"geoid": geoid}))
    assert (maps.geoid_m == 26.0).all()
    assert any("the geoid was taken off" in note for note in maps.notes)


def test_mixed_heights_are_brought_together_by_the_geoid(tmp_path):
    geoid, words = 26.0 + np.zeros_like(fields()["bed"]), {"bed": "bed above the geoid"}
    lower = {"bed": fields()["bed"] - 26.0, "geoid": geoid}
    maps = water_maps(campaign(tmp_path, lower, words=words))
    np.testing.assert_allclose(maps.bed_m, fields()["bed"], atol=1e-3)


def test_too_many_cells_are_made_fewer_and_that_is_said(tmp_path):
    maps = water_maps(campaign(tmp_path, settings="most_cells = 500\n"))
    assert maps.grid.shape == (15, 30)
    assert maps.ends.any()
    assert any("2 x 2 of them were made one, 1000 m wide" in note for note in maps.notes)


def test_a_second_surface_is_what_if(tmp_path):
    lower = fields()["surface"] - 5.0
    data = write_grids(Grids(X_M, Y_M, 3413, {"surface": lower}, {"surface": "m"}))
    settings = 'what_if_grid = "later.nc"\n'
    maps = water_maps(campaign(tmp_path, settings=settings, later__nc=data))
    np.testing.assert_allclose(maps.change_m, -5.0, atol=1e-3)


def holed():
    bed = fields()["bed"]
    bed[14:16, 20:22] = np.nan
    return bed


@pytest.mark.parametrize(
    ("changed", "more", "match"),
    [
        ({"surface": None}, {}, "needs 'surface'"),
        ({"bed": None, "thickness": None}, {}, "'bed' or 'thickness'"),
        ({"bed": fields()["surface"] + 40.0}, {}, "m below the bed in 100%"),
        ({"bed": np.maximum(fields()["thickness"] - 600.0, 0.0)}, {}, "looks like a thickness"),
        ({"bed": holed()}, {}, "hole"),
        ({}, {"words": {"bed": "above the geoid"}}, "give the geoid's height"),
        ({}, {"settings": 'what_if_grid = "no.nc"\n'}, "there is no such file"),
        ({}, {"outlines": (*LAKES, outline("Third", X_M[12], VALLEY_M))}, "overlap"),
        ({}, {"outlines": (outline("Far", X_M[-1] + 9e3, VALLEY_M),)}, "lie off the grid"),
    ],
)
def test_maps_that_cannot_be_used_are_said(tmp_path, changed, more, match):
    with pytest.raises(StakelineError, match=match):
        lakes_routes.routed(campaign(tmp_path, changed, **more), STATIONS)


def test_holes_may_be_gone_around(tmp_path):
    settings = 'on_holes = "around"\n'
    found = lakes_routes.routed(campaign(tmp_path, {"bed": holed()}, settings=settings), STATIONS)
    assert any("water goes around them" in line for line in sentences(found))


def test_times_are_said_as_a_person_does():
    assert [duration(3600.0), duration(86400.0 * 3)] == ["1.0 h", "3.0 d"]
