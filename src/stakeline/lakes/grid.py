"""A regular map grid: its axes, its true lengths, which cells a place or an outline covers."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy import ndimage

from ..earth.projection import projection
from ..errors import SettingsError

_UNEVEN = 1e-3  # share of a step by which steps may differ (axes kept as 32-bit numbers)


@dataclass(frozen=True, eq=False)
class MapGrid:
    """Centres of the cells of a regular map grid; fields on it have shape (rows, columns).

    Attributes
    ----------
    x_m, y_m : arrays, shapes (n,) and (m,)
        Map coordinates of columns and rows, evenly spaced, rising or falling. [m]
    epsg : int or None
        Code of a polar map known to :mod:`stakeline.earth.projection`, by which lengths are made
        true; None where map metres are true metres.

    Raises
    ------
    SettingsError
        For axes that are short, uneven or not finite, or a map that is not known.
    """

    x_m: np.ndarray
    y_m: np.ndarray
    epsg: int | None = None

    def __post_init__(self):
        for name in ("x_m", "y_m"):
            axis = np.asarray(getattr(self, name), float)
            object.__setattr__(self, name, axis)
            if axis.ndim != 1 or axis.size < 3 or not np.isfinite(axis).all():
                raise SettingsError(
                    f"the axis {name} has shape {axis.shape}; a map grid needs at least 3 finite "
                    "coordinates on each axis"
                )
            step = np.diff(axis)
            if step[0] == 0.0 or np.abs(step - step.mean()).max() > _UNEVEN * abs(step.mean()):
                raise SettingsError(
                    f"the axis {name} has steps from {step.min():.6g} to {step.max():.6g} m; a map "
                    "grid needs even ones: resample it first"
                )
        if self.epsg is not None:
            projection(self.epsg)

    @property
    def shape(self):
        """Rows and columns."""
        return self.y_m.size, self.x_m.size

    @property
    def step_m(self):
        """Steps from column to column and from row to row, signed, on the map. [m]"""
        x, y = self.x_m, self.y_m
        return (x[-1] - x[0]) / (x.size - 1), (y[-1] - y[0]) / (y.size - 1)

    def scale(self, x_m, y_m):
        """Return length on the map over true length at places (any shape); no unit."""
        if self.epsg is None:
            return np.ones(np.broadcast(x_m, y_m).shape)
        polar = projection(self.epsg)
        return polar.point_scale(polar.inverse(x_m, y_m)[0])

    @cached_property
    def cell_area_m2(self):
        """True area of every cell (m, n). [m2]"""
        dx, dy = self.step_m
        return abs(dx * dy) / self.scale(self.x_m[None, :], self.y_m[:, None]) ** 2

    def cell(self, x_m, y_m):
        """Return the row and column that hold a place; -1, -1 off the grid."""
        dx, dy = self.step_m
        column = np.floor((np.asarray(x_m, float) - self.x_m[0]) / dx + 0.5)
        row = np.floor((np.asarray(y_m, float) - self.y_m[0]) / dy + 0.5)
        inside = (column >= 0) & (column < self.x_m.size) & (row >= 0) & (row < self.y_m.size)
        return np.where(inside, row, -1).astype(int), np.where(inside, column, -1).astype(int)

    def inside(self, outline):
        """Return True (m, n) for the cells whose centre an outline holds.

        Parameters
        ----------
        outline : Outline
            A lake, on the same map. One too small to hold a centre is given the one cell that its
            centre lies in.

        Raises
        ------
        SettingsError
            For an outline on another map, or one that leaves the grid.
        """
        self._cover(outline)
        mask = np.zeros(self.shape, bool)
        for ring in outline.rings_m:
            mask ^= self._inside_ring(np.vstack([ring, ring[:1]]))
        if not mask.any():
            mask[self.cell(*outline.centre_m)] = True
        return mask

    def _cover(self, outline):
        if outline.epsg != self.epsg:
            raise SettingsError(
                f"outline '{outline.name}' is on map EPSG:{outline.epsg}, the grid on "
                f"EPSG:{self.epsg}: bring the outline to the map of the grid"
            )
        ring = outline.ring_m
        off = self.cell(*ring.T)[0] < 0
        if off.any():
            raise SettingsError(
                f"{off.sum()} of {len(ring)} corners of outline '{outline.name}' lie off the grid "
                f"(x {self.x_m.min():.0f} to {self.x_m.max():.0f} m, y {self.y_m.min():.0f} to "
                f"{self.y_m.max():.0f} m): take a grid that covers the lake"
            )

    def _inside_ring(self, ring):
        """Return True (m, n) inside a closed ring, by crossings of each row."""
        mask = np.zeros(self.shape, bool)
        row = self.cell(*ring.T)[0]
        for r in range(row.min(), row.max() + 1):
            mask[r] = np.searchsorted(_crossings(ring, self.y_m[r]), self.x_m) % 2 == 1
        return mask


def _crossings(ring, y):
    """Return where a closed ring crosses a row, sorted."""
    above = ring[:, 1] > y
    at = np.flatnonzero(above[1:] != above[:-1])
    start, end = ring[at], ring[at + 1]
    share = (y - start[:, 1]) / (end[:, 1] - start[:, 1])
    return np.sort(start[:, 0] + share * (end[:, 0] - start[:, 0]))


def checked_field(grid, values, name, dtype=float):
    """Return a field as numbers; SettingsError where its shape is not that of the grid."""
    values = np.asarray(values, dtype)
    if values.shape != grid.shape:
        raise SettingsError(
            f"the grid of {name} has shape {values.shape}, its axes {grid.shape} (rows, columns): "
            "bring all grids to the same cells first"
        )
    return values


def holes(missing):
    """Return the number of missing patches that touch no edge, their cells, and a mask of them."""
    patch, count = ndimage.label(missing, structure=np.ones((3, 3)))
    edge = np.concatenate([patch[0], patch[-1], patch[:, 0], patch[:, -1]])
    open_to_edge = np.isin(np.arange(count + 1), edge)
    open_to_edge[0] = True
    mask = ~open_to_edge[patch]
    return int((~open_to_edge).sum()), int(mask.sum()), mask
