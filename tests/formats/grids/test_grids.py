"""Grids: round trip, the same bytes, and what is refused."""

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.grids import Grids, read_grids, write_grids


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
