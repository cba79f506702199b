"""Grids: round trip, the same bytes, and what is refused."""

import io

import numpy as np
import pytest
from PIL import Image, TiffImagePlugin
from scipy.io import netcdf_file

from stakeline.errors import FormatError
from stakeline.formats.grids import Grids, hdf5, read_grids, write_grids


def invented():
    x, y = np.arange(4) * 500.0 + 3e5, np.arange(3) * -500.0 - 1e6
    bed = np.arange(12.0).reshape(3, 4)
    bed[0, 1] = np.nan
    return Grids(x, y, 3413, {"bed": bed}, {"bed": "m"}, {"bed": "height of the bed"})


def test_round_trip(tmp_path):
    path = tmp_path / "bed.nc"
    path.write_bytes(write_grids(invented(), "Halvard Glacier"))
    read = read_grids(path)
    np.testing.assert_array_equal(read.x_m, invented().x_m)
    np.testing.assert_array_equal(read.fields["bed"], invented().fields["bed"])
    assert (read.epsg, read.units, read.words["bed"]) == (3413, {"bed": "m"}, "height of the bed")


def test_the_same_grids_give_the_same_bytes():
    assert write_grids(invented()) == write_grids(invented())


def test_shapes_must_fit():
    broken = Grids(np.arange(3.0), np.arange(3.0), 3413, {"bed": np.zeros((3, 4))})
    with pytest.raises(FormatError, match=r"shape \(3, 4\); expected \(3, 3\)"):
        write_grids(broken)
    with pytest.raises(FormatError, match="EPSG:4326"):
        write_grids(Grids(np.arange(3.0), np.arange(3.0), 4326, {}))


@pytest.mark.parametrize(
    ("data", "match"),
    [(b"", "no NetCDF"), (b"CDF\x01\x00\x00", "no NetCDF"), (b"\x89HDF\r\n\x1a\n", "HDF5")],
)
def test_damage_is_said(tmp_path, data, match):
    path = tmp_path / "bed.nc"
    path.write_bytes(data)
    with pytest.raises(FormatError, match=match):
        read_grids(path)


def test_every_cut_is_refused_or_reads_whole(tmp_path):
    whole = write_grids(invented())
    path = tmp_path / "bed.nc"
    for end in range(0, len(whole), 37):
        path.write_bytes(whole[:end])
        with pytest.raises(FormatError):
            read_grids(path)


def packed(path, **mapping):
    """Write whole numbers with a scale, an offset and a number for missing, without our code."""
    with netcdf_file(path, "w") as file:
        for name, size in (("y", 3), ("x", 4)):
            file.createDimension(name, size)
            file.createVariable(name, "f8", (name,))[:] = 100.0 * np.arange(size)
        file.createVariable("mapping", "i4", ())
        for name, value in mapping.items():
            setattr(file.variables["mapping"], name, value)
        bed = file.createVariable("bed", "i2", ("y", "x"))
        bed[:] = np.arange(12).reshape(3, 4)
        bed.scale_factor, bed.add_offset, bed._FillValue = 0.5, 10.0, np.int16(7)
        bed.grid_mapping = "mapping"


def test_packing_and_missing_are_undone_and_the_map_is_told_by_its_parameters(tmp_path):
    path = tmp_path / "bed.nc"
    packed(path, standard_parallel=-71.0, straight_vertical_longitude_from_pole=0.0)
    read = read_grids(path)
    expected = 10.0 + 0.5 * np.arange(12.0).reshape(3, 4)
    expected[1, 3] = np.nan
    np.testing.assert_array_equal(read.fields["bed"], expected)
    assert read.epsg == 3031


def test_a_map_of_other_parameters_is_refused(tmp_path):
    path = tmp_path / "bed.nc"
    packed(path, standard_parallel=60.0, straight_vertical_longitude_from_pole=0.0)
    with pytest.raises(FormatError, match="fields that name no map"):
        read_grids(path)


