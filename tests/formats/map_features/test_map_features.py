"""GeoJSON: turns of rings, cuts at the antimeridian, the same bytes."""

import json

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.map_features import Feature, write_features

SQUARE = np.array([[0.0, 78.0], [0.0, 79.0], [4.0, 79.0], [4.0, 78.0]])  # clockwise
HOLE = np.array([[1.0, 78.2], [3.0, 78.2], [3.0, 78.8], [1.0, 78.8]])  # counter-clockwise


def written(*features):
    return json.loads(write_features(features))["features"]


def turn(ring):
    x, y = np.array(ring).T
    return np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])


def test_rings_close_and_turn_as_the_standard_asks():
    outer, hole = written(Feature("Polygon", (SQUARE, HOLE)))[0]["geometry"]["coordinates"]
    assert outer[0] == outer[-1]
    assert turn(outer) > 0.0 > turn(hole)
    turned = written(Feature("Polygon", (SQUARE[::-1], HOLE[::-1])))[0]["geometry"]["coordinates"]
    assert turn(turned[0]) > 0.0 > turn(turned[1])


def test_a_line_across_the_antimeridian_is_cut_there():
    line = np.array([[178.0, -80.0], [179.0, -80.0], [-179.0, -81.0], [-178.0, -81.0]])
    for longitude in (line, line % 360.0 * [1.0, 0.0] + line * [0.0, 1.0]):
        geometry = written(Feature("LineString", (longitude,)))[0]["geometry"]
        assert geometry["type"] == "MultiLineString"
        first, second = geometry["coordinates"]
        assert first[-1] == [180.0, -80.5]
        assert second[0] == [-180.0, -80.5]
        assert len(first) + len(second) == 6
    back = np.vstack([line, line[::-1]])
    assert len(written(Feature("LineString", (back,)))[0]["geometry"]["coordinates"]) == 3


def test_a_line_and_a_place_keep_their_numbers():
    line, place = written(
        Feature("LineString", (SQUARE,)), Feature("Point", ([[1.23456789, 79.0]],), {"name": "a"})
    )
    assert line["geometry"] == {"type": "LineString", "coordinates": SQUARE.tolist()}
    assert place["geometry"]["coordinates"] == [1.234568, 79.0]


def test_numbers_that_are_not_known_are_null():
    properties = {"depth_m": np.nan, "area_km2": np.float32(2.5), "count": np.int64(3)}
    found = written(Feature("Point", ([0.0, 79.0],), properties))[0]["properties"]
    assert found == {"depth_m": None, "area_km2": 2.5, "count": 3}


@pytest.mark.parametrize(
    ("feature", "match"),
    [
        (Feature("Circle", (SQUARE,)), "a Circle of 1 parts"),
        (Feature("LineString", (SQUARE, SQUARE)), "a LineString of 2 parts"),
        (Feature("LineString", (SQUARE[:1],)), r"a LineString of shape \(1, 2\)"),
        (Feature("Point", ([3e5, -1e6],)), "longitude, latitude in degrees"),
        (Feature("Polygon", ([[179.0, 80.0], [-179.0, 80.0], [-179.0, 81.0]],)), "antimeridian"),
    ],
)
def test_what_is_no_feature_is_refused(feature, match):
    with pytest.raises(FormatError, match=match):
        write_features([feature])
