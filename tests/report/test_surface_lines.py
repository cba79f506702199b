"""Contours of a surface: at round heights, where the surface has these heights."""

import numpy as np

from stakeline.report.map_parts import surface_lines

X, Y = np.linspace(0.0, 100.0, 41), np.linspace(0.0, 50.0, 21)


def test_lines_of_a_plane_are_where_it_has_their_height():
    height = 800.0 + 2.0 * X[None, :] + 0.5 * Y[:, None]
    lines = surface_lines(X, Y, height)
    assert {level for level, _ in lines} == {820.0, 840.0, 860.0, 880.0, 900.0, 920.0, 940.0,
                                             960.0, 980.0, 1000.0, 1020.0}  # fmt: skip
    for level, points in lines:
        here = 800.0 + 2.0 * points[:, 0] + 0.5 * points[:, 1]
        assert np.abs(here - level).max() < 1e-9  # m; a plane between grid points is exact


def test_no_surface_and_a_level_one_have_no_lines():
    assert surface_lines(X, Y, np.full((21, 41), np.nan)) == []
    assert surface_lines(X, Y, np.full((21, 41), 5.5)) == []
    assert surface_lines(X[:1], Y, np.zeros((21, 1))) == []
