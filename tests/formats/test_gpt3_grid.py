"""A small grid of our own making; the real one is read in tests/earth/test_climate.py."""

import gzip

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.gpt3_grid import read


def lines():
    """Return a grid of 2 x 4 nodes whose columns count 1, 2, 3 ... plus the node number."""
    out = ["%  lat lon p:a0 ..."]
    for k, (lat, lon) in enumerate((a, b) for a in (45.0, -45.0) for b in (45, 135, 225, -45)):
        out.append(" ".join(f"{x:g}" for x in [lat, lon, *(np.arange(3, 65) + k)]))
    return out


def write(folder, rows, name="small.grd"):
    path = folder / name
    path.write_text("\n".join(rows) + "\n", encoding="ascii")
    return path


def test_columns_and_factors(tmp_path):
    grid = read(write(tmp_path, lines()))
    np.testing.assert_array_equal(grid.latitude_deg, [45.0, -45.0])
    np.testing.assert_array_equal(grid.longitude_deg, [45.0, 135.0, 225.0, 315.0])
    np.testing.assert_array_equal(grid.pressure_Pa[0, 0], [3, 4, 5, 6, 7])
    np.testing.assert_array_equal(grid.temperature_K[1, 0], [12, 13, 14, 15, 16])
    np.testing.assert_allclose(grid.humidity[0, 1], np.arange(14, 19) * 1e-3)
    assert grid.undulation_m[0, 0] == 23.0
    assert grid.height_m[1, 3] == 31.0
    np.testing.assert_allclose(grid.ah[0, 0], np.arange(25, 30) * 1e-3)
    np.testing.assert_array_equal(grid.mean_temperature_K[0, 0], [40, 41, 42, 43, 44])
    assert grid.files == ("small.grd",)


def test_packed(tmp_path):
    path = tmp_path / "small.grd.gz"
    path.write_bytes(gzip.compress("\n".join(lines()).encode()))
    np.testing.assert_array_equal(read(path).pressure_Pa[0, 0], [3, 4, 5, 6, 7])


def test_a_word_among_the_numbers(tmp_path):
    rows = lines()
    rows[3] = rows[3].replace(" 10 ", " ten ")
    with pytest.raises(FormatError, match=r"small\.grd:4: found a word .* expected 64 numbers"):
        read(write(tmp_path, rows))


def test_a_short_line(tmp_path):
    rows = lines()
    rows[2] = "45 135 1 2 3"
    with pytest.raises(FormatError, match=r"small\.grd:3: found 5 columns"):
        read(write(tmp_path, rows))


@pytest.mark.parametrize("keep", [1, 2, 6, 8])
def test_a_cut_file(tmp_path, keep):
    with pytest.raises(FormatError, match="expected"):
        read(write(tmp_path, lines()[:keep]))


def test_damaged_packing(tmp_path):
    path = tmp_path / "small.grd.gz"
    path.write_bytes(gzip.compress("\n".join(lines()).encode())[:-30])
    with pytest.raises(FormatError, match="unreadable"):
        read(path)


def test_no_file(tmp_path):
    with pytest.raises(FormatError, match="no file"):
        read(tmp_path / "nothing.grd")
