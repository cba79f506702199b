"""Whatever the head: water leaves, never climbs, and nothing of it is lost."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from stakeline.lakes.grid import MapGrid
from stakeline.lakes.paths import follow
from stakeline.lakes.routing import METHODS, accumulate, drain_grid, leaving

ROWS, COLUMNS = 7, 9
GRID = MapGrid(np.arange(COLUMNS) * 100.0, np.arange(ROWS) * 60.0)
HEIGHTS = st.one_of(
    st.integers(0, 4).map(float),
    st.floats(-500.0, 3000.0, width=32),
    st.just(np.nan),
)
HEADS = arrays(np.float32, (ROWS, COLUMNS), elements=HEIGHTS).filter(
    lambda head: np.isfinite(head).any()
)


@settings(max_examples=60, deadline=None)
@given(HEADS, st.sampled_from(sorted(METHODS)), st.sampled_from(["around", "lost"]))
def test_what_enters_leaves(head, method, on_holes):
    d = drain_grid(GRID, _with_an_edge(head), on_holes=on_holes)
    flow = accumulate(d, np.ones(GRID.shape), method)
    count = np.count_nonzero(d.cells.carries)
    assert sum(leaving(d, flow).values()) == pytest.approx(count, rel=1e-12)
    assert np.nanmin(flow) >= 1.0


@settings(max_examples=60, deadline=None)
@given(HEADS)
def test_filling_is_least_and_done_once(head):
    d = drain_grid(GRID, _with_an_edge(head), on_holes="lost")
    there = np.isfinite(d.filled_m)
    assert (d.filled_m[there] >= d.head_m[there]).all()
    again = drain_grid(GRID, d.filled_m, on_holes="lost")
    assert np.array_equal(again.filled_m, d.filled_m, equal_nan=True)


@settings(max_examples=60, deadline=None)
@given(HEADS, st.integers(1, ROWS - 2), st.integers(1, COLUMNS - 2))
def test_a_route_never_climbs_nor_crosses_a_gap(head, row, column):
    head = _with_an_edge(head)
    head[row - 1 : row + 2, column - 1 : column + 2] = np.nan_to_num(
        head[row - 1 : row + 2, column - 1 : column + 2]
    )
    d = drain_grid(GRID, head, on_holes="around")
    lake = np.zeros(GRID.shape, bool)
    lake[row, column] = True
    if d.cells.within(d.cells.leaves)[row, column]:
        return
    route = follow(d, lake)
    assert (np.diff(route.head_m) <= 0.0).all()
    assert np.isfinite(d.head_m[route.row, route.column]).all()
    steps = np.maximum(abs(np.diff(route.row)), abs(np.diff(route.column)))
    assert (steps == 1).all()
    assert d.cells.within(d.cells.leaves)[route.row[-1], route.column[-1]] > 0


def _with_an_edge(head):
    """Return the head with an edge that holds heights, so that there is a way out."""
    head = head.copy()
    for side in (head[0], head[-1], head[:, 0], head[:, -1]):
        side[:] = np.nan_to_num(side)
    return head
