"""GPX 1.1: round trip, order of the elements, the same bytes, what is refused."""

import json
import math
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.map_features import Feature, write_features
from stakeline.formats.waypoints import Track, Waypoint, read_waypoints, write_waypoints
from stakeline.time import from_calendar

NOON = int(from_calendar(2027, 1, 12, 12))
PLACES = [
    Waypoint("HV01", 79.2345678, -22.5, 812.25, NOON, "flag", "antenna & box <red>"),
    Waypoint("HV02", -79.0, 179.9999999),
]
LINE = Track("HV01 to search", np.array([[-22.5, 79.2], [-22.4, 79.3], [-22.5, 79.2]]))


def test_round_trip():
    read, tracks = read_waypoints(write_waypoints(PLACES, [LINE], title="visit", time_utc_ns=NOON))
    assert read[0] == PLACES[0]
    assert math.isnan(read[1].elevation_m)
    assert (read[1].name, read[1].latitude_deg, read[1].longitude_deg) == (
        *("HV02", -79.0, 179.9999999),
    )
    assert tracks[0].name == LINE.name
    assert tracks[0].points_deg == pytest.approx(LINE.points_deg)


def test_children_stand_in_the_order_of_the_schema():
    root = ElementTree.fromstring(write_waypoints(PLACES, [LINE], title="visit", time_utc_ns=NOON))
    names = [child.tag.partition("}")[2] for child in root]
    assert names == ["metadata", "wpt", "wpt", "trk"]
    assert [c.tag.partition("}")[2] for c in root[1]] == ["ele", "time", "name", "cmt", "desc"]
    assert root.get("version") == "1.1"
    assert root[1][1].text == "2027-01-12T12:00:00Z"


def test_longitude_stays_below_one_hundred_and_eighty():
    for longitude in (180.0, -180.0, 179.99999999, 540.0 - 360.0):
        read, _ = read_waypoints(write_waypoints([Waypoint("a", 0.0, longitude)]))
        assert read[0].longitude_deg == -180.0
    assert read_waypoints(write_waypoints([Waypoint("a", 0.0, 337.5)]))[0][0].longitude_deg == -22.5


def test_an_ellipse_to_search_goes_out_as_gpx_and_as_geojson():
    turn = np.linspace(0.0, 2.0 * np.pi, 37)
    ring = np.column_stack([-22.5 + 1e-3 * np.cos(turn), 79.2 + 2e-4 * np.sin(turn)])
    _, tracks = read_waypoints(write_waypoints(PLACES, [Track("search", ring)]))
    assert tracks[0].points_deg == pytest.approx(ring, abs=0.51e-7)
    area = json.loads(write_features([Feature("Polygon", (ring,), {"name": "search"})]))
    corners = area["features"][0]["geometry"]["coordinates"][0]
    assert np.array(corners) == pytest.approx(ring, abs=0.51e-6)


def test_same_places_same_bytes():
    assert write_waypoints(PLACES, [LINE]) == write_waypoints(PLACES, [LINE])
    assert write_waypoints([]).count(b"\n") == 2


@pytest.mark.parametrize(
    ("data", "sentence"),
    [
        (b"no xml at all", "here.gpx:1: found no XML"),
        (b"<gpx version='1.1'/>", "expected the root gpx of http://www.topografix.com/GPX/1/1"),
        (b'<!DOCTYPE a [<!ENTITY b "c">]><gpx/>', "found a document type declaration"),
        (b'<?xml version="1.0" encoding="none"?><gpx/>', "found no XML"),
        (write_waypoints(PLACES).replace(b'version="1.1"', b'version="1.0"'), "of version 1.0"),
        (write_waypoints(PLACES).replace(b"79.2345678", b"97.2345678"), "at most 90 and 180"),
        (write_waypoints(PLACES).replace(b'lat="79.2345678"', b""), "found lat None"),
        (write_waypoints(PLACES).replace(b"812.25", b"high"), "found ele 'high'; expected metres"),
        (write_waypoints(PLACES).replace(b"2027-01-12T", b"tomorrow "), "expected UTC such as"),
        (write_waypoints(PLACES).replace(b"00:00Z", b"00:00+02:00"), "expected UTC such as"),
    ],
)
def test_what_is_no_gpx_is_refused(data, sentence):
    with pytest.raises(FormatError) as refused:
        read_waypoints(data, "here.gpx")
    assert sentence in str(refused.value)
    assert str(refused.value).startswith("here.gpx")


@pytest.mark.parametrize(
    ("place", "sentence"),
    [
        (Waypoint("a", 91.0, 0.0), "a at 91.0, 0.0"),
        (Waypoint("a", math.nan, 0.0), "a at nan, 0.0"),
        (Waypoint("a\x00", 1.0, 0.0), "without control characters"),
    ],
)
def test_what_no_gpx_can_hold_is_refused(place, sentence):
    with pytest.raises(FormatError, match=sentence):
        write_waypoints([place])
