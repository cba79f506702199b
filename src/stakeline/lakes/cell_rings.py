"""The margin of a patch of grid cells as rings along the cells' edges."""

import numpy as np
from scipy import ndimage

from .grid import MapGrid, checked_field


def cell_rings(grid: MapGrid, patch):
    """Return the areas of a patch (m, n): for each the outer ring (k, 2), then its holes. [m]

    Rings run along the edges of cells; the first point is not repeated. Cells that touch at a
    corner alone belong to different areas, and no ring passes a corner twice.
    """
    patch = checked_field(grid, patch, "patch", bool)
    number, count = ndimage.label(patch)
    return tuple(_area(grid, number == k) for k in range(1, count + 1))


def _area(grid, patch):
    """Return the rings of cells that hang together by their edges, the outer one first."""
    rings = [_straightened(np.array(ring)) for ring in _loops(_edges(patch))]
    rings.sort(key=lambda ring: -np.ptp(ring[:, 0]) * np.ptp(ring[:, 1]))
    dx, dy = grid.step_m
    first = np.array([grid.x_m[0] - 0.5 * dx, grid.y_m[0] - 0.5 * dy])
    return tuple(first + ring[:, ::-1] * [dx, dy] for ring in rings)


def _loops(ahead):
    """Yield the rings of corners that edges {corner: steps} make; edges are used up.

    A way that comes back to a corner has closed a ring: so none passes a corner twice.
    """
    while ahead:
        way = [next(iter(ahead))]
        while way:
            corner = way[-1]
            row, column = ahead[corner].pop()
            if not ahead[corner]:
                del ahead[corner]
            after = corner[0] + row, corner[1] + column
            if after in way:
                at = way.index(after)
                yield way[at:]
                way = way[: at + 1] if after in ahead else []
            else:
                way.append(after)


def _edges(patch):
    """Return {corner: steps} along the edges between the patch and what is not of it."""
    padded = np.pad(patch, 1)
    inside = padded[1:-1, 1:-1]
    ahead = {}
    sides = (  # what must not be of the patch; from which corner of the cell; step
        (padded[:-2, 1:-1], (0, 0), (0, 1)),
        (padded[1:-1, 2:], (0, 1), (1, 0)),
        (padded[2:, 1:-1], (1, 1), (0, -1)),
        (padded[1:-1, :-2], (1, 0), (-1, 0)),
    )
    for beside, corner, step in sides:
        for row, column in np.argwhere(inside & ~beside).tolist():
            ahead.setdefault((row + corner[0], column + corner[1]), []).append(step)
    return ahead


def _straightened(ring):
    """Drop corners at which a ring goes straight on."""
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    return ring[(before != after).any(axis=1)]
