"""Routes: straight on planes, true lengths, stations beside them, times, the invented glacier."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.lakes.grid import MapGrid
from stakeline.lakes.outline import ellipse_outline, outline_from_degrees
from stakeline.lakes.paths import arrival_times, beside, follow, lakes_on, parting_m
from stakeline.lakes.potential import afloat, hydraulic_head_m
from stakeline.lakes.routing import drain_grid
from stakeline.simulate.glacier import HALVARD

AXIS = np.arange(-30, 31) * 100.0
GRID = MapGrid(AXIS, AXIS)
X, Y = np.meshgrid(AXIS, AXIS)
MIDDLE = (abs(X) < 1.0) & (abs(Y) < 1.0)


def route_on(head, lake=MIDDLE, grid=GRID):
    return follow(drain_grid(grid, head), lake, "Middle")


@pytest.mark.parametrize("direction_deg", [0, 9, 20, 27, 45, 63, 100, 157, 200, 290, 333])
def test_straight_down_a_plane(direction_deg):
    # a line of fall of a plane is straight: Orlandini et al. (2003) keep to it within a cell
    east, north = np.cos(np.radians(direction_deg)), np.sin(np.radians(direction_deg))
    route = route_on(-0.01 * (east * X + north * Y))
    off = route.x_m * north - route.y_m * east
    assert abs(off).max() < 75.0
    straight = np.hypot(route.x_m[-1], route.y_m[-1])
    assert route.length_m == pytest.approx(straight, rel=0.02)
    assert (np.diff(route.head_m) < 0.0).all()
    assert route.end == "edge of the grid"


def test_lengths_are_true():
    # EPSG:3031 at 80 S: map over ground is 0.9802 (IOGP 373-7-2; see earth.projection)
    grid = MapGrid(AXIS, AXIS - 1.0892e6, 3031)
    route = route_on(-0.01 * X, grid=grid)
    assert route.length_m == pytest.approx(3000.0 / 0.9802, rel=1e-4)
    place = beside(route, 1000.0, 500.0 - 1.0892e6)
    assert place.along_m[0] == pytest.approx(1000.0 / 0.9802, rel=1e-4)
    assert place.off_m[0] == pytest.approx(500.0 / 0.9802, rel=1e-4)


def test_through_a_sink_to_its_lowest_outlet():
    bowl = np.hypot(X, Y) * 0.05
    head = np.where(np.hypot(X, Y) < 1500.0, bowl, 75.0 - 0.02 * (np.hypot(X, Y) - 1500.0))
    head[(abs(Y - 500.0) < 60.0) & (X > 0.0)] -= 30.0  # a notch in the rim, to the east
    route = route_on(head, np.hypot(X, Y) < 800.0)
    assert route.x_m[-1] == 3000.0
    assert abs(route.y_m[-1] - 500.0) < 800.0
    assert route.distance_m[0] < 0.0
    assert (np.diff(route.head_m) <= 0.0).all()
    outlet = np.flatnonzero(route.distance_m == 0.0)
    assert np.hypot(X, Y)[route.row[outlet], route.column[outlet]] < 800.0


def test_places_beside():
    route = route_on(-0.01 * X)
    place = beside(route, [500.0, 1500.0, -200.0, 4000.0], [300.0, -400.0, 0.0, 0.0])
    # left looking downstream, to the east, is north
    assert place.off_m == pytest.approx([300.0, -400.0, 200.0, 1000.0], abs=1e-6)
    assert place.along_m == pytest.approx([500.0, 1500.0, 0.0, 3000.0], abs=1e-6)
    assert place.beyond.tolist() == [False, False, False, True]
    assert place.passed(350.0).tolist() == [True, False, True, False]


def test_arrival_times():
    place = beside(route_on(-0.01 * X), [500.0, 1500.0, 4000.0], [300.0, -400.0, 0.0])
    arrival = arrival_times(place, [0.1, 0.5], reach_m=350.0)
    assert arrival.delay_s[0] == pytest.approx([5000.0, 1000.0])  # way over speed
    assert np.isnan(arrival.delay_s[1:]).all()
    window = arrival.window_ns(10**18, 10**18 + 7 * 10**9)
    assert (window[0] - 10**18).tolist() == [1000 * 10**9, 5007 * 10**9]
    assert np.isnat(window[1:].astype("datetime64[ns]")).all()
    with pytest.raises(SettingsError, match="expected positive ones"):
        arrival_times(place, [0.1, 0.0])


def test_where_two_routes_part():
    straight = route_on(-0.01 * X)
    bent = route_on(-0.01 * X - np.where(X > 1000.0, 0.01 * Y, 0.0))
    assert np.isnan(parting_m(straight, straight, 50.0))
    assert parting_m(straight, bent, 250.0) == pytest.approx(1250.0, abs=150.0)


def test_lakes_on_the_way():
    places = np.where(MIDDLE, 1, np.where(abs(X - 1500.0) < 250.0, 2, 0))
    places[:5] = 3
    found = lakes_on(route_on(-0.01 * X), places, ("Middle", "Lower", "Other"))
    assert found == (("Lower", pytest.approx(1300.0), pytest.approx(1700.0)),)


def test_refused():
    holed = drain_grid(GRID, np.where(MIDDLE, np.nan, -X), on_holes="around")
    with pytest.raises(SettingsError, match="'Upper' has 9 cells, 1 of them without surface"):
        follow(holed, np.hypot(X, Y) < 150.0, "Upper")
    with pytest.raises(SettingsError, match="'Upper' has 0 cells"):
        follow(holed, X > 1e9, "Upper")
    with pytest.raises(SettingsError, match="'Upper' reaches the edge of the grid"):
        follow(holed, X > 2500.0, "Upper")
    with pytest.raises(SettingsError, match=r"the grid of Upper has shape \(3, 61\)"):
        follow(holed, MIDDLE[:3], "Upper")


@pytest.mark.parametrize("flotation", [1.0, 0.97])
def test_invented_glacier(flotation):
    # truth: HALVARD.route, by which surface and bed were made for flotation 1
    maps = HALVARD.maps(500.0)
    grid = MapGrid(maps.x_m, maps.y_m, 3413)
    floats = afloat(maps.surface_m, maps.bed_m, HALVARD.sea_level_m)
    head = hydraulic_head_m(maps.surface_m, maps.bed_m, flotation)
    names = [lake.name for lake in HALVARD.lakes]
    outlines = [outline_from_degrees(k.name, HALVARD.outline(k), 3413) for k in HALVARD.lakes]
    lakes = [grid.inside(outline) for outline in outlines]
    route = follow(drain_grid(grid, head, floats), lakes[0], names[0])
    ((name, entry_m, exit_m),) = lakes_on(route, lakes[0] + 2 * lakes[1], names)
    assert name == "Lower Halvard"
    assert route.end == "given end"
    below = route.downstream
    flow, side = HALVARD.along(route.x_m[below], route.y_m[below])
    along, off = HALVARD.route_distance_m(flow, side)
    assert np.median(off) < 500.0  # one cell
    assert off.max() < 2000.0
    truth_m = HALVARD.route_distance_m(*HALVARD.route[-1])[0]
    assert route.length_m == pytest.approx(truth_m, rel=0.03)
    assert abs(route.distance_m[below] - along).max() < 1500.0
    low, high = (HALVARD.hollows[1].flow_m + s * HALVARD.hollows[1].half_length_m for s in (-1, 1))
    edges = [HALVARD.route_distance_m(f, HALVARD.route_side_m(f))[0] for f in (low, high)]
    assert [entry_m, exit_m] == pytest.approx(edges, abs=1500.0)


def test_stations_of_the_invented_glacier():
    maps = HALVARD.maps(500.0)
    grid = MapGrid(maps.x_m, maps.y_m, 3413)
    floats = afloat(maps.surface_m, maps.bed_m, HALVARD.sea_level_m)
    lake = HALVARD.lakes[0]
    mask = grid.inside(outline_from_degrees(lake.name, HALVARD.outline(lake), 3413))
    head = hydraulic_head_m(maps.surface_m, maps.bed_m)
    route = follow(drain_grid(grid, head, floats), mask, lake.name)
    flow = np.array([30000.0, 40000.0, 60000.0, 70000.0])
    side = HALVARD.route_side_m(flow) + np.array([0.0, 2500.0, -1500.0, 200.0])
    place = beside(route, *HALVARD.plane(flow, side))
    along, off = HALVARD.route_distance_m(flow, side)
    assert abs(place.off_m) == pytest.approx(off, abs=700.0)
    assert place.off_m[1] > 0.0 > place.off_m[2]
    assert place.along_m == pytest.approx(along, abs=900.0)


def test_outline_of_one_cell_starts_a_route():
    lake = GRID.inside(ellipse_outline("Small", (10.0, 20.0), (5.0, 5.0)))
    assert route_on(-0.01 * X, lake).length_m == pytest.approx(3000.0)
