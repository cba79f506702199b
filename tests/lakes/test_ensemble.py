"""Routes with a probability: limits, a switch at a known flotation, threads, what-if, refusals."""

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.lakes.ensemble import Doubt, drained, route_odds, water_case, way, what_if
from stakeline.lakes.grid import MapGrid
from stakeline.lakes.outline import ellipse_outline
from stakeline.lakes.potential import hydraulic_head_m
from stakeline.lakes.random_fields import ErrorField

AXIS = np.arange(-15, 16) * 200.0
GRID = MapGrid(AXIS, AXIS)
X, Y = np.meshgrid(AXIS, AXIS)
UPPER = ellipse_outline("Upper", (-2000.0, 0.0), (450.0, 450.0))
LOWER = ellipse_outline("Lower", (1000.0, 0.0), (450.0, 450.0))
STATIONS_M = np.array([(0.0, 100.0), (0.0, 2500.0), (2400.0, -100.0)])
BED_M = -300.0 + 2e-5 * Y**2  # a trough to the east
SURFACE_M = 700.0 - 0.01 * X


def case(surface=SURFACE_M, bed=BED_M, outlines=(UPPER, LOWER), **more):
    return water_case(GRID, surface, bed, outlines, **more)


def test_no_doubt_is_one_route():
    one = way(case())
    odds = route_odds(case(), Doubt(), np.random.default_rng(1), 3, station_m=STATIONS_M)
    for k, route in enumerate(one.routes):
        expected = np.zeros(GRID.shape)
        expected[route.row[route.downstream], route.column[route.downstream]] = 1.0
        assert np.array_equal(odds.on_route[k], expected)
        assert (odds.length_m[:, k] == route.length_m).all()
    assert odds.meets.tolist() == [[0.0, 1.0], [0.0, 0.0]]
    assert odds.ends.tolist() == [[0.0, 1.0, 0.0, 0.0]] * 2
    assert odds.upstream(500.0).tolist() == [[1.0, 0.0, 1.0], [0.0, 0.0, 1.0]]
    along = odds.along_quantiles_m(reach_m=500.0)
    assert along[:, 0, 0] == pytest.approx(1600.0, abs=50.0)
    assert np.isnan(along[:, 0, 1]).all()
    # a field of sigma zero is no doubt either
    none = Doubt(ErrorField(GRID, 0.0, 1000.0), ErrorField(GRID, 0.0, 1000.0))
    again = route_odds(case(), none, np.random.default_rng(2), 2, station_m=STATIONS_M)
    assert np.array_equal(again.on_route, odds.on_route)
    assert again.mean_upstream_m2 == pytest.approx(odds.mean_upstream_m2, rel=1e-6)


def test_a_route_that_turns_at_a_known_flotation():
    # bed falls to the west, surface to the east: level where k r dS = (1 - k r) dB (Shreve 1972)
    surface_slope, bed_slope = 0.01, 0.05
    turn = bed_slope / (surface_slope + bed_slope) / 0.917
    bed = -300.0 + bed_slope * X + 1e-4 * Y**2
    surface = 900.0 - surface_slope * X
    middle = ellipse_outline("Middle", (0.0, 0.0), (450.0, 450.0))
    doubt = Doubt(flotation=(0.8, 1.0))
    odds = route_odds(
        case(surface, bed, [middle]),
        doubt,
        np.random.default_rng(3),
        60,
        station_m=[(2000.0, 0.0), (-2000.0, 0.0)],
    )
    assert ((odds.flotation >= 0.8) & (odds.flotation <= 1.0)).all()
    east = odds.passed(500.0)[:, 0]
    assert np.array_equal(east[:, 0], odds.flotation > turn)
    assert np.array_equal(east[:, 1], odds.flotation < turn)
    assert odds.upstream(500.0).sum() == pytest.approx(1.0)
    three_sigma = 3.0 * np.sqrt(0.45 * 0.55 / 60)
    assert odds.upstream(500.0)[0, 0] == pytest.approx((1.0 - turn) / 0.2, abs=three_sigma)


def test_an_even_chance_by_symmetry():
    # a ridge down the middle: errors alike on both sides send the water either way
    bed = -300.0 - 2e-6 * Y**2
    doubt = Doubt(ErrorField(GRID, 30.0, 1000.0))
    odds = route_odds(
        case(bed=bed, outlines=[UPPER]),
        doubt,
        np.random.default_rng(4),
        80,
        half_width_m=300.0,
    )
    south, north = odds.on_route[0, :15].sum(), odds.on_route[0, 16:].sum()
    assert north / (north + south) == pytest.approx(0.5, abs=0.17)
    assert 0.0 < odds.on_route[0, :, -1].max() < 1.0