def tiff(values, keys=(1, 1, 0, 1, 3072, 0, 1, 3413), scale=(500.0, 250.0, 0.0), tie=None):
    """Return the bytes of a GeoTIFF by the library alone."""
    info = TiffImagePlugin.ImageFileDirectory_v2()
    for tag, kind, value in (
        (33550, 12, scale), (33922, 12, tie or (0.0, 0.0, 0.0, 3e5, -1e6, 0.0)), (34735, 3, keys),
        (42113, 2, "-9999"),
    ):  # fmt: skip
        info.tagtype[tag] = kind
        info[tag] = value
    sink = io.BytesIO()
    Image.fromarray(values).save(sink, "TIFF", tiffinfo=info, compression="tiff_adobe_deflate")
    return sink.getvalue()


@pytest.mark.parametrize("kind", [np.float32, np.int32])
def test_a_geotiff_has_its_rows_from_the_upper_left_corner(tmp_path, kind):
    bed = np.arange(12).reshape(3, 4).astype(kind)
    bed[0, 1] = -9999
    path = tmp_path / "bed.tif"
    path.write_bytes(tiff(bed))
    read = read_grids(path)
    assert read.epsg == 3413
    np.testing.assert_allclose(read.x_m, 3e5 + 250.0 + 500.0 * np.arange(4))
    np.testing.assert_allclose(read.y_m, -1e6 - 125.0 - 250.0 * np.arange(3))
    assert np.isnan(read.fields["bed"][0, 1])
    assert read.fields["bed"][2, 3] == 11.0


def test_a_geotiff_of_points_names_their_centres(tmp_path):
    path = tmp_path / "bed.tif"
    keys = (1, 1, 0, 2, 1025, 0, 1, 2, 3072, 0, 1, 3031)
    path.write_bytes(tiff(np.zeros((3, 4), np.float32), keys))
    read = read_grids(path)
    assert (read.x_m[0], read.y_m[0], read.epsg) == (3e5, -1e6, 3031)


@pytest.mark.parametrize(
    ("data", "match"),
    [
        (b"II*\x00\x08\x00\x00\x00", "a TIFF that cannot be read"),
        (tiff(np.zeros((3, 4), np.float32), (1, 1, 0, 0)), "map not named"),
        (tiff(np.zeros((3, 4, 3), np.uint8)), "mode RGB; expected one band"),
    ],
)
def test_a_geotiff_that_cannot_be_used_is_said(tmp_path, data, match):
    path = tmp_path / "bed.tif"
    path.write_bytes(data)
    with pytest.raises(FormatError, match=match):
        read_grids(path)


def test_every_cut_of_a_geotiff_is_refused_or_reads_whole(tmp_path):
    whole = tiff(np.arange(12, dtype=np.float32).reshape(3, 4))
    path = tmp_path / "bed.tif"
    path.write_bytes(whole)
    expected = read_grids(path).fields["bed"]
    for end in range(4, len(whole), 7):
        path.write_bytes(whole[:end])
        try:
            found = read_grids(path).fields["bed"]
        except FormatError:
            continue
        np.testing.assert_array_equal(found, expected)


def test_the_hdf5_form_needs_its_library(tmp_path, monkeypatch):
    path = tmp_path / "bed.nc"
    path.write_bytes(b"\x89HDF\r\n\x1a\n")
    monkeypatch.setattr(hdf5, "h5py", None)
    with pytest.raises(FormatError, match="install h5py"):
        read_grids(path)


def test_the_hdf5_form_is_read_alike(tmp_path):
    h5py = pytest.importorskip("h5py")
    path = tmp_path / "bed.nc"
    with h5py.File(path, "w") as file:
        for name, values in (("x", invented().x_m), ("y", invented().y_m)):
            file[name] = values
            file[name].make_scale(name)
        file["bed"] = invented().fields["bed"]
        for axis, name in enumerate(("y", "x")):
            file["bed"].dims[axis].attach_scale(file[name])
        file["mapping"] = 0
        file["mapping"].attrs["spatial_epsg"] = 3413
        file["bed"].attrs["grid_mapping"], file["bed"].attrs["units"] = "mapping", "m"
    read = read_grids(path)
    np.testing.assert_array_equal(read.fields["bed"], invented().fields["bed"])
    assert (read.epsg, read.units) == (3413, {"bed": "m"})
