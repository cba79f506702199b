"""The map grid: axes, places, outlines on it, and what it refuses."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.lakes.grid import MapGrid, holes
from stakeline.lakes.outline import Outline, ellipse_outline

X_M, Y_M = np.arange(30) * 100.0, 2000.0 - np.arange(20) * 100.0
GRID = MapGrid(X_M, Y_M)


def test_cells_of_places_also_where_an_axis_falls():
    row, column = GRID.cell([0.0, 149.0, 2949.0, 2951.0], [2000.0, 1849.0, 51.0, 1000.0])
    assert row.tolist() == [0, 2, 19, -1]
    assert column.tolist() == [0, 1, 29, -1]


def test_outline_covers_its_area():
    # area of an ellipse
    lake = ellipse_outline("A", (1500.0, 1000.0), (900.0, 500.0))
    area = np.count_nonzero(GRID.inside(lake)) * 1e4
    assert area == pytest.approx(np.pi * 900.0 * 500.0, rel=0.03)
    y, x = np.meshgrid(Y_M, X_M, indexing="ij")
    place = np.stack([x.ravel(), y.ravel()], axis=1)
    assert np.array_equal(GRID.inside(lake).ravel(), lake.contains(place))


def test_islands_are_outside():
    ring = np.array([(500, 500), (2500, 500), (2500, 1500), (500, 1500)], float) + 1.0
    island = np.array([(1000, 800), (1500, 800), (1500, 1200), (1000, 1200)], float) + 1.0
    mask = GRID.inside(Outline("A", ring, (island,)))
    assert np.count_nonzero(mask) == 20 * 10 - 5 * 4
    assert not mask[GRID.cell(1250.0, 1000.0)]


def test_a_lake_smaller_than_a_cell_has_one():
    mask = GRID.inside(ellipse_outline("A", (1530.0, 1030.0), (10.0, 10.0)))
    assert np.argwhere(mask).tolist() == [[10, 15]]


def test_true_area():
    # EPSG:3413 at its parallel of true scale, 70 N: map metres are true metres
    x = np.arange(3) * 1000.0
    y = -2191746.0 + np.arange(3) * 1.0  # 70 N on the central meridian, from the map itself
    area = MapGrid(x, y, 3413).cell_area_m2
    assert area == pytest.approx(np.full((3, 3), 1000.0), rel=1e-3)


def test_holes():
    missing = np.zeros((6, 8), bool)
    missing[0, 3] = missing[1, 4] = True  # joined to the edge by a corner
    missing[3, 3:5] = missing[4, 6] = True
    count, size, mask = holes(missing)
    assert (count, size) == (2, 3)
    assert not mask[1, 4]


@pytest.mark.parametrize(
    ("x", "words"),
    [
        ([0.0, 1.0], "at least 3 finite"),
        ([0.0, 1.0, np.nan], "at least 3 finite"),
        ([0.0, 1.0, 3.0], "needs even ones"),
        ([1.0, 1.0, 1.0], "needs even ones"),
    ],
)
def test_axes_refused(x, words):
    with pytest.raises(SettingsError, match=words):
        MapGrid(np.array(x), Y_M)


def test_other_maps_refused():
    with pytest.raises(SettingsError, match="EPSG:4326 is not known"):
        MapGrid(X_M, Y_M, 4326)
    lake = ellipse_outline("Upper Halvard", (1500.0, 1000.0), (900.0, 500.0), epsg=3413)
    with pytest.raises(SettingsError, match="on map EPSG:3413, the grid on EPSG:None"):
        GRID.inside(lake)


def test_a_lake_off_the_grid_is_refused():
    lake = ellipse_outline("Upper Halvard", (2900.0, 1000.0), (900.0, 500.0))
    with pytest.raises(SettingsError, match=r"corners of outline 'Upper Halvard' lie off the grid"):
        GRID.inside(lake)
