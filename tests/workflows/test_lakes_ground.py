"""Outlines, thickness and roles of stations: whatever file and format maps/ holds."""

import json
import re
import sys
from pathlib import Path

import numpy as np
import pytest
import shapefile

from stakeline.campaign.folders import open_campaign
from stakeline.errors import FormatError, SettingsError
from stakeline.formats.grids import Grids, write_grids
from stakeline.formats.outlines import Outline
from stakeline.workflows.lakes_ground import ice_thickness, lake_outlines, measured_pattern
from stakeline.workflows.lakes_places import CONTROL, NEITHER, OVER, roles, tracks
from stakeline.workflows.motion_ground import map_sheet
from stakeline.workflows.motion_results import station_results

sys.path.append(str(Path(__file__).parent))
from lakes_campaign import CENTRE_M, ICE, RADIUS_M, geotiff, make, reset, ring_deg, station


def ground(root):
    campaign = open_campaign(root)
    results = {r.station: r for r in station_results(campaign)}
    outlines = lake_outlines(campaign)
    located = tracks(campaign, list(results), outlines.epsg)
    (outline,) = outlines.lakes["Upper Halvard"]
    found = roles(campaign, "Upper Halvard", outline, [outline], located, results)
    return {one.station: one for one in found}


def test_stations_get_their_roles_by_where_they_were(tmp_path):
    root = make(tmp_path / "trial", ICE)
    station(root, "HV05", 0.0, 5, speed_m_d=20.0, place_m=(RADIUS_M - 700.0, 0.0))  # in, then out
    station(root, "HV06", 0.0, 6, place_m=(RADIUS_M + 500.0, 0.0))  # nearer than two thicknesses
    station(root, "HV07", 0.0, 7, speed_m_d=0.0, place_m=(0.0, 8000.0))  # rock
    station(root, "HV08", 0.0, 8, tide_m=0.4, place_m=(0.0, -8000.0))  # afloat
    station(root, "HV09", 0.0, 9, place_m=(25e3, 0.0))
    found = ground(root)
    assert {n: one.role for n, one in found.items() if one.role != NEITHER} == {
        "HV02": OVER, "HV03": OVER, "HV05": OVER, "HV04": CONTROL,
    }  # fmt: skip
    assert found["HV02"].inside_m == pytest.approx(RADIUS_M, rel=0.03)
    assert "of its days only, out over the margin on 2031-06-0" in found["HV05"].words
    assert "nearer than 1.4 km (2 ice thicknesses)" in found["HV06"].words
    assert "on rock" in found["HV07"].words
    assert "afloat" in found["HV08"].words
    assert "further than controls may stand" in found["HV09"].words


def test_stations_by_hand_stand_for_those_found(tmp_path):
    root = make(tmp_path / "trial", ICE + 'stations = ["HV03"]\ncontrols = []\n')
    found = ground(root)
    assert [n for n, one in found.items() if one.role == OVER] == ["HV03"]
    assert all(one.role == NEITHER for n, one in found.items() if n != "HV03")
    assert "by hand" in found["HV02"].words
    reset(root, ICE + 'stations = ["HV77"]\n')
    with pytest.raises(SettingsError, match="names station HV77; with motion and positions"):
        ground(root)


def test_outlines_in_degrees_and_metres_are_the_same_lake(tmp_path):
    root = make(tmp_path / "trial", ICE)
    in_degrees = lake_outlines(open_campaign(root))
    drawn = map_sheet(open_campaign(root), np.radians(79.0)).ground.lakes[0]
    turn = np.linspace(0.0, 2.0 * np.pi, 49)
    ring = np.round(CENTRE_M + RADIUS_M * np.stack([np.cos(turn), np.sin(turn)], axis=1), 1)
    ring[-1] = ring[0]
    feature = {"type": "Feature", "properties": {"name": "Upper Halvard"},
               "geometry": {"type": "Polygon", "coordinates": [ring.tolist()]}}  # fmt: skip
    content = {"type": "FeatureCollection", "features": [feature]}
    path = root / "maps" / "lakes.geojson"
    path.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(SettingsError, match="nothing names their map; set map_epsg"):
        lake_outlines(open_campaign(root))
    reset(root, "[lakes]\nmap_epsg = 3413\n" + ICE)
    in_metres = lake_outlines(open_campaign(root))
    areas = [one.lakes["Upper Halvard"][0].area_m2 for one in (in_degrees, in_metres)]
    assert areas[0] == pytest.approx(areas[1], rel=1e-3)
    assert "was taken as metres of EPSG:3413" in in_metres.notes[0]
    again = map_sheet(open_campaign(root), np.radians(79.0)).ground.lakes[0]
    np.testing.assert_allclose(np.mean(drawn[1][:-1]), np.mean(again[1][:-1]), atol=1e-3)


