"""Water on a head: floods by brute force, mass to the last cell, symmetry, catchments, sinks."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.lakes.grid import MapGrid
from stakeline.lakes.routing import (
    METHODS,
    accumulate,
    catchments,
    cells_of,
    drain,
    drain_grid,
    exits,
    leaving,
    sinks,
)


def square(size=21, step_m=100.0):
    """Return a grid about the origin, and x and y of its cells."""
    axis = (np.arange(size) - (size - 1) / 2) * step_m
    return MapGrid(axis, axis), *np.meshgrid(axis, axis)


def random_head(seed, shape=(9, 11), missing=0.0):
    rng = np.random.default_rng(seed)
    head = np.round(rng.uniform(0.0, 12.0, shape), rng.integers(0, 3)).astype(np.float32)
    head[rng.random(shape) < missing] = np.nan
    return MapGrid(np.arange(shape[1]) * 50.0, np.arange(shape[0])[::-1] * 80.0), head


def neighbours(head, r, c):
    for i in range(max(r - 1, 0), min(r + 2, head.shape[0])):
        for j in range(max(c - 1, 0), min(c + 2, head.shape[1])):
            if (i, j) != (r, c) and np.isfinite(head[i, j]):
                yield i, j


def brute_force(head, leaves):
    """Lower every cell to the larger of its head and its lowest neighbour until nothing moves."""
    level = np.where(leaves, head, np.where(np.isfinite(head), np.inf, np.nan))
    moved = True
    while moved:
        moved = False
        for r, c in np.argwhere(np.isfinite(head) & ~leaves):
            lowest = min((level[n] for n in neighbours(head, r, c)), default=np.inf)
            new = max(head[r, c], lowest)
            moved |= new < level[r, c]
            level[r, c] = min(new, level[r, c])
    return level


@pytest.mark.parametrize("on_holes", ["around", "lost"])
@pytest.mark.parametrize("seed", range(12))
def test_flood_by_brute_force(seed, on_holes):
    grid, head = random_head(seed, missing=0.15 * (seed % 3))
    d = drain_grid(grid, head, on_holes=on_holes)
    carries = d.cells.within(d.cells.carries)
    leaves = d.cells.within(d.cells.leaves) > 0
    expected = brute_force(np.where(carries, head, np.nan), leaves)
    assert np.array_equal(d.filled_m, expected, equal_nan=True)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("seed", range(6))
def test_what_enters_leaves(seed, method):
    grid, head = random_head(seed, missing=0.1 * (seed % 2))
    d = drain_grid(grid, head, on_holes="around")
    source = np.random.default_rng(seed).uniform(0.0, 5.0, grid.shape)
    flow = accumulate(d, source, method)
    there = d.cells.within(d.cells.carries)
    assert sum(leaving(d, flow).values()) == pytest.approx(source[there].sum(), rel=1e-13)
    assert (flow[there] >= source[there]).all()
    assert np.isnan(flow[~there]).all()


@pytest.mark.parametrize("seed", range(6))
def test_no_way_leads_uphill_and_flats_drain(seed):
    grid, head = random_head(seed, shape=(12, 12))
    d = drain_grid(grid, np.floor(head / 3.0))
    assert (d.depth_m >= 0.0).all()
    place = {int(c): k for k, c in enumerate(d.order)}
    assert len(place) == head.size
    for c in d.order:
        if d.cells.leaves[c] == 0:
            to = int(c + d.cells.offsets[d.back[c]])
            assert d.level[to] <= d.level[c]
            assert place[to] < place[int(c)]
    row, column = exits(d)
    assert (d.cells.within(d.cells.leaves)[row, column] > 0).all()


def test_a_level_plain_drains_to_the_nearest_edge():
    grid, x, _ = square(11)
    d = drain_grid(grid, np.full_like(x, 7.0))
    row, column = exits(d)
    steps = np.maximum(abs(row - np.arange(11)[:, None]), abs(column - np.arange(11)))
    r, c = np.indices(grid.shape)
    assert np.array_equal(steps, np.minimum.reduce([r, c, 10 - r, 10 - c]))


@pytest.mark.parametrize("method", METHODS)
def test_plane_along_an_axis(method):
    grid, x, _ = square()
    flow = accumulate(drain_grid(grid, -0.01 * x), np.ones(grid.shape), method)
    # every strip keeps its water: column k has what k columns above it and itself add; away from
    # the sides, where partial flow along the diagonals leaves by the edge
    assert flow[10, 1:11] == pytest.approx(np.arange(1, 11), rel=1e-12)


def test_partial_flow_by_hand():
    # Quinn et al. (1991), equation 2: contour 0.5 and 0.354 of the cell times slope; a head that
    # falls by 1 to the east and by 0.5 to the south-east
    head = np.array([[9, 9, 9, 9], [9, 5, 4, 0], [9, 9, 4.5, 0], [9, 9, 9, 0]], float)
    grid = MapGrid(np.arange(4.0), -np.arange(4.0))
    source = np.zeros((4, 4))
    source[1, 1] = 1.0
    flow = accumulate(drain_grid(grid, head), source)
    east, southeast = 0.5 * 1.0, np.sqrt(2) / 4 * 0.5 / np.sqrt(2)
    # the cell south-east passes on 0.5 of its own to the one east of it, among others
    assert flow[2, 2] >= southeast / (east + southeast) - 1e-12
    assert flow[2, 2] + flow[1, 2] >= 1.0
    assert flow[2, 2] == pytest.approx(0.2, abs=1e-12)
    freeman = accumulate(drain_grid(grid, head), source, "freeman")
    # Freeman (1991), equation 1: slope to the power 1.1
    diagonal = (0.5 / np.sqrt(2)) ** 1.1
    assert freeman[2, 2] == pytest.approx(diagonal / (1.0 + diagonal), rel=1e-6)


def test_cone_flows_evenly_by_partial_flow():
    # Freeman (1991), figure 4: water leaves a cone the same way all round, not in eight rays
    grid, x, y = square(41)
    radius = np.hypot(x, y)
    d = drain_grid(grid, 1000.0 - 0.1 * radius)
    ring = abs(radius - 1500.0) < 60.0
    spread = {}
    for method in METHODS:
        flow = accumulate(d, method=method)[ring]
        spread[method] = flow.std() / flow.mean()
    assert spread["freeman"] < 0.05
    assert spread["quinn"] < 0.05
    assert spread["steepest"] > 0.5


@pytest.mark.parametrize("method", ["quinn", "freeman"])
def test_symmetric_heads_give_symmetric_flow(method):
    grid, x, y = square(15)
    head = np.cos(x / 300.0) + np.cos(y / 300.0) - 1e-6 * (x**2 + y**2)
    flow = accumulate(drain_grid(grid, head), method=method)
    for turned in (flow[::-1], flow[:, ::-1], flow.T, np.rot90(flow)):
        assert turned == pytest.approx(flow, rel=1e-5)


def test_true_area_by_the_scale_of_the_map():
    # EPSG:3031 at 80 S: one map metre is 1 / 0.9802 m (IOGP 373-7-2; see earth.projection)
    axis = np.arange(5) * 1000.0
    grid = MapGrid(axis, axis - 1.09e6, 3031)
    flow = accumulate(drain_grid(grid, np.add.outer(axis, axis)))
    assert flow[4, 4] == pytest.approx(1e6 / 0.9802**2, rel=2e-3)


def test_bowl():
    # a paraboloid: volume is half of area times depth (Archimedes)
    grid, x, y = square(61, 50.0)
    radius2 = x**2 + y**2
    rim_m, depth_m = 1000.0, 20.0
    head = np.where(radius2 < rim_m**2, depth_m * (radius2 / rim_m**2 - 1.0), 0.0)
    head = head - 1e-3 * np.maximum(np.sqrt(radius2) - rim_m, 0.0)
    d = drain_grid(grid, head)
    s = sinks(d, least_depth_m=0.0)
    assert s.area_m2.size == 1
    assert s.area_m2[0] == pytest.approx(np.pi * rim_m**2, rel=0.01)
    assert s.volume_m3[0] == pytest.approx(0.5 * np.pi * rim_m**2 * depth_m, rel=0.02)
    assert s.depth_m[0] == pytest.approx(depth_m, abs=0.1)
    assert (s.x_m[0], s.y_m[0]) == (0.0, 0.0)
    assert s.level_m[0] == pytest.approx(0.0, abs=0.1)
    assert sinks(d, least_area_m2=4e6).area_m2.size == 0
    assert sinks(d, least_depth_m=30.0).number.max() == 0


def test_two_bowls_in_order_of_volume():
    grid, x, y = square(41)
    dip = 30.0 * np.exp(-((x - 1000) ** 2 + y**2) / 300**2)
    deep = 50.0 * np.exp(-((x + 1000) ** 2 + y**2) / 300**2)
    s = sinks(drain_grid(grid, -dip - deep), least_depth_m=2.0)
    assert s.x_m.tolist() == [-1000.0, 1000.0]
    assert s.volume_m3[0] > s.volume_m3[1]
    assert s.number[20, 10] == 1
    assert s.number[20, 30] == 2


def test_catchments():
    grid, x, y = square()
    head = np.abs(x) * 0.01 + y * 0.02  # a valley along x = 0, falling to the south
    places = np.zeros(grid.shape, int)
    places[0, 10], places[10, 10] = 1, 2
    number = catchments(drain_grid(grid, head), places)
    assert number[15, 10] == 2  # the upper lake takes what comes from above
    assert number[5, 10] == 1
    assert number[5, 0] == 0  # leaves by the edge
    head[3, 3] = np.nan
    number = catchments(drain_grid(grid, head, on_holes="lost"), places)
    assert number[3, 3] == -1


def test_ends_and_their_names():
    grid, x, _ = square()
    head, ends = -0.01 * x, x > 500.0
    d = drain_grid(grid, head, ends)
    given = leaving(d, accumulate(d))
    assert given["given end"] > 0.6 * x.size * 1e4
    assert given["edge of the data"] == 0.0
    head[:, :3] = np.nan
    d = drain_grid(grid, head, ends)
    assert leaving(d, accumulate(d))["edge of the data"] > 0.0
    assert d.cells.notes == ("63 of 441 cells hold no data",)


def test_holes_are_said():
    grid, x, _ = square()
    head = -0.01 * x
    head[5:7, 5:7] = np.nan
    with pytest.raises(SettingsError, match=r"1 hole\(s\) of no data, 4 cells.*on_holes='around'"):
        drain_grid(grid, head)
    around = drain_grid(grid, head, on_holes="around")
    lost = drain_grid(grid, head, on_holes="lost")
    assert "water goes around" in around.cells.notes[0]
    assert "is lost" in lost.cells.notes[0]
    assert leaving(around, accumulate(around))["edge of the data"] == 0.0
    assert leaving(lost, accumulate(lost))["edge of the data"] > 0.0


def test_an_island_without_way_out_is_left_out():
    grid, x, _ = square()
    head = -0.01 * x
    head[5:10, 5:10] = np.nan
    head[7, 7] = 3.0
    d = drain_grid(grid, head, on_holes="around")
    assert "1 cells enclosed by missing ones are left out" in d.cells.notes[1]
    assert np.isnan(d.filled_m[7, 7])


def test_refused():
    grid, x, _ = square()
    d = drain_grid(grid, -x)
    with pytest.raises(SettingsError, match=r"shape \(21, 20\), its axes \(21, 21\)"):
        drain_grid(grid, x[:, 1:])
    with pytest.raises(SettingsError, match="no cell of the grid holds a head"):
        drain_grid(grid, x * np.nan)
    with pytest.raises(SettingsError, match="known are quinn, freeman, steepest"):
        accumulate(d, method="round")
    with pytest.raises(SettingsError, match="1 cells with a head have a source"):
        accumulate(d, np.where((x == 0) & (x.T == 0), np.nan, 1.0))
    with pytest.raises(SettingsError, match="holes 'fill'; known are"):
        drain_grid(grid, x, on_holes="fill")
    with pytest.raises(SettingsError, match="21 of 441 cells hold no head"):
        drain(cells_of(grid, np.zeros(grid.shape, bool)), np.where(x == 0, np.nan, x))
