"""The invented glacier: true metres, floating by Archimedes, water that finds its way."""

import heapq

import numpy as np
import pytest
from pyproj import Geod, Transformer
from scipy.integrate import quad

from stakeline.errors import SettingsError
from stakeline.simulate.glacier import HALVARD

GEOD = Geod(ellps="WGS84")
FLOW = np.arange(0.0, 90001.0, 1000.0)


def between(flow, side, other_flow, other_side):
    """Return azimuth [deg] and length [m] of the geodesic between glacier coordinates."""
    first, second = HALVARD.place(flow, side), HALVARD.place(other_flow, other_side)
    azimuth, _, length = GEOD.inv(
        *np.degrees([first[1], first[0]]), *np.degrees([second[1], second[0]])
    )
    return azimuth, length


def test_metres_of_the_glacier_are_metres_of_the_ground():
    # geodesics of Karney (2013), J. Geod. 87, through pyproj
    _, along = between(FLOW[:-1], 0 * FLOW[1:], FLOW[1:], 0 * FLOW[1:])
    np.testing.assert_allclose(along, 1000.0, rtol=1e-4)
    _, across = between(FLOW, 0 * FLOW + 3000.0, FLOW, 0 * FLOW + 4000.0)
    np.testing.assert_allclose(across, 1000.0, rtol=1e-4)
    _, beside = between(FLOW - 50.0, 0 * FLOW + 5000.0, FLOW + 50.0, 0 * FLOW + 5000.0)
    np.testing.assert_allclose(beside, 100.0 * HALVARD.arc_scale(FLOW, 5000.0), rtol=1e-4)


def test_azimuth_is_that_of_the_geodesic():
    azimuth, _ = between(FLOW, 0 * FLOW + 2000.0, FLOW + 1.0, 0 * FLOW + 2000.0)
    told = np.degrees(HALVARD.azimuth_rad(FLOW, 2000.0))
    # half a metre of the turning line; geodesics as above
    assert np.abs((azimuth - told + 180.0) % 360.0 - 180.0).max() < 2e-3


def test_map_is_epsg_3413_and_the_way_back_is_exact():
    flow, side = np.meshgrid(FLOW, [-12000.0, -3000.0, 0.0, 5000.0, 12000.0])
    x, y = HALVARD.plane(flow, side)
    latitude, longitude = np.degrees(HALVARD.place(flow, side))
    # EPSG registry, through pyproj
    expected = Transformer.from_crs(4326, 3413, always_xy=True).transform(longitude, latitude)
    np.testing.assert_allclose([x, y], expected, atol=1e-3)
    back = HALVARD.along(x, y)
    np.testing.assert_allclose(back, [flow, side], atol=1e-6)


@pytest.mark.parametrize("end_m", [1000.0, 37000.0, 90000.0])
def test_centre_line_is_the_integral_of_its_direction(end_m):
    line = HALVARD.line
    parts = [quad(lambda s, f=f: f(line.direction(s)), 0.0, end_m)[0] for f in (np.cos, np.sin)]
    # definition of direction, integrated by numbers
    assert abs(line.ground(end_m, 0.0) - line.start_m - complex(*parts)) < 1e-6


def test_the_tongue_floats_and_joins_the_grounded_ice():
    flow, side = np.meshgrid(np.linspace(78001.0, 90000.0, 50), np.linspace(-5000.0, 5000.0, 11))
    above = HALVARD.surface_m(flow, side) - HALVARD.sea_level_m
    # Archimedes with 917 and 1028 kg/m3
    thickness = HALVARD.thickness_m(flow, side)
    np.testing.assert_allclose(above, thickness - 917.0 / 1028.0 * thickness, rtol=1e-12)
    base = HALVARD.surface_m(flow, side) - thickness
    assert np.all(base > HALVARD.bed_m(flow, side))
    for field in (HALVARD.surface_m, HALVARD.thickness_m, HALVARD.bed_m):
        before, after = field(np.array([77999.9, 78000.1]), np.array([700.0, 700.0]))
        assert abs(after - before) < 0.02
    grounded = np.linspace(0.0, 77900.0, 500)
    freeboard = HALVARD.surface_m(grounded, 0.0) - HALVARD.sea_level_m
    assert np.all(freeboard > (1 - 917 / 1028) * HALVARD.thickness_m(grounded, 0.0))


def test_numbers_of_the_order():
    middle = HALVARD.speed_m_d(FLOW, 0.0)
    # invented, as the description of the campaign has it
    assert middle[0] == pytest.approx(0.2)
    assert middle[-1] == pytest.approx(2.5)
    assert np.all(np.diff(middle) > 0.0)
    side = np.linspace(0.0, 9000.0, 30)
    assert np.all(np.diff(HALVARD.speed_m_d(45000.0, side)) <= 0.0)
    thickness = HALVARD.thickness_m(FLOW, 0.0)
    assert thickness.min() > 250.0
    assert thickness.max() < 900.0
    assert 1100.0 < HALVARD.surface_m(0.0, 0.0) < 1250.0
    for lake in HALVARD.lakes:
        assert 600.0 < lake.thickness_m < 810.0
        assert 8e6 < lake.area_m2 < 25e6
        assert 2.0 < np.sqrt(lake.area_m2 / np.pi) / lake.thickness_m < 3.0