def test_outlines_that_are_wrong_name_file_and_feature(tmp_path):
    crossed = ring_deg()[[0, 12, 6, 18]]
    root = make(tmp_path / "trial", ICE, outlines=[Outline("Upper Halvard", crossed)])
    with pytest.raises(SettingsError, match=r"maps/lakes.geojson, feature 1: .* crosses itself"):
        lake_outlines(open_campaign(root))
    (root / "maps" / "lakes.geojson").write_text("{}", encoding="utf-8")
    with pytest.raises(FormatError, match="a GeoJSON FeatureCollection"):
        lake_outlines(open_campaign(root))


def test_variants_of_one_outline_stay_together(tmp_path):
    variants = [Outline("Upper Halvard", ring_deg(radius_m=r)) for r in (RADIUS_M, 2700.0)]
    root = make(tmp_path / "trial", ICE, outlines=variants)
    found = lake_outlines(open_campaign(root)).lakes["Upper Halvard"]
    assert found[1].area_m2 / found[0].area_m2 == pytest.approx((2700.0 / RADIUS_M) ** 2, rel=1e-3)
    twins = [Outline(name, ring_deg()) for name in ("Upper Halvard", "Upper_Halvard")]
    other = make(tmp_path / "other", outlines=twins, stations=())
    with pytest.raises(SettingsError, match="two would share one folder"):
        lake_outlines(open_campaign(other))


def test_the_thickness_by_hand_goes_before_the_map(tmp_path):
    campaign = open_campaign(make(tmp_path / "trial", ICE))
    (outline,) = lake_outlines(campaign).lakes["Upper Halvard"]
    found = ice_thickness(campaign, outline)
    assert (found.value_m, found.sigma_m, found.source) == (700.0, 35.0, "campaign.toml")


NORTH_WEST = CENTRE_M + np.array([-6e3, 6e3])


def plane(level_m):
    """Return a field over the lake that rises by 1 m a cell to the south."""
    return level_m + np.repeat(np.arange(24.0)[:, None], 24, axis=1)


def thickness_of(root):
    campaign = open_campaign(root)
    (outline,) = lake_outlines(campaign).lakes["Upper Halvard"]
    return ice_thickness(campaign, outline)


def test_the_thickness_is_read_from_geotiff_as_from_netcdf(tmp_path):
    root = make(tmp_path / "trial", stations=())
    maps = root / "maps"
    with pytest.raises(SettingsError, match="set thickness_m in"):
        thickness_of(root)
    (maps / "surface.tif").write_bytes(geotiff(plane(900.0), NORTH_WEST))
    (maps / "bed.tif").write_bytes(geotiff(plane(180.0), NORTH_WEST))
    found = thickness_of(root)
    assert found.value_m == pytest.approx(720.0, abs=0.1)
    assert found.sigma_m == pytest.approx(36.0, abs=0.1)  # a twentieth; both slope alike
    assert found.source == "surface less bed of maps/surface.tif and maps/bed.tif along the outline"
    (maps / "thickness.tif").write_bytes(geotiff(np.full((24, 24), 700.0), NORTH_WEST))
    assert thickness_of(root).source == "thickness of maps/thickness.tif along the outline"
    (maps / "thickness.tif").unlink()
    axis = CENTRE_M[:, None] + 500.0 * (np.arange(24) - 11.5)
    surface, bed = plane(900.0)[::-1], plane(180.0)[::-1]
    grids = Grids(*axis, 3413, {"surface": surface, "bed": bed}, {"surface": "m", "bed": "m"})
    (maps / "a.nc").write_bytes(write_grids(grids))
    one = thickness_of(root)
    assert one.source == "surface less bed of maps/a.nc along the outline"
    assert (one.value_m, one.sigma_m) == pytest.approx((found.value_m, found.sigma_m), rel=1e-5)


def test_a_map_that_does_not_hold_the_lake_gives_way_to_the_next(tmp_path):
    root = make(tmp_path / "trial", stations=())
    away = geotiff(np.full((24, 24), 300.0), CENTRE_M + 50e3)
    (root / "maps" / "a").with_suffix(".tif").write_bytes(away)
    (root / "maps" / "thickness.tif").write_bytes(away)
    with pytest.raises(SettingsError, match="is not known"):
        thickness_of(root)
    (root / "maps" / "bed.tif").write_bytes(geotiff(plane(180.0), NORTH_WEST))
    (root / "maps" / "surface.tiff").write_bytes(geotiff(plane(900.0), NORTH_WEST))
    assert thickness_of(root).value_m == pytest.approx(720.0, abs=0.1)


