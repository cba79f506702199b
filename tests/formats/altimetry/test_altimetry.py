"""Altimetry from tables, HDF5 and maps: what is read, what is told, what is refused."""

import io

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from scipy.io import netcdf_file

from stakeline.errors import FormatError
from stakeline.formats.altimetry import (
    Datum,
    hdf5_points,
    joined_points,
    read_altimetry_hdf5,
    read_altimetry_table,
    read_height_change,
)
from stakeline.time import from_calendar, gps_from_utc

HEAD = "time_utc,latitude_deg,longitude_deg,height_m,sigma_m,track,cycle\n"
ROW = "2031-05-01T00:00:00Z,79.5,-40.25,812.125,0.08,7,3\n"
SAID = "# height_above: ellipsoid\n# tide_system: tide-free\n# frame: ITRF2014\n"
EPOCH_S = 1198800018.0  # s, GPS time of 2018-01-01 UTC


def table(tmp_path, text, name="passes.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def test_a_table_becomes_points_in_gps_time(tmp_path):
    later = ROW.replace("2031-05-01", "2031-06-01")
    points = read_altimetry_table(table(tmp_path, SAID + HEAD + later + ROW))
    first = gps_from_utc(from_calendar(2031, 5, 1))
    assert points.time_ns.tolist() == [first, first + 31 * 86400 * 10**9]
    np.testing.assert_array_equal(points.place[0], [79.5, -40.25])
    assert (points.height_m[0], points.sigma_m[0], points.cycle[0]) == (812.125, 0.08, 3)
    assert points.track_names == ("7",)
    assert points.epsg is None
    assert points.datum == Datum("ellipsoid", "tide-free", "ITRF2014")
    assert points.notes == ()


def test_a_missing_datum_is_said(tmp_path):
    points = read_altimetry_table(table(tmp_path, HEAD + ROW))
    assert points.notes == ("the datum is not said: height_above, tide_system",)
    assert points.datum.words == "not said: height above, tide system, frame"
    assert Datum("geoid", "mean-tide", "ITRF2014").words == (
        "heights above the geoid; mean-tide; frame ITRF2014"
    )


def test_map_metres_units_and_quality(tmp_path):
    text = "# epsg: 3413\ntime_gps,x_m,y_m,height [cm],track,quality,geoid_m\n"
    text += "2031-05-01T00:00:00,-180000,-1100000,81212.5,0123 gt1l,0,33.5\n"
    text += "2031-05-01T00:00:01,-180020,-1100000,81212.5,0123 gt1l,1,33.5\n"
    text += "2031-05-01T00:00:02,-180040,-1100000,,0123 gt1l,0,33.5\n"
    points = read_altimetry_table(table(tmp_path, text))
    assert len(points) == 1
    assert points.height_m[0] == pytest.approx(812.125)
    assert (points.epsg, points.geoid_m[0], points.track_names) == (3413, 33.5, ("0123 gt1l",))
    assert points.notes[:2] == (
        "passed over, without time, place or height: 1 of 3 points",
        "passed over, flagged by their maker: 1 of 3 points",
    )


def test_parquet_holds_the_same(tmp_path):
    text = read_altimetry_table(table(tmp_path, HEAD + ROW))
    columns = {
        "time_gps": pa.array(text.time_ns, pa.timestamp("ns")), "latitude_deg": [79.5],
        "longitude_deg": [-40.25], "height_m": [812.125], "sigma_m": [0.08], "track": [7],
        "cycle": [3],
    }  # fmt: skip
    path = tmp_path / "passes.parquet"
    pq.write_table(pa.table(columns), path)
    points = read_altimetry_table(path)
    for name in ("time_ns", "place", "height_m", "sigma_m", "track", "cycle"):
        np.testing.assert_array_equal(getattr(points, name), getattr(text, name), err_msg=name)


@pytest.mark.parametrize(
    ("text", "words", "line"),
    [
        (HEAD + ROW + ROW.replace("79.5,-40.25", "-180000,-1100000"), "metres of a map", 3),
        ("# epsg: 3413\n" + HEAD.replace("latitude_deg,longitude_deg", "x_m,y_m") + ROW,
         "these are degrees", 3),
        (HEAD.replace("latitude_deg,longitude_deg", "x_m,y_m") + ROW, "epsg: 3413", None),
        (HEAD.replace("time_utc", "time") + ROW.replace("Z", ""), "time_utc or time_gps", None),
        (HEAD.replace("track,cycle", "a,b") + ROW, "track or cycle", None),
        (HEAD + ROW.replace("812.125", "-9999"), "height of -9999 m", 2),
        (HEAD + ROW.replace("0.08", "-0.08"), "sigma of -0.08 m", 2),
        (HEAD + ROW.replace(",3\n", ",3.5\n"), "whole numbers", None),
        (HEAD.replace("height_m", "height_ft") + ROW, "its unit", None),
        ("# height_above: sea\n" + HEAD + ROW, "one of ellipsoid, geoid", None),
        ("# epsg: 3413\n" + HEAD.replace("latitude_deg,longitude_deg", "x_m,y_m")
         + ROW.replace("79.5,-40.25", "2e7,1"), "that EPSG:3413 holds", 3),
    ],
)  # fmt: skip
def test_what_is_refused(tmp_path, text, words, line):
    with pytest.raises(FormatError, match=words) as refused:
        read_altimetry_table(table(tmp_path, text))
    assert refused.value.line == line
    assert "passes.csv" in refused.value.file


def test_points_of_two_maps_or_datums_do_not_mix(tmp_path):
    degrees = read_altimetry_table(table(tmp_path, HEAD + ROW))
    text = "# epsg: 3413\n" + HEAD.replace("latitude_deg,longitude_deg", "x_m,y_m")
    metres = read_altimetry_table(
        table(tmp_path, text + ROW.replace("79.5,-40.25", "-180000,-1100000"), "map.csv")
    )
    with pytest.raises(FormatError, match="convert to one of them"):
        joined_points([degrees, metres])
    said = read_altimetry_table(table(tmp_path, SAID + HEAD + ROW, "said.csv"))
    with pytest.raises(FormatError, match="bring them to one datum"):
        joined_points([degrees, said])
    assert len(joined_points([degrees, degrees])) == 2


def write_along_track(path, quality=(0, 1, 0), height=(812.5, 813.0, 3.4e38)):
    h5py = pytest.importorskip("h5py")
    with h5py.File(path, "w") as file:
        file["ancillary_data/atlas_sdp_gps_epoch"] = [EPOCH_S]
        file["orbit_info/rgt"], file["orbit_info/cycle_number"] = [123], [4]
        group = file.create_group("gt1l/land_ice_segments")
        group["h_li"] = np.array(height, "f4")
        group["h_li"].attrs["_FillValue"] = np.float32(3.4e38)
        group["h_li_sigma"] = np.full(3, 0.03, "f4")
        group["delta_time"] = [0.25, 0.5, 0.75]
        group["latitude"], group["longitude"] = np.full(3, 79.5), np.full(3, -40.0)
        group["atl06_quality_summary"] = np.array(quality, "i1")


def test_heights_along_a_track(tmp_path):
    path = tmp_path / "track.h5"
    write_along_track(path)
    points = read_altimetry_hdf5(path)
    assert points.height_m.tolist() == [812.5]
    assert points.time_ns.tolist() == [int(gps_from_utc(from_calendar(2018, 1, 1))) + 250_000_000]
    assert (points.track_names, points.cycle.tolist()) == (("0123 gt1l",), [4])
    assert points.datum == Datum("ellipsoid", "tide-free", "WGS 84")
    assert points.notes == (
        "passed over, without time, place or height: 1 of 3 points",
        "passed over, flagged by their maker: 1 of 3 points",
    )
    assert len(read_altimetry_hdf5(path, flagged=True)) == 2


def test_heights_along_a_reference_track(tmp_path):
    h5py = pytest.importorskip("h5py")
    path = tmp_path / "pairs.h5"
    with h5py.File(path, "w") as file:
        file["ancillary_data/atlas_sdp_gps_epoch"] = [EPOCH_S]
        file["ancillary_data/start_rgt"] = [123]
        group = file.create_group("pt2")
        group["h_corr"] = [[800.0, 801.0], [802.0, np.nan]]
        group["h_corr_sigma"] = np.full((2, 2), 0.02)
        group["delta_time"] = [[0.0, 86400.0], [1.0, 86401.0]]
        group["quality_summary"] = np.zeros((2, 2), "i1")
        group["cycle_number"], group["ref_pt"] = [3, 4], [1000, 1003]
        group["latitude"], group["longitude"] = [79.5, 79.6], [-40.0, -40.1]
    points = read_altimetry_hdf5(path)
    assert points.height_m.tolist() == [800.0, 802.0, 801.0]
    assert points.cycle.tolist() == [3, 3, 4]
    assert points.place[:, 0].tolist() == [79.5, 79.6, 79.5]
    assert points.track_names == ("0123 pt2",)


def test_hdf5_that_cannot_be_read(tmp_path, monkeypatch):
    text = table(tmp_path, HEAD)
    with pytest.raises(FormatError, match="no HDF5"):
        read_altimetry_hdf5(text)
    begin = tmp_path / "begin.h5"
    begin.write_bytes(b"\x89HDF\r\n\x1a\n" + bytes(40))
    monkeypatch.setattr(hdf5_points, "h5py", None)
    with pytest.raises(FormatError, match="install h5py"):
        read_altimetry_hdf5(begin)


def test_hdf5_without_its_groups(tmp_path):
    h5py = pytest.importorskip("h5py")
    path = tmp_path / "empty.h5"
    with h5py.File(path, "w") as file:
        file["gt1l/other"] = [1.0]
    with pytest.raises(FormatError, match="atlas_sdp_gps_epoch"):
        read_altimetry_hdf5(path)
    with h5py.File(path, "a") as file:
        file["ancillary_data/atlas_sdp_gps_epoch"] = [EPOCH_S]
    with pytest.raises(FormatError, match="land_ice_segments"):
        read_altimetry_hdf5(path)
    path.write_bytes(path.read_bytes()[:200])
    with pytest.raises(FormatError, match="damaged"):
        read_altimetry_hdf5(path)


def change_file(tmp_path, **odd):
    """Write two maps of 2 x 3 cells; ``odd`` replaces what is written."""
    says = {"unit": "cm", "since": "days since 2030-01-01 00:00:00", "x": [-3e5, -2e5, -1e5]}
    says |= {"mapping": "polar", "times": [0.0, 91.5]} | odd
    sink = io.BytesIO()
    file = netcdf_file(sink, "w")
    for name, values in (("time", says["times"]), ("y", [-1e6, -1.1e6]), ("x", says["x"])):
        file.createDimension(name, len(values))
        variable = file.createVariable(name, "f8", (name,))
        variable[:] = values
        variable.units = "m" if name != "time" else says["since"]
    polar = file.createVariable("polar", "i4", ())
    polar.spatial_epsg = np.int32(3413)
    for name, shift in (("dh", 0.0), ("dh_sigma", 100.0)):
        variable = file.createVariable(name, "f4", ("time", "y", "x"))
        variable[:] = np.arange(12.0).reshape(2, 2, 3) + shift
        variable.units, variable.grid_mapping = says["unit"], says["mapping"]
        variable._FillValue = np.float32(11.0)
    file.flush()
    path = tmp_path / "change.nc"
    path.write_bytes(sink.getvalue())
    return path


def test_maps_of_height_change(tmp_path):
    maps = read_height_change(change_file(tmp_path))
    assert (maps.epsg, maps.name, maps.dh_m.shape) == (3413, "dh", (2, 2, 3))
    np.testing.assert_allclose(maps.dh_m.ravel()[:11], np.arange(11.0) / 100.0)
    assert np.isnan(maps.dh_m[1, 1, 2])
    np.testing.assert_allclose(maps.sigma_m[0, 0], [1.0, 1.01, 1.02])
    first = gps_from_utc(from_calendar(2030, 1, 1))
    assert maps.time_ns.tolist() == [first, first + int(91.5 * 86400) * 10**9]


@pytest.mark.parametrize(
    ("odd", "words"),
    [
        ({"unit": "feet"}, "dh in 'feet'"),
        ({"since": "lunations since 2030"}, "days since"),
        ({"x": [-40.0, -39.0, -38.0]}, "not degrees"),
        ({"mapping": "none"}, "map is not told"),
        ({"times": [5.0, 5.0]}, "do not rise"),
    ],
)
def test_maps_that_are_refused(tmp_path, odd, words):
    with pytest.raises(FormatError, match=words):
        read_height_change(change_file(tmp_path, **odd))


def test_a_field_that_is_not_there(tmp_path):
    with pytest.raises(FormatError, match="no field height"):
        read_height_change(change_file(tmp_path), name="height")