def in_lakes(flow, side, margin=1.0):
    """Say where places lie in a lake, or in one larger by a factor."""
    inside = np.zeros(np.broadcast(flow, side).shape, bool)
    for lake in HALVARD.lakes:
        along = (flow - lake.flow_m) / lake.half_length_m
        across = (side - lake.side_m) / lake.half_width_m
        inside |= along**2 + across**2 < margin**2
    return inside


def test_potential_falls_along_the_route_outside_lakes():
    flow = np.arange(HALVARD.lakes[0].flow_m, HALVARD.grounding_flow_m, 50.0)
    side = HALVARD.route_side_m(flow)
    # potential after Shreve (1972), 917 and 1000 kg/m3, flotation 1, written anew
    surface, bed = HALVARD.surface_m(flow, side), HALVARD.bed_m(flow, side)
    head = bed + 0.917 * (surface - bed)
    np.testing.assert_allclose(HALVARD.potential_head_m(flow, side), head, atol=1e-9)
    outside = ~in_lakes(flow, side, margin=1.1)  # the rim of the bowl lies about the outline
    steps = np.diff(head)[outside[1:] & outside[:-1]]
    assert steps.size > 800
    assert steps.max() < 0.0


def fill_sinks(head):
    """Return heads with sinks filled and the way out: Barnes et al. (2014), priority flood."""
    rows, columns = head.shape
    filled = np.full(head.shape, np.inf)
    filled[-1] = head[-1]
    heap = [(head[-1, j], rows - 1, j) for j in range(columns)]
    heapq.heapify(heap)
    way_out = {}
    while heap:
        level, i, j = heapq.heappop(heap)
        for p in range(max(i - 1, 0), min(i + 2, rows)):
            for q in range(max(j - 1, 0), min(j + 2, columns)):
                if np.isinf(filled[p, q]):
                    filled[p, q] = max(head[p, q], level)
                    way_out[p, q] = (i, j)
                    heapq.heappush(heap, (filled[p, q], p, q))
    return filled, way_out


def test_each_lake_is_a_sink_and_there_is_no_other():
    flow, side = np.arange(14000.0, 78001.0, 250.0), np.arange(-6000.0, 6001.0, 250.0)
    head = HALVARD.potential_head_m(*np.meshgrid(flow, side, indexing="ij"))
    filled, way_out = fill_sinks(head)
    sink = filled - head > 0.05
    grid = np.meshgrid(flow, side, indexing="ij")
    assert not np.any(sink & ~in_lakes(*grid, margin=1.3))
    for lake in HALVARD.lakes:
        along, across = (grid[0] - lake.flow_m) / lake.half_length_m, grid[1] - lake.side_m
        near = along**2 + (across / lake.half_width_m) ** 2 < 1.3**2
        # the outline is meant to be the sink
        assert 250.0**2 * np.sum(sink & near) == pytest.approx(lake.area_m2, rel=0.2)
    # water that leaves the upper lake passes through the lower one
    cell = tuple(np.argmin(np.abs(a - v)) for a, v in ((flow, 22000.0), (side, 800.0)))
    passed = []
    while cell in way_out:
        cell = way_out[cell]
        passed.append((flow[cell[0]], side[cell[1]]))
    passed = np.array(passed)
    off = HALVARD.route_distance_m(passed[:, 0], passed[:, 1])[1]
    assert off.max() < 2000.0
    assert np.any(in_lakes(passed[:, 0], passed[:, 1]) & (passed[:, 0] > 40000.0))


def test_distance_by_the_route():
    route = HALVARD.route
    along, off = HALVARD.route_distance_m(route[:, 0], route[:, 1])
    assert off.max() < 1e-6
    assert np.all(np.diff(along) > 0.0)
    _, steps = between(*route[:-1].T, *route[1:].T)
    # sum of geodesics
    assert along[-1] - along[0] == pytest.approx(steps.sum(), rel=1e-4)
    outlet = HALVARD.lakes[0].flow_m + HALVARD.lakes[0].half_length_m
    at_outlet = HALVARD.route_distance_m(outlet, HALVARD.route_side_m(outlet))
    assert abs(at_outlet[0]) < 5.0
    assert at_outlet[1] < 5.0
    by_name = {s.name: HALVARD.route_distance_m(s.flow_m, s.side_m) for s in HALVARD.sites()}
    assert by_name["HV01"][0] < -8000.0
    assert by_name["HV04"][1] > 4000.0
    assert by_name["HV09"][1] > 4000.0
    assert all(by_name[f"HV{n:02d}"][1] < 10.0 for n in (5, 6, 10, 11, 12))