def test_a_map_of_a_part_of_the_lake_says_so_and_of_its_edge_is_refused(tmp_path):
    root = make(tmp_path / "trial", stations=())
    x = NORTH_WEST[0] + 500.0 * (np.arange(24) + 0.5)

    def lay(east_of_m):
        field = np.broadcast_to(np.where(x > CENTRE_M[0] + east_of_m, np.nan, 700.0), (24, 24))
        (root / "maps" / "thickness.tif").write_bytes(geotiff(field, NORTH_WEST))

    lay(0.4 * RADIUS_M)
    told = re.search(r"which covers (\d+)% of the lake", thickness_of(root).source)
    # a chord at 0.4 radii, less the cell beside it that has a neighbour without a value: by hand
    cut = [np.arccos(a) - a * np.sqrt(1.0 - a**2) for a in (0.4, 0.4 - 500.0 / RADIUS_M)]
    low, high = (100.0 * (1.0 - c / np.pi) for c in cut[::-1])
    assert low - 1.0 < float(told[1]) < high + 1.0
    lay(-0.5 * RADIUS_M)
    with pytest.raises(SettingsError, match=r"covers [12]\d% of it, less than 50%"):
        thickness_of(root)
    hole = np.full((24, 24), 700.0)
    hole[8:16, 8:16] = np.nan  # all but the margin
    (root / "maps" / "thickness.tif").write_bytes(geotiff(hole, NORTH_WEST))
    with pytest.raises(SettingsError, match="less than 50%"):
        thickness_of(root)


def test_the_measured_pattern_is_that_of_an_earlier_run(tmp_path):
    root = make(tmp_path / "trial", stations=())
    with pytest.raises(SettingsError, match=r"altimetry_summary.csv is missing; it is made"):
        measured_pattern(open_campaign(root), "Upper Halvard")
    folder = root / "6-lakes" / "Upper_Halvard"
    folder.mkdir(parents=True)
    rows = "HV02,1.2,0.05,passes\nHV02,1.1,0.02,maps\nHV03,0.9,0.04,passes\nHV05,,,passes\n"
    text = f"station,share,share_sigma,source\n{rows}"
    (folder / "altimetry_summary.csv").write_text(text, encoding="utf-8")
    found = measured_pattern(open_campaign(root), "Upper Halvard")
    assert found == {"HV02": (1.1, 0.02), "HV03": (0.9, 0.04)}  # the surer of two sources


def test_heights_above_different_things_need_the_geoid(tmp_path):
    root = make(tmp_path / "trial", stations=())
    axis = CENTRE_M[:, None] + 500.0 * (np.arange(24) - 11.5)

    def lay(name, level_m, words):
        grids = Grids(*axis, 3413, {name: np.full((24, 24), level_m)}, {name: "m"}, {name: words})
        (root / "maps" / f"{name}.nc").write_bytes(write_grids(grids))

    lay("surface", 900.0, "height above the ellipsoid")
    lay("bed", 180.0, "height above the geoid")
    with pytest.raises(SettingsError, match="give the geoid's height above the ellipsoid"):
        thickness_of(root)
    lay("geoid", 30.0, "height of the geoid above the ellipsoid")
    assert thickness_of(root).value_m == pytest.approx(690.0, abs=0.1)


def test_a_shapefile_is_the_same_lake_in_degrees_and_in_metres(tmp_path):
    root = make(tmp_path / "trial", stations=())
    path = root / "maps" / "lakes.geojson"
    in_degrees = lake_outlines(open_campaign(root))
    path.unlink()
    turn = np.linspace(0.0, -2.0 * np.pi, 49)  # clockwise
    ring = CENTRE_M + RADIUS_M * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    with shapefile.Writer(str(root / "maps" / "lakes.shp"), shapeType=shapefile.POLYGON) as sink:
        sink.field("name", "C")
        sink.poly([np.vstack([ring[:-1], ring[:1]]).tolist()])
        sink.record("Upper Halvard")
    prj = root / "maps" / "lakes.prj"
    prj.write_text(
        'PROJCS["EPSG:3413",GEOGCS["WGS 84",UNIT["degree",0.0174532925199433]],'
        'PROJECTION["Polar_Stereographic"],PARAMETER["latitude_of_origin",70],'
        'PARAMETER["central_meridian",-45],UNIT["metre",1]]'
    )
    in_metres = lake_outlines(open_campaign(root))
    areas = [one.lakes["Upper Halvard"][0].area_m2 for one in (in_degrees, in_metres)]
    assert areas[0] == pytest.approx(areas[1], rel=1e-3)
    assert in_metres.epsg == 3413  # the file names its map
    names = {name for name, _ in in_metres.files}
    assert names == {f"maps/lakes.{end}" for end in ("shp", "shx", "dbf", "prj")}
    drawn = map_sheet(open_campaign(root), np.radians(79.0))
    np.testing.assert_allclose(drawn.ground.lakes[0][1], 1e-3 * ring[:, 0])
    prj.write_text('GEOGCS["WGS 84",UNIT["degree",0.0174532925199433]]')
    with pytest.raises(SettingsError, match="its file says degrees, and 48 of 48 points cannot"):
        lake_outlines(open_campaign(root))
