"""Shapefiles: the same outlines as GeoJSON, degrees told from metres, damage told as such."""

import json

import numpy as np
import pytest
import shapefile

from stakeline.errors import FormatError
from stakeline.formats.outlines import (
    Outline,
    outline_parts,
    read_outlines,
    read_rings,
    write_outlines,
)
from stakeline.formats.outlines import shapefile as reader

RING = np.array([[-22.0, 79.0], [-21.9, 79.0], [-21.9, 79.1], [-22.0, 79.1], [-22.0, 79.0]])
HOLE = np.array([[-21.97, 79.03], [-21.93, 79.03], [-21.93, 79.07], [-21.97, 79.07]])
HOLE = np.vstack([HOLE, HOLE[:1]])
METRES = 1e4 * np.array([[48.0, -118.0], [49.0, -118.0], [49.0, -117.0], [48.0, -117.0]])
METRES = np.vstack([METRES, METRES[:1]])
# Well-known text as OGC 01-009, clause 7, has it; parameters of the EPSG dataset
DEGREES = 'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563]],'
DEGREES += 'PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]'


def polar(parallel=70.0, meridian=-45.0, name="standard_parallel_1", unit=1.0, easting=0.0):
    return (
        f'PROJCS["polar",{DEGREES},PROJECTION["Polar_Stereographic"],'
        f'PARAMETER["{name}",{parallel}],PARAMETER["central_meridian",{meridian}],'
        f'PARAMETER["false_easting",{easting}],UNIT["metre",{unit}]]'
    )


def lay(folder, rings, names=("Upper Halvard",), prj=DEGREES, kind=shapefile.POLYGON):
    """Write a shapefile with one shape of the rings for each name; return its path."""
    path = folder / "lakes.shp"
    with shapefile.Writer(str(path), shapeType=kind) as sink:
        sink.field("NAME", "C", size=40)
        for name in names:
            sink.poly([ring.tolist() for ring in rings])
            sink.record(name)
    if prj:
        path.with_suffix(".prj").write_text(prj)
    return path


def test_a_shapefile_holds_what_geojson_holds(tmp_path):
    path = lay(tmp_path, [RING[::-1], HOLE])  # outer rings clockwise, holes the other way
    content = {"properties": {"name": "Upper Halvard"}}
    content["geometry"] = {"type": "Polygon", "coordinates": [RING.tolist(), HOLE[::-1].tolist()]}
    same = tmp_path / "lakes.geojson"
    same.write_text(json.dumps({"type": "FeatureCollection", "features": [content]}))
    (one,), (other,) = read_rings(path), read_rings(same)
    assert (one.name, one.number, one.in_metres) == (other.name, other.number, False)
    np.testing.assert_array_equal(one.outer, other.outer[::-1])
    np.testing.assert_array_equal(one.holes[0], other.holes[0][::-1])


def test_outlines_round_trip_through_both(tmp_path):
    (read,) = read_outlines(lay(tmp_path, [RING[::-1]]))
    path = tmp_path / "again.geojson"
    path.write_bytes(write_outlines([Outline(read.name, read.ring_deg)]))
    np.testing.assert_allclose(read_outlines(path)[0].ring_deg, RING, atol=1e-6)


@pytest.mark.parametrize(
    ("prj", "metres", "epsg"),
    [
        (polar(), True, 3413),
        (polar(name="latitude_of_origin"), True, 3413),
        (polar(-71.0, 0.0), True, 3031),
        ("", None, None),
    ],
)
def test_the_file_of_the_map_tells_metres_and_which_map(tmp_path, prj, metres, epsg):
    (rings,) = read_rings(lay(tmp_path, [METRES[::-1]], prj=prj))
    assert (rings.metres, rings.epsg) == (metres, epsg)
    assert rings.in_metres


def test_small_metres_are_metres_where_the_file_says_so(tmp_path):
    """Within 90 m of the pole numbers alone would look like degrees."""
    (rings,) = read_rings(lay(tmp_path, [RING[::-1]], prj=polar()))
    assert rings.in_metres
    with pytest.raises(FormatError, match="degrees"):
        read_outlines(tmp_path / "lakes.shp")


