"""Waypoints: any come back as they went; damaged files read or are refused in one sentence."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stakeline.errors import FormatError
from stakeline.formats.waypoints import Track, Waypoint, read_waypoints, write_waypoints

WORDS = st.text(
    st.characters(codec="utf-8", exclude_categories=("C",), exclude_characters="\ufffe\uffff")
).map(lambda text: " ".join(text.split()))
PLACES = st.builds(
    Waypoint,
    name=WORDS,
    latitude_deg=st.floats(-90.0, 90.0),
    longitude_deg=st.floats(-180.0, 179.9999),
    elevation_m=st.floats(-500.0, 9000.0),
    time_utc_ns=st.integers(0, 4_000_000_000).map(lambda s: s * 1_000_000_000),
    comment=WORDS,
    description=WORDS,
)
WHOLE = write_waypoints(
    [Waypoint("HV01", 79.2, -22.5, 812.0, 0, "flag")], [Track("around", np.array([[-22.5, 79.2]]))]
)


@given(st.lists(PLACES, max_size=4))
@settings(max_examples=60, deadline=None)
def test_any_waypoints_come_back(places):
    read, _ = read_waypoints(write_waypoints(places))
    assert len(read) == len(places)
    for one, two in zip(places, read, strict=True):
        assert (two.name, two.comment, two.description, two.time_utc_ns) == (
            *(one.name, one.comment, one.description, one.time_utc_ns),
        )
        assert two.latitude_deg == pytest.approx(one.latitude_deg, abs=0.5001e-7)
        assert two.longitude_deg == pytest.approx(one.longitude_deg, abs=0.5001e-7)
        assert two.elevation_m == pytest.approx(one.elevation_m, abs=0.00501)


@given(st.integers(0, len(WHOLE) - 1), st.binary(max_size=3), st.integers(0, 20))
@settings(max_examples=150, deadline=None)
def test_damaged_files_read_or_are_refused(place, instead, lost):
    damaged = WHOLE[:place] + instead + WHOLE[place + lost :]
    try:
        waypoints, tracks = read_waypoints(damaged, "damaged.gpx")
    except FormatError as error:
        assert "damaged.gpx" in str(error)  # noqa: PT017 - either outcome is right
    else:
        assert all(abs(one.latitude_deg) <= 90.0 for one in waypoints)
        assert all(one.points_deg.shape[1] == 2 for one in tracks)
