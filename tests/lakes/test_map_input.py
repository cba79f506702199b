"""Maps on one grid and above the same: planes stay planes, and what is mixed is told."""

import numpy as np
import pytest

from stakeline.earth.projection import ANTARCTIC, ARCTIC
from stakeline.errors import SettingsError
from stakeline.lakes import map_input as m
from stakeline.lakes.grid import MapGrid

GRID = MapGrid(2e5 + 500.0 * np.arange(20), -1e6 - 500.0 * np.arange(30), 3413)


def plane(x, y):
    return 3.0 + 1e-3 * x - 2e-3 * y


def test_a_plane_is_a_plane_on_other_cells():
    x, y = 1.9e5 + 330.0 * np.arange(80), -1.02e6 + 270.0 * np.arange(120)
    for across in (1, -1):
        values = plane(*np.meshgrid(x[::across], y[::-across]))
        found = m.brought_to(GRID, x[::across], y[::-across], 3413, values)
        np.testing.assert_allclose(found, plane(*np.meshgrid(GRID.x_m, GRID.y_m)), atol=1e-9)


def test_off_the_field_and_beside_its_gaps_nothing_is_known():
    x, y = GRID.x_m[:10], GRID.y_m
    values = np.ones((30, 10))
    values[5, 5] = np.nan
    found = m.brought_to(GRID, x + 100.0, y, 3413, values)
    assert np.isnan(found[:, 10:]).all()
    assert np.isnan(found[5, 5])
    assert found[8, 3] == 1.0


def test_a_field_of_another_map_goes_by_places_on_the_earth():
    """The height is the latitude: brought to another map, it must be the latitude there."""
    north = MapGrid(1e5 + 400.0 * np.arange(12), -4e6 + 400.0 * np.arange(12), 3413)
    place = ARCTIC.inverse(*np.meshgrid(north.x_m, north.y_m))
    far = ANTARCTIC.forward(*place)
    x, y = (np.linspace(v.min() - 1e3, v.max() + 1e3, 40) for v in far)
    latitude = ANTARCTIC.inverse(*np.meshgrid(x, y))[0]
    np.testing.assert_allclose(m.brought_to(north, x, y, 3031, latitude), place[0], atol=1e-8)
    with pytest.raises(SettingsError, match="not known"):
        m.brought_to(north, x, y, 32633, latitude)


def test_the_same_cells_are_known_as_such():
    assert m.same_cells(GRID, GRID.x_m.astype(np.float32), GRID.y_m.astype(np.float32), 3413)
    assert not m.same_cells(GRID, GRID.x_m + 250.0, GRID.y_m, 3413)
    assert not m.same_cells(GRID, GRID.x_m, GRID.y_m, 3031)


def test_coarser_cells_hold_the_mean_and_keep_the_middle():
    values = plane(*np.meshgrid(GRID.x_m, GRID.y_m))
    grid, (mean,) = m.coarser(GRID, [values], 3)
    assert grid.shape == (10, 6)
    np.testing.assert_allclose(mean, plane(*np.meshgrid(grid.x_m, grid.y_m)), atol=1e-9)
    values[:3, :2], values[3:6, 0] = np.nan, np.nan
    _, (mean,) = m.coarser(GRID, [values], 3)
    assert np.isnan(mean[0, 0])
    assert np.isfinite(mean[1, 0])


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        ("height of the surface above the ellipsoid", "ellipsoid"),
        ("Bed elevation above mean sea level", "geoid"),
        ("height above the geoid", "geoid"),
        ("geoid height above the ellipsoid", ""),
        ("bed", ""),
    ],
)
def test_words_say_what_heights_are_above(words, expected):
    assert m.heights_above(words) == expected


def test_heights_above_different_things_need_the_geoid():
    surface, bed, geoid = np.full((3, 3), 900.0), np.full((3, 3), -100.0), np.full((3, 3), 26.0)
    with pytest.raises(SettingsError, match="surface is above the ellipsoid, the bed above the ge"):
        m.same_heights(surface, bed, ("ellipsoid", "geoid"))
    one, other, what, said = m.same_heights(surface, bed, ("ellipsoid", "geoid"), geoid)
    assert (one[0, 0], other[0, 0], what) == (900.0, -74.0, "ellipsoid")
    assert "brought to the ellipsoid" in said
    one, other, what, _ = m.same_heights(surface, bed, ("geoid", "ellipsoid"), geoid)
    assert (one[0, 0], other[0, 0], what) == (926.0, -100.0, "ellipsoid")
    assert m.same_heights(surface, bed, ("geoid", ""))[2:] == ("geoid", "")


def test_a_thickness_in_place_of_the_bed_is_seen():
    thickness = np.maximum(np.random.default_rng(1).normal(300.0, 300.0, (40, 40)), 0.0)
    with pytest.raises(SettingsError, match="it looks like a thickness"):
        m.refuse_thickness(thickness)
    m.refuse_thickness(thickness - 1.0)
    m.refuse_thickness(np.full((3, 3), np.nan))


def test_ice_that_is_thinner_than_surface_less_bed_floats():
    surface, bed = np.array([[90.0, 90.0, np.nan]]), np.array([[-700.0, -700.0, 0.0]])
    assert m.water_below(surface, bed, np.array([[790.0, 600.0, 1.0]])).tolist() == [
        [False, True, False]
    ]


def test_a_bed_above_the_surface_is_counted():
    assert m.bed_above_surface(np.array([1.0, 2.0, np.nan]), np.array([0.0, 5.0, 1.0])) == (1, 3.0)