@pytest.mark.parametrize(
    ("prj", "match"),
    [
        (polar(75.0), "the map polar; expected degrees, EPSG:3413 or EPSG:3031"),
        (polar(easting=2e6), "the map polar"),
        (polar().replace("Polar_Stereographic", "Transverse_Mercator"), "the map polar"),
        (polar(unit=0.3048), "in units of 0.3048; expected metres"),
        (DEGREES.replace("0.0174532925199433", "0.015707963"), "expected degrees"),
        ("no map at all", "GEOGCS or PROJCS"),
    ],
)
def test_maps_that_are_none_of_ours_are_refused(tmp_path, prj, match):
    with pytest.raises(FormatError, match=match) as refused:
        read_rings(lay(tmp_path, [RING[::-1]], prj=prj))
    assert "lakes" in refused.value.file


def test_no_name_gives_a_number_and_every_feature_counts(tmp_path):
    found = read_rings(lay(tmp_path, [RING[::-1]], names=("Upper Halvard", "")))
    assert [(one.name, one.number) for one in found] == [("Upper Halvard", 1), ("outline 2", 2)]
    (tmp_path / "lakes.dbf").unlink()
    assert [one.name for one in read_rings(tmp_path / "lakes.shp")] == ["outline 1", "outline 2"]


def test_letters_are_those_of_the_code_page(tmp_path):
    path = tmp_path / "lakes.shp"
    with shapefile.Writer(str(path), shapeType=shapefile.POLYGON, encoding="latin-1") as sink:
        sink.field("name", "C", size=40)
        sink.poly([RING[::-1].tolist()])
        sink.record("Øvre Halvard")
    path.with_suffix(".cpg").write_text("1252")
    assert read_rings(path)[0].name == "Øvre Halvard"


def test_several_parts_and_other_shapes_are_refused(tmp_path):
    with pytest.raises(FormatError, match="2 outer rings"):
        read_rings(lay(tmp_path, [RING[::-1], RING[::-1] + 1.0]))
    path = tmp_path / "lines.shp"
    with shapefile.Writer(str(path), shapeType=shapefile.POLYLINE) as sink:
        sink.field("name", "C", size=40)
        sink.line([RING.tolist()])
        sink.record("a line")
    with pytest.raises(FormatError, match="a line\\): POLYLINE; expected a polygon"):
        read_rings(path)


@pytest.mark.parametrize("length", [0, 40, 101, 180])
def test_a_file_that_is_cut_off_is_refused_with_its_name(tmp_path, length):
    path = lay(tmp_path, [RING[::-1]])
    path.write_bytes(path.read_bytes()[:length])
    with pytest.raises(FormatError, match="shapefile") as refused:
        read_rings(path)
    assert refused.value.file.endswith("lakes.shp")


def test_damaged_bytes_are_refused_or_read_never_worse(tmp_path):
    path = lay(tmp_path, [RING[::-1], HOLE])
    whole, chance = path.read_bytes(), np.random.default_rng(3)
    refused = 0
    for _ in range(200):
        data = bytearray(whole)
        data[int(chance.integers(len(data)))] ^= int(chance.integers(1, 256))
        path.write_bytes(bytes(data))
        try:
            read_rings(path)
        except FormatError:
            refused += 1
    assert refused > 20  # most bytes are coordinates, which stay numbers


def test_rows_that_do_not_fit_the_shapes_are_refused(tmp_path):
    (tmp_path / "two").mkdir()
    two = lay(tmp_path / "two", [RING[::-1]], names=("a", "b"))
    path = lay(tmp_path, [RING[::-1]])
    path.with_suffix(".dbf").write_bytes(two.with_suffix(".dbf").read_bytes())
    with pytest.raises(FormatError, match="1 shapes, 2 rows"):
        read_rings(path)


def test_without_the_library_the_extra_is_named(tmp_path, monkeypatch):
    path = lay(tmp_path, [RING[::-1]])
    monkeypatch.setattr(reader, "shapefile", None)
    with pytest.raises(FormatError, match=r"pip install 'stakeline\[shapefile\]'"):
        read_rings(path)


def test_the_parts_of_a_file_are_those_of_its_name(tmp_path):
    path = lay(tmp_path, [RING[::-1]])
    (tmp_path / "lakes.txt").write_text("no part")
    (tmp_path / "lakes.old.dbf").write_text("of another file")
    names = {part.name for part in outline_parts(path)}
    assert names == {"lakes.shp", "lakes.shx", "lakes.dbf", "lakes.prj"}
    assert outline_parts(tmp_path / "a.geojson") == (tmp_path / "a.geojson",)