def test_threads_change_nothing():
    doubt = Doubt(ErrorField(GRID, 20.0, 800.0), ErrorField(GRID, 1.0, 500.0), (0.9, 1.0))
    serial = route_odds(case(), doubt, np.random.default_rng(5), 6, station_m=STATIONS_M)
    with ThreadPoolExecutor(2) as pool:
        threads = route_odds(
            case(), doubt, np.random.default_rng(5), 6, station_m=STATIONS_M, apply=pool.map
        )
    assert serial.count == 6
    for name in ("on_route", "mean_upstream_m2", "along_m", "off_m", "flotation", "length_m"):
        assert np.array_equal(getattr(serial, name), getattr(threads, name))


def test_a_wider_route_has_more_cells():
    narrow, wide = (
        route_odds(case(), Doubt(), np.random.default_rng(1), 1, half_width_m=width).on_route[0]
        for width in (0.0, 450.0)
    )
    assert (wide >= narrow).all()
    assert wide[:, 15].sum() == pytest.approx(5.0, abs=1.0)
    assert wide.max() == 1.0


def test_measured_bed_leaves_no_doubt():
    measured = np.ones(GRID.shape, bool)
    doubt = Doubt(ErrorField(GRID, 200.0, 1000.0, measured=measured))
    odds = route_odds(case(), doubt, np.random.default_rng(6), 3)
    assert set(np.unique(odds.on_route)) == {0.0, 1.0}


def test_head_is_that_of_the_potential():
    head = drained(case(), 0.9, 5.0, -3.0).head_m
    expected = hydraulic_head_m(SURFACE_M - 3.0, BED_M + 5.0, 0.9)
    assert head == pytest.approx(expected, abs=2e-4)
    geoid = np.linspace(20.0, 22.0, X.size).reshape(X.shape)
    head = drained(case(SURFACE_M + geoid, BED_M + geoid, geoid_m=geoid)).head_m
    assert head == pytest.approx(hydraulic_head_m(SURFACE_M, BED_M), abs=3e-4)


def test_catchment_areas():
    # on a plane to the east by steepest fall: the rows of a lake, from the western edge (whose
    # cells drain off the grid) to its last cell; the second lake from behind the first
    one = way(case(bed=np.full(GRID.shape, -300.0)))
    upper, lower = GRID.inside(UPPER), GRID.inside(LOWER)
    last = [
        np.where(lake.any(axis=1), 30 - lake[:, ::-1].argmax(axis=1), 0) for lake in (upper, lower)
    ]
    assert one.catchment_m2[0] == pytest.approx(last[0].sum() * 4e4)
    assert one.catchment_m2[1] == pytest.approx((last[1] - last[0]).sum() * 4e4)


def test_what_if_the_surface_changes():
    same = what_if(case(), 12.0)
    assert np.isnan(same.parting_m).all()
    assert np.array_equal(same.before.catchment_m2, same.after.catchment_m2)
    # a low pass of the surface to the north, east of the upper lake, takes the water
    change = -0.02 * np.maximum(Y + 300.0, 0.0) * (X > -1200.0)
    turned = what_if(case(outlines=[UPPER]), change, tolerance_m=700.0)
    assert 0.0 <= turned.parting_m[0] < 2500.0
    assert turned.after.routes[0].y_m[-1] > turned.before.routes[0].y_m[-1] + 1000.0


def test_refused():
    rng = np.random.default_rng(7)
    with pytest.raises(SettingsError, match="each with its own name"):
        case(outlines=[UPPER, UPPER])
    with pytest.raises(SettingsError, match="each with its own name"):
        case(outlines=[])
    other = ellipse_outline("Other", (-1800.0, 0.0), (450.0, 450.0))
    with pytest.raises(SettingsError, match="'Upper' and 'Other' overlap"):
        case(outlines=[UPPER, other])
    with pytest.raises(SettingsError, match=r"the bed has shape \(31, 30\)"):
        case(bed=BED_M[:, 1:])
    with pytest.raises(SettingsError, match="in 100% of the cells"):
        case(surface=BED_M, bed=SURFACE_M)
    with pytest.raises(SettingsError, match="'Upper' has 21 cells, 5 of them without"):
        case(bed=np.where(np.hypot(X + 2000.0, Y) < 210.0, np.nan, BED_M), on_holes="around")
    with pytest.raises(SettingsError, match=r"1 hole\(s\) of no data"):
        case(bed=np.where(np.hypot(X, Y) < 210.0, np.nan, BED_M))
    with pytest.raises(SettingsError, match=r"expected \(least, most\)"):
        Doubt(flotation=(1.0, 0.8))
    with pytest.raises(SettingsError, match="between 0 and 1"):
        Doubt(flotation=(0.8, 1.1))
    with pytest.raises(SettingsError, match="0 realisations"):
        route_odds(case(), Doubt(), rng, 0)
    small = MapGrid(AXIS[:9], AXIS)
    with pytest.raises(SettingsError, match=r"sigma has shape \(31, 9\)"):
        route_odds(case(), Doubt(ErrorField(small, 1.0, 500.0)), rng, 1)