def test_sites_stand_for_what_they_say():
    sites = {s.name: s for s in HALVARD.sites()}
    assert list(sites) == [f"HV{n:02d}" for n in range(1, 15)]
    inside = {n for n, s in sites.items() if in_lakes(s.flow_m, s.side_m)}
    assert inside == {"HV02", "HV03", "HV07", "HV08"}
    assert {n for n, s in sites.items() if s.grounding_m > 0.0} == {"HV13", "HV14"}
    for s in sites.values():
        assert s.place.height_m == pytest.approx(HALVARD.surface_m(s.flow_m, s.side_m))
        assert s.thickness_m > 300.0
        assert not s.on_rock
        assert 0.2 < s.speed_m_d < 2.5


def test_stretch_and_turn_are_derivatives_on_the_ground():
    for s in HALVARD.sites():
        ends = s.flow_m - 20.0, s.flow_m + 20.0
        azimuth, length = between(ends[0], s.side_m, ends[1], s.side_m)
        speeds = HALVARD.speed_m_d(np.array(ends), np.full(2, s.side_m))
        assert s.stretch_a == pytest.approx(np.diff(speeds)[0] / length * 365.25, rel=2e-3)
        # turn against the geodesic through both ends: half the turn of 40 m lies before each
        first = np.degrees(HALVARD.azimuth_rad(ends[0], s.side_m))
        turned = 2.0 * np.radians((azimuth - first + 180.0) % 360.0 - 180.0)
        assert s.turn_rad_m == pytest.approx(turned / length, abs=2e-8)


def test_few_stations_are_the_most_useful_ones():
    assert [s.name for s in HALVARD.sites(4)] == ["HV02", "HV05", "HV07", "HV10"]
    for count in range(1, 14):
        fewer = {s.name for s in HALVARD.sites(count)}
        assert len(fewer) == count
        assert fewer < {s.name for s in HALVARD.sites(count + 1)}
    assert [s.name for s in HALVARD.sites(names=("HV09", "HV01"))] == ["HV01", "HV09"]
    with pytest.raises(SettingsError, match="1 to 14"):
        HALVARD.sites(15)
    with pytest.raises(SettingsError, match="no station HV99"):
        HALVARD.sites(names=["HV99"])


def test_the_base_stands_on_rock_near_the_lower_lake():
    base, lake = HALVARD.base(), HALVARD.lakes[1]
    assert base.name == "HB01"
    assert base.on_rock
    assert base.speed_m_d == 0.0
    assert base.stretch_a == 0.0
    assert base.turn_rad_m == 0.0
    assert between(base.flow_m, base.side_m, lake.flow_m, lake.side_m)[1] < 15000.0
    assert base.place.height_m == pytest.approx(HALVARD.bed_m(base.flow_m, base.side_m))


def test_outlines_enclose_the_lakes():
    for lake in HALVARD.lakes:
        ring = HALVARD.outline(lake)
        assert ring.shape == (73, 2)
        assert np.array_equal(ring[0], ring[-1])
        area, _ = GEOD.polygon_area_perimeter(*ring.T)  # positive: counter-clockwise
        # ellipse; a polygon of 72 is 0.13 % smaller, the bent line changes less than 2 %
        assert area == pytest.approx(lake.area_m2, rel=0.02)


def test_maps_are_full_and_agree_with_the_fields():
    maps = HALVARD.maps(500.0)
    assert all(np.all(np.isfinite(field)) for field in maps)
    assert np.all(np.diff(maps.x_m) == 500.0)
    assert np.all(np.diff(maps.y_m) == 500.0)
    assert maps.surface_m.shape == (maps.y_m.size, maps.x_m.size)
    assert np.all(maps.surface_m - maps.bed_m >= maps.thickness_m - 1e-9)
    assert np.all(maps.thickness_m >= 0.0)
    x, y = HALVARD.plane(48000.0, -800.0)
    j, i = np.argmin(np.abs(maps.x_m - x)), np.argmin(np.abs(maps.y_m - y))
    place = HALVARD.along(maps.x_m[j], maps.y_m[i])
    assert maps.surface_m[i, j] == pytest.approx(HALVARD.surface_m(*place), abs=1e-6)
    assert len(HALVARD.grids(2000.0)) == 4


def test_surface_is_smooth_where_ice_flows():
    flow, side = np.meshgrid(np.arange(1000.0, 89000.0, 20.0), np.linspace(-5000.0, 5000.0, 9))
    slope = np.diff(HALVARD.surface_m(flow, side), axis=1) / 20.0
    bend = np.diff(slope, axis=1) / 20.0
    # steepest at the lower end of a lake; a step of 1 m within 20 m would be 2.5e-3 1/m
    assert np.abs(slope).max() < 0.07
    assert np.abs(bend).max() < 2.5e-4
