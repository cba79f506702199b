"""Rings about cells: areas kept, holes told, no ring that meets itself."""

import numpy as np
import pytest

from stakeline.lakes.cell_rings import cell_rings
from stakeline.lakes.grid import MapGrid
from stakeline.lakes.outline import Outline


def grid(shape, y_step=-250.0):
    return MapGrid(1e5 + 500.0 * np.arange(shape[1]), -1e6 + y_step * np.arange(shape[0]))


def area(ring):
    x, y = (ring - ring[0]).T
    return 0.5 * abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


@pytest.mark.parametrize("y_step", [-250.0, 250.0])
def test_a_rectangle_has_four_corners_on_the_edges_of_its_cells(y_step):
    patch = np.zeros((6, 7), bool)
    patch[1:4, 2:6] = True
    ((ring,),) = cell_rings(grid(patch.shape, y_step), patch)
    assert len(ring) == 4
    assert sorted(set(ring[:, 0])) == [1e5 + 750.0, 1e5 + 2750.0]
    assert sorted(set(-1e6 + y_step * np.array([0.5, 3.5]))) == sorted(set(ring[:, 1]))


def test_areas_of_random_patches_are_those_of_their_cells():
    for seed in range(30):
        rng = np.random.default_rng(seed)
        patch = rng.uniform(size=(9, 11)) < 0.6
        total = 0.0
        for rings in cell_rings(grid(patch.shape), patch):
            total += area(rings[0]) - sum(area(hole) for hole in rings[1:])
            for ring in rings:
                assert len(np.unique(ring, axis=0)) == len(ring) >= 4
        assert total == pytest.approx(500.0 * 250.0 * patch.sum())


def test_a_ring_of_cells_is_one_area_with_a_hole_that_an_outline_takes():
    patch = np.ones((5, 5), bool)
    patch[0, 0] = patch[2, 2] = patch[3, 3] = False
    patch = np.pad(patch, 1)
    ((outer, *holes),) = cell_rings(grid(patch.shape), patch)
    assert len(holes) == 2  # they touch at a corner
    assert Outline("ring", outer, tuple(holes)).area_m2 == pytest.approx(22 * 500.0 * 250.0)


def test_nothing_has_no_ring():
    assert cell_rings(grid((4, 4)), np.zeros((4, 4), bool)) == ()
