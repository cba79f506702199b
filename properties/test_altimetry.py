"""Altimetry survives its way through a table; damaged files are refused in words."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from stakeline.errors import FormatError
from stakeline.formats.altimetry import joined_points, read_altimetry_hdf5, read_altimetry_table
from stakeline.formats.altimetry.height_change import read_height_change
from stakeline.formats.plain_table import write_plain_table
from stakeline.time import utc_from_gps

ROWS = st.lists(
    st.tuples(
        st.integers(0, 10**17),  # ns after 2017
        st.floats(-90.0, 90.0),
        st.floats(-180.0, 360.0),
        st.floats(-499.0, 8999.0),
        st.floats(0.001, 10.0),
        st.integers(0, 1387),
        st.integers(0, 99),
    ),
    min_size=1,
    max_size=20,
)
GOOD = (
    b"# height_above: ellipsoid\ntime_utc,latitude_deg,longitude_deg,height_m,sigma_m,track,cycle\n"
    b"2031-05-01T00:00:00Z,79.5,-40.25,812.125,0.08,7,3\n"
)


def written(rows, path):
    time_ns, latitude, longitude, height, sigma, track, cycle = map(
        np.array, zip(*rows, strict=True)
    )
    time_ns = np.sort(time_ns) + 1_488_000_000_000_000_000
    columns = {"time_utc": utc_from_gps(time_ns), "latitude_deg": latitude}
    columns |= {"longitude_deg": longitude, "height_m": height, "sigma_m": sigma}
    decimals = dict.fromkeys(columns, 9)
    path.write_bytes(write_plain_table(columns | {"track": track, "cycle": cycle}, decimals))
    return time_ns, height, track, cycle


def outcome(read, path):
    """Return (number of points, what was said)."""
    try:
        points = read(path)
    except FormatError as problem:
        return 0, str(problem)
    return len(points), " ".join(points.notes)


@given(rows=ROWS)
def test_a_table_keeps_what_its_decimals_hold(rows, tmp_path_factory):
    path = tmp_path_factory.getbasetemp() / "passes.csv"
    time_ns, height, track, cycle = written(rows, path)
    points = read_altimetry_table(path)
    np.testing.assert_array_equal(points.time_ns, time_ns)
    np.testing.assert_allclose(points.height_m, height, atol=1e-9)
    assert [points.track_names[k] for k in points.track] == [str(v) for v in track]
    np.testing.assert_array_equal(points.cycle, cycle)


@given(rows=ROWS, cut=st.integers(0, 20))
def test_parts_joined_are_the_whole(rows, cut, tmp_path_factory):
    path = tmp_path_factory.getbasetemp() / "whole.csv"
    written(rows, path)
    whole = read_altimetry_table(path)
    parts = [whole.chosen(slice(None, cut)), whole.chosen(slice(cut, None))]
    joined = joined_points(parts)
    for name in ("time_ns", "place", "height_m", "track", "cycle"):
        np.testing.assert_array_equal(getattr(joined, name), getattr(whole, name), err_msg=name)


@given(place=st.integers(0, len(GOOD) - 1), byte=st.integers(0, 255))
def test_a_damaged_byte_is_read_or_refused_in_words(place, byte, tmp_path_factory):
    path = tmp_path_factory.getbasetemp() / "damaged.csv"
    path.write_bytes(GOOD[:place] + bytes([byte]) + GOOD[place + 1 :])
    count, said = outcome(read_altimetry_table, path)
    assert count <= 1
    assert count or "expected" in said or "passed over" in said


@given(
    data=st.binary(max_size=300), begin=st.sampled_from([b"CDF\x01", b"CDF\x02", b"\x89HDF\r\n"])
)
def test_bytes_that_are_no_file_are_refused_in_words(data, begin, tmp_path_factory):
    path = tmp_path_factory.getbasetemp() / "damaged.nc"
    path.write_bytes(begin + data)
    for read in (read_height_change, read_altimetry_hdf5):
        with pytest.raises(FormatError, match="expected"):
            read(path)
