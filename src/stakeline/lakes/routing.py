"""Where water runs on a field of hydraulic head: sinks filled, flow shared out, catchments.

The head is kept in 32-bit numbers (a step of 0.1 mm at 1000 m), flow in 64-bit ones. A grid of N
cells needs about 30 N bytes while it is filled and 8 N more for each flow field.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from ..errors import SettingsError
from . import _kernels
from .grid import MapGrid, checked_field, holes

ENDS = ("within", "edge of the grid", "edge of the data", "given end")
EDGE_OF_GRID, EDGE_OF_DATA, GIVEN_END = 1, 2, 3
CELLS_IN_STEP = 4  # of height, on average, among the cells that wait; choice by time
HOLES = ("refuse", "around", "lost")
# breadth along the axes and the diagonals in steps of the grid, and power of the slope
METHODS = {
    "quinn": (0.5, np.sqrt(2.0) / 4.0, 1.0),
    "freeman": (1.0, 1.0, 1.1),
    "steepest": (1.0, 1.0, np.inf),
}


@dataclass(frozen=True, eq=False)
class Cells:
    """Which cells of a grid carry water, and where it leaves: the same for every head on it.

    Attributes
    ----------
    grid : MapGrid
    leaves : array, flat with a border of one cell
        Why water leaves there, by place in :data:`ENDS`; 0 within.
    carries : array of bool, flat with a border
    notes : tuple of str
        What was left out, in words.
    """

    grid: MapGrid
    leaves: np.ndarray
    carries: np.ndarray
    notes: tuple = ()

    @property
    def offsets(self):
        """Steps in the flat grid with border by direction (8,)."""
        width = self.grid.shape[1] + 2
        return np.array([1, 1 + width, width, width - 1, -1, -1 - width, -width, 1 - width])

    @property
    def distance_m(self):
        """Map lengths of the steps by direction (8,). [m]"""
        dx, dy = np.abs(self.grid.step_m)
        return np.tile([dx, np.hypot(dx, dy), dy, np.hypot(dx, dy)], 2)

    def bordered(self, values, border):
        """Return a field (m, n) flat, with a border."""
        return np.pad(values, 1, constant_values=border).ravel()

    def within(self, flat):
        """Return a flat field with border as a view (m, n)."""
        rows, columns = self.grid.shape
        return flat.reshape(rows + 2, columns + 2)[1:-1, 1:-1]

    def row_column(self, flat_index):
        """Return rows and columns of places in the flat grid with border."""
        row, column = np.divmod(np.asarray(flat_index), self.grid.shape[1] + 2)
        return row - 1, column - 1

    def flat_index(self, row, column):
        """Return places in the flat grid with border."""
        return (np.asarray(row) + 1) * (self.grid.shape[1] + 2) + np.asarray(column) + 1


@dataclass(frozen=True, eq=False)
class Drainage:
    """A head with its sinks filled, and the order in which the cells drain.

    ``head``, ``level`` (filled), ``back`` and ``order`` are flat with a border of one cell, as
    :mod:`stakeline.lakes._kernels` explains them; the properties give fields (m, n).
    """

    cells: Cells
    head: np.ndarray
    level: np.ndarray
    back: np.ndarray
    order: np.ndarray

    @property
    def head_m(self):
        """Head as it was given; NaN where missing. [m]"""
        return self.cells.within(self.head)

    @property
    def filled_m(self):
        """Head with sinks filled to their outlets; NaN where missing. [m]"""
        return self.cells.within(self.level)

    @property
    def depth_m(self):
        """What filling added; 0 outside sinks. [m]"""
        return self.filled_m - self.head_m

    @property
    def shape_arguments(self):
        """What the kernels want to know."""
        return self.level, self.back, self.order, self.order.size


def cells_of(grid, missing, ends=None, on_holes="refuse"):
    """Return :class:`Cells`. Water leaves at every cell of the grid's edge.

    Parameters
    ----------
    grid : MapGrid
    missing : array of bool, shape (m, n)
        Where there is no data: water that comes beside it leaves the map there ("edge of the
        data"); it is never routed through.
    ends : array of bool, shape (m, n), optional
        Where the water's way ends though there is data, such as
        :func:`~stakeline.lakes.potential.afloat`.
    on_holes : str
        What to do with holes, missing patches that touch no edge of the grid. "refuse" them;
        lead water "around" as around rock; or let it be "lost" in them.

    Raises
    ------
    SettingsError
        For holes that are refused, shapes that differ, or a grid without data.
    """
    if on_holes not in HOLES:
        raise SettingsError(f"holes '{on_holes}'; known are {', '.join(HOLES)}")
    missing = checked_field(grid, missing, "missing cells", bool).copy()
    if missing.all():
        raise SettingsError("no cell of the grid holds a head: surface and bed do not overlap")
    count, size, in_hole = holes(missing)
    if count and on_holes == "refuse":
        raise SettingsError(
            f"the grid has {count} hole(s) of no data, {size} cells in all: fill them from another "
            "map, or choose on_holes='around' (no water crosses them) or 'lost' (what reaches them "
            "is not followed further)"
        )
    words = {"around": "water goes around them", "lost": "water that reaches them is lost"}
    notes = [f"{count} hole(s) of no data, {size} cells: {words[on_holes]}"] if count else []
    leaves = _leaves(grid, missing, missing & ~in_hole if on_holes == "around" else missing, ends)
    cut_off = _cut_off(missing, leaves)
    if cut_off.any():
        notes.append(f"{np.count_nonzero(cut_off)} cells enclosed by missing ones are left out")
        missing |= cut_off
    if missing.any():
        notes.append(f"{np.count_nonzero(missing)} of {missing.size} cells hold no data")
    return Cells(
        grid, np.pad(leaves, 1).ravel(), ~np.pad(missing, 1, constant_values=True).ravel(),
        tuple(notes),
    )  # fmt: skip


def _leaves(grid, missing, outside, ends):
    """Return why water leaves (m, n), 0 where it does not."""
    leaves = np.zeros(grid.shape, np.uint8)
    leaves[ndimage.binary_dilation(outside, np.ones((3, 3)))] = EDGE_OF_DATA
    for side in (leaves[0], leaves[-1], leaves[:, 0], leaves[:, -1]):
        side[:] = EDGE_OF_GRID
    if ends is not None:
        leaves[checked_field(grid, ends, "ends", bool)] = GIVEN_END
    leaves[missing] = 0
    return leaves


def _cut_off(missing, leaves):
    """Return True where there is data but no way out."""
    patch, count = ndimage.label(~missing, structure=np.ones((3, 3)))
    drained = np.zeros(count + 1, bool)
    drained[patch[leaves > 0]] = True
    drained[0] = True
    return ~drained[patch]


def drain(cells, head_m):
    """Fill the sinks of a head and order its cells: :class:`Drainage`.

    Sinks are raised to their lowest outlet and flats drain to the nearest outlet by the fewest
    steps. No cell of the filled head has a way uphill.

    Parameters
    ----------
    cells : Cells
    head_m : array, shape (m, n)
        Hydraulic head, e.g. :func:`~stakeline.lakes.potential.hydraulic_head_m`. [m]

    Raises
    ------
    SettingsError
        Where a cell that carries water holds no head.

    Notes
    -----
    Priority flood: Barnes, Lehman & Mulla (2014), Computers & Geosciences 62, algorithms 2 and 3.
    """
    head = cells.bordered(checked_field(cells.grid, head_m, "head", np.float32), np.nan)
    head[~cells.carries] = np.nan
    known = np.count_nonzero(np.isfinite(head))
    expected = np.count_nonzero(cells.carries)
    if known != expected:
        raise SettingsError(
            f"{expected - known} of {expected} cells hold no head though they were said to: give "
            "every head on the same cells, with the same gaps"
        )
    level = head.copy()
    back = np.where(cells.carries, np.int8(_kernels.DRY), np.int8(_kernels.EXIT))
    order = np.empty(expected, np.int32)
    heap = np.empty(expected, np.float32), np.empty(expected, np.int32)
    queue = _queue(head, expected)
    _kernels.flood(cells.leaves, cells.offsets, *queue, level, back, order, *heap)
    return Drainage(cells, head, level, back, order)


def _queue(head, count):
    """Return lowest head, steps in a metre and lists for cells that wait to be flooded."""
    low, high = float(np.nanmin(head)), float(np.nanmax(head))
    steps = count // CELLS_IN_STEP + 1
    scale = 0.999 * steps / (high - low) if high > low else 0.0
    if scale > 1e30:  # nothing to part
        scale = 0.0
    lists = np.full(steps, -1, np.int32), np.empty(head.size, np.int32)
    return np.float32(low), np.float32(scale), *lists


def drain_grid(grid, head_m, ends=None, on_holes="refuse"):
    """Return :class:`Drainage` of one head; see :func:`cells_of` and :func:`drain`."""
    missing = ~np.isfinite(checked_field(grid, head_m, "head"))
    return drain(cells_of(grid, missing, ends, on_holes), head_m)


def accumulate(drainage, source=None, method="quinn"):
    """Return what passes through each cell (m, n), its own included; NaN where missing.

    Parameters
    ----------
    drainage : Drainage
    source : array, shape (m, n), optional
        What each cell adds, such as melt in m3/s; without it its true area, so that the result is
        the upstream area. [any unit, or m2]
    method : str
        How a cell shares out its water: "quinn" among all lower neighbours by slope and length of
        contour; "freeman" by slope to the power 1.1; "steepest" to one alone.

    Raises
    ------
    SettingsError
        For an unknown method, or a source that is negative or missing in a cell with a head.

    Notes
    -----
    Quinn et al. (1991), Hydrol. Process. 5, 59-79; Freeman (1991), Computers & Geosciences 17,
    equation 1 with p = 1.1. What enters leaves: the sum over the cells where water leaves
    (:func:`leaving`) is the sum of the source.
    """
    if method not in METHODS:
        raise SettingsError(f"flow method '{method}'; known are {', '.join(METHODS)}")
    cells = drainage.cells
    source = cells.grid.cell_area_m2 if source is None else source
    flow = cells.bordered(checked_field(cells.grid, source, "source"), 0.0)
    flow[~cells.carries] = 0.0
    if not (flow >= 0.0).all():
        raise SettingsError(
            f"{np.count_nonzero(~(flow >= 0.0))} cells with a head have a source that is missing "
            "or negative: give 0 where nothing melts"
        )
    straight, diagonal, power = METHODS[method]
    dx, dy = np.abs(cells.grid.step_m)
    breadth = np.tile([straight * dy, 1.0, straight * dx, 1.0], 2)
    breadth[1::2] = diagonal * np.sqrt(dx * dy)
    arguments = (*drainage.shape_arguments, cells.offsets, cells.distance_m)
    _kernels.accumulate(*arguments, breadth, power, flow)
    flow[~cells.carries] = np.nan
    return cells.within(flow)


def leaving(drainage, flow):
    """Return what leaves by each kind of end, as a dict by words of :data:`ENDS`."""
    leaves = drainage.cells.within(drainage.cells.leaves)
    return {ENDS[k]: float(flow[leaves == k].sum()) for k in range(1, len(ENDS))}


def catchments(drainage, places):
    """Return to which place each cell drains first, by steepest fall.

    Parameters
    ----------
    drainage : Drainage
    places : array of int, shape (m, n)
        Numbers of lakes or outlets from 1 on, 0 elsewhere.

    Returns
    -------
    array of int, shape (m, n)
        Number of the place; 0 where water reaches none; -1 where missing.
    """
    cells = drainage.cells
    place = cells.bordered(checked_field(cells.grid, places, "places", np.int32), 0)
    _label(drainage, place)
    place[~cells.carries] = -1
    return cells.within(place)


def exits(drainage):
    """Return rows and columns (m, n) of the cell by which each cell's water leaves; -1 missing."""
    cells = drainage.cells
    place = np.where(cells.leaves > 0, np.arange(cells.leaves.size, dtype=np.int32), 0)
    _label(drainage, place)
    row, column = cells.row_column(cells.within(place))
    carries = cells.within(cells.carries)
    return np.where(carries, row, -1), np.where(carries, column, -1)


def _label(drainage, place):
    cells = drainage.cells
    _kernels.label(*drainage.shape_arguments, cells.offsets, cells.distance_m, place)


@dataclass(frozen=True, eq=False)
class Sinks:
    """Predicted lakes, the largest volume first; sinks that touch count as one.

    Attributes
    ----------
    number : array of int, shape (m, n)
        Which sink a cell belongs to, from 1 on; 0 none.
    area_m2, volume_m3, depth_m, level_m : arrays, shape (k,)
        True area; volume and greatest depth of the head's sink; highest filled head.
    x_m, y_m : arrays, shape (k,)
        Deepest cell.

    Notes
    -----
    Depth is in metres of head: the thickness of water if ice rises with its roof and keeps its
    thickness. Under a surface held fast the water could be ``1 / (1 - k ice/water)`` times as
    thick, 12 times at flotation 1.
    """

    number: np.ndarray
    area_m2: np.ndarray
    volume_m3: np.ndarray
    depth_m: np.ndarray
    level_m: np.ndarray
    x_m: np.ndarray
    y_m: np.ndarray


def sinks(drainage, least_depth_m=1.0, least_area_m2=0.0):
    """Return :class:`Sinks` of cells deeper than a depth, and together larger than an area."""
    grid, depth = drainage.cells.grid, np.nan_to_num(drainage.depth_m)
    number, count = ndimage.label(depth > least_depth_m, structure=np.ones((3, 3)))
    index = np.arange(1, count + 1)
    area_m2 = grid.cell_area_m2
    area = ndimage.sum_labels(area_m2, number, index)
    volume = ndimage.sum_labels(area_m2 * depth, number, index)
    kept = np.flatnonzero(area >= least_area_m2)
    kept = kept[np.argsort(-volume[kept], kind="stable")]
    places = np.array(ndimage.maximum_position(depth, number, index[kept]), int).reshape(-1, 2)
    renumber = np.zeros(count + 1, np.int32)
    renumber[index[kept]] = np.arange(1, kept.size + 1)
    row, column = places.T
    filled = drainage.filled_m[row, column].astype(float)
    fields = area[kept], volume[kept], depth[row, column].astype(float), filled
    return Sinks(renumber[number], *fields, grid.x_m[column], grid.y_m[row])
