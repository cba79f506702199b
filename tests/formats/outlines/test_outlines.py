"""Outlines: round trip, the direction of rings, and what is refused."""

import json

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.outlines import Outline, read_outlines, read_rings, write_outlines

CLOCKWISE = np.array([[-22.0, 79.0], [-22.0, 79.1], [-21.9, 79.1], [-21.9, 79.0], [-22.0, 79.0]])


def test_round_trip_turns_rings_counter_clockwise(tmp_path):
    path = tmp_path / "lakes.geojson"
    path.write_bytes(write_outlines([Outline("Upper Halvard", CLOCKWISE)]))
    (read,) = read_outlines(path)
    # RFC 7946, section 3.1.6: outer rings are counter-clockwise
    np.testing.assert_allclose(read.ring_deg, CLOCKWISE[::-1], atol=1e-6)
    assert read.name == "Upper Halvard"


def test_an_open_ring_is_closed_on_writing(tmp_path):
    path = tmp_path / "lakes.geojson"
    path.write_bytes(write_outlines([Outline("open", CLOCKWISE[:-1])]))
    ring = read_outlines(path)[0].ring_deg
    np.testing.assert_array_equal(ring[0], ring[-1])


def polygon(ring):
    geometry = {"type": "Polygon", "coordinates": [ring]}
    return json.dumps({"type": "FeatureCollection", "features": [{"geometry": geometry}]})


@pytest.mark.parametrize(
    ("text", "match"),
    [
        ("", "FeatureCollection"),
        ('{"type": "Feature"}', "FeatureCollection"),
        ('{"features": [{"geometry": {"type": "Point"}}]}', "a Point; expected a Polygon"),
        (polygon([[0, 79], [1, 79], [0, 79]]), "3 points"),
        (polygon([[0, 79], [1, 79], [1, 80], [0, 80]]), "closed ring"),
        (polygon([[-22, "x"]]), "no ring of numbers"),
        (polygon([[4e5, -1e6], [5e5, -1e6], [5e5, -2e6], [4e5, -1e6]]), "projected metres"),
    ],
)
def test_what_is_no_outline_is_refused(tmp_path, text, match):
    path = tmp_path / "lakes.geojson"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(FormatError, match=match):
        read_outlines(path)


def test_rings_come_as_they_stand_with_holes_and_the_map_that_is_named(tmp_path):
    ring = [[4.0e5, -1.1e6], [4.1e5, -1.1e6], [4.1e5, -1.0e6], [4.0e5, -1.1e6]]
    hole = [[4.05e5, -1.09e6], [4.06e5, -1.09e6], [4.06e5, -1.08e6], [4.05e5, -1.09e6]]
    geometry = {"type": "Polygon", "coordinates": [ring, hole]}
    feature = {"geometry": geometry, "properties": {"name": "Lower Halvard"}}
    named = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::3413"}}
    content = {"type": "FeatureCollection", "features": [feature], "crs": named}
    path = tmp_path / "lakes.geojson"
    path.write_text(json.dumps(content), encoding="utf-8")
    (rings,) = read_rings(path)
    assert (rings.name, rings.epsg, rings.number) == ("Lower Halvard", 3413, 1)
    np.testing.assert_array_equal(rings.outer, ring)
    np.testing.assert_array_equal(rings.holes[0], hole)
    content.pop("crs")
    path.write_text(json.dumps(content), encoding="utf-8")
    assert read_rings(path)[0].epsg is None


def test_parts_of_a_multipolygon_are_asked_for_by_name(tmp_path):
    content = {"features": [{"geometry": {"type": "MultiPolygon", "coordinates": []}}]}
    path = tmp_path / "lakes.geojson"
    path.write_text(json.dumps(content), encoding="utf-8")
    with pytest.raises(FormatError, match="MultiPolygon as features of their own"):
        read_rings(path)
