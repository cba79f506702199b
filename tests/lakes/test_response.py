"""The ice's answer: limits, closed formulas, the equations of flow solved anew, another model."""

import numpy as np
import pytest
from scipy.linalg import toeplitz

from stakeline.errors import SettingsError, SolutionError
from stakeline.lakes.outline import Outline, ellipse_outline
from stakeline.lakes.response import (
    FLOWS,
    METHODS,
    PLATES,
    SEA_KG_M3,
    Ice,
    beam_on_water,
    clamped_plate_m,
    clamped_plate_on_water,
    disc_shares,
    lake_share,
    levelling_rate_per_s,
    transfer,
    viscous_passes,
)
from stakeline.lakes.surface import (
    at_once_shares,
    clamped_plate_map,
    judge_shares,
    mean_view,
    roof_from_surface,
    share_map,
    shares,
    step_responses,
    surface_from_roof,
    view_of,
)
from stakeline.simulate.bridging import surface_shape
from stakeline.simulate.site import Lake

ICE = Ice(800.0)
SMALL = ellipse_outline("round", (0.0, 0.0), (1500.0, 1500.0))


def stokes(q, slip, bottom, load):
    """Solve W'''' - 2 W'' q^2 + q^4 W = 0 on [0, 1] by its four conditions: W at the surface.

    Written from the equations of plane Stokes flow (u' = from continuity): at the bed W = bottom
    and shear = u / slip; at the surface no shear, and normal stress = load (in 2 eta / h).
    """
    e, d = np.exp(q), np.exp(-q)
    # basis e^qz, e^-qz, z e^qz, z e^-qz: value and derivatives at z = 0 and 1
    at = {
        0: np.array([[1, 1, 0, 0], [q, -q, 1, 1], [q**2, q**2, 2 * q, -2 * q]], float),
        1: np.array([
            [e, d, e, d],
            [q * e, -q * d, (1 + q) * e, (1 - q) * d],
            [q**2 * e, q**2 * d, (2 * q + q**2) * e, (q**2 - 2 * q) * d],
            [q**3 * e, -(q**3) * d, (3 * q**2 + q**3) * e, (3 * q**2 - q**3) * d],
        ]),
    }  # fmt: skip
    rows = [
        at[0][0],
        at[0][1] - slip * (at[0][2] + q**2 * at[0][0]),
        at[1][2] + q**2 * at[1][0],
        at[1][3] - 3.0 * q**2 * at[1][1],
    ]
    found = np.linalg.solve(np.array(rows), [bottom, 0.0, 0.0, 2.0 * q**2 * load])
    return at[1][0] @ found


@pytest.mark.parametrize("slip", [0.0, 0.3, 1e9])
@pytest.mark.parametrize("q", [0.05, 0.5, 1.0, 3.0, 8.0])
def test_flow_against_the_equations(q, slip):
    given = np.inf if slip > 1e6 else slip * 1000.0
    # slip: u = slip h du/dz at the bed; the share s uses 2 k L with L = viscosity / drag
    assert viscous_passes(q / 1000.0, 1000.0, given) == pytest.approx(
        stokes(q, slip, 1.0, 0.0), rel=1e-5
    )
    # levelling: a load of one metre of ice presses with rho g h / (2 eta) in these units
    rate = levelling_rate_per_s(q / 1000.0, 1000.0, 1e14, given)
    unit = 917.0 * 9.81 * 1000.0 / 2e14
    assert rate / unit == pytest.approx(-stokes(q, slip, 0.0, 1.0), rel=1e-5, abs=1e-9)


def test_flow_in_its_limits():
    # expected: short waves vanish, long ones pass (Gudmundsson 2003)
    for slip in (0.0, np.inf):
        assert viscous_passes(np.array([0.0, 1e-9, 1e-6]), 1000.0, slip) == pytest.approx(1.0)
        assert viscous_passes(np.array([0.05, 1.0]), 1000.0, slip) == pytest.approx(0.0, abs=1e-9)
    # expected: half-space rho g / (2 eta k) (textbook of postglacial rebound, from memory)
    assert levelling_rate_per_s(0.02, 1e3, 1e14) == pytest.approx(917 * 9.81 / (2e14 * 0.02), 1e-6)


def test_clamped_plate_textbook():
    # expected: q a^4 / (64 D) at the centre (Timoshenko & Woinowsky-Krieger 1959, section 16)
    assert clamped_plate_m(0.0, 1000.0, 5e3, 1e15) == pytest.approx(5e3 * 1e12 / 64e15)
    assert clamped_plate_m(1000.0, 1000.0, 5e3, 1e15) == 0.0
    ring = np.linspace(0.0, 1000.0, 100001)
    mean = np.trapezoid(clamped_plate_m(ring, 1000.0, 5e3, 1e15) * ring, ring) * 2.0 / 1000.0**2
    assert mean == pytest.approx(clamped_plate_m(0.0, 1000.0, 5e3, 1e15) / 3.0, rel=1e-6)


def test_clamped_plate_on_a_grid_against_the_closed_formula():
    stiff = Ice(800.0, young_Pa=1e13)  # far stiffer than water: the plate under even load
    east, north, shape = clamped_plate_map(SMALL, stiff, cells=64)
    k, m = np.argmin(np.abs(east)), np.argmin(np.abs(north))
    far = np.hypot(east[k], north[m])
    expected = 3.0 * (1.0 - (far / 1500.0) ** 2) ** 2
    assert shape[k, m] == pytest.approx(expected, rel=0.03)
    wide = ellipse_outline("wide", (0.0, 0.0), (6000.0, 6000.0))
    here = _at(clamped_plate_map(wide, ICE, cells=64), 3000.0)
    there = _at(clamped_plate_map(wide, ICE, cells=64), 0.0)
    expected = clamped_plate_on_water(np.array([3000.0, 0.0]), 6000.0, ICE)
    assert here / there == pytest.approx(expected[0] / expected[1], rel=0.02)


def _at(plate, east_m):
    east, north, shape = plate
    return np.interp(east_m, east, shape[:, np.argmin(np.abs(north))])


def test_floating_beam_of_the_handbook():
    ice = Ice(1000.0, young_Pa=0.88e9, water_kg_m3=SEA_KG_M3)
    length = np.sqrt(2.0) * ice.bending_length_m
    # expected: checks.md 5.2 (Holdsworth 1969)
    assert 1.0 / length == pytest.approx(4.2057e-4, rel=1e-3)
    x = np.array([0.5, 1.0, np.pi / 2.0, 2.0, 3.0, np.pi, 4.0])
    table = [0.17693, 0.49167, 0.79212, 0.93326, 1.04226, 1.04321, 1.02583]
    assert beam_on_water(x * length, ice) == pytest.approx(table, abs=6e-6)
    # a very wide round plate is such a beam near its margin
    radius = 30.0 * ice.bending_length_m
    near = clamped_plate_on_water(radius - x * length, radius, ice)
    assert near == pytest.approx(table, abs=0.03)


def test_uniform_roof_is_volume_over_area():
    view = view_of(SMALL, [[0.0, 0.0], [5000.0, 0.0]])
    assert shares(view, ICE, "surface as roof") == pytest.approx([1.0, 0.0])


@pytest.mark.parametrize("method", [*FLOWS, PLATES[0]])
def test_rings_agree_with_the_grid(method):
    outline = ellipse_outline("long", (1e5, 2e5), (2600.0, 1600.0), 0.4)
    point = np.array([[0.0, 0.0], [900.0, 800.0], [-2500.0, -900.0], [3500.0, 0.0]])
    exact = shares(view_of(outline, point + np.array([1e5, 2e5])), ICE, method)
    east, north, grid = share_map(outline, ICE, method)
    found = [grid[np.argmin(np.abs(east - x)), np.argmin(np.abs(north - y))] for x, y in point]
    assert exact == pytest.approx(found, abs=0.04)  # half a cell off: choice
    step = east[1] - east[0]
    # the surface holds the volume, to what leaves the map
    assert grid.sum() * step**2 == pytest.approx(outline.area_m2, rel=0.01)


@pytest.mark.parametrize("thickness", [500.0, 800.0, 1500.0])
def test_stuck_flow_agrees_with_the_invented_world(thickness):
    # an independent implementation (series of a Fourier grid), of the same equations
    lake = Lake("x", 0.0, 0.0, 2600.0, 1600.0, thickness)
    outline = ellipse_outline("x", (0.0, 0.0), (2600.0, 1600.0))
    point = np.array([[0.0, 0.0], [800.0, 1046.0], [500.0, -5200.0], [2600.0, 0.0]])
    theirs = surface_shape(lake, thickness, *point.T)
    ours = shares(view_of(outline, point), Ice(thickness), FLOWS[0])
    assert ours == pytest.approx(theirs, abs=0.01)


def test_small_lakes_under_much_ice_cannot_be_judged():
    deep = Ice(3000.0)
    for method in FLOWS:
        # expected: to second order T(k) decays over a thickness; a disc far smaller adds area only
        assert lake_share(300.0, deep, method) < 0.05
        assert lake_share(60e3, deep, method) == pytest.approx(1.0, abs=0.02)
    share = shares(
        view_of(ellipse_outline("tiny", (0, 0), (300.0, 300.0)), [[0, 0]]), deep, FLOWS[0]
    )
    with pytest.raises(SolutionError, match="too small under too much ice"):
        judge_shares(share)
    assert judge_shares([0.1, 0.9]) == pytest.approx(0.9)


def test_elastic_at_once_flow_later():
    view = view_of(SMALL, [[0.0, 0.0]])
    response = step_responses(view, ICE, FLOWS[0], 3600.0, 24 * 60)
    assert response[0, 0] == pytest.approx(shares(view, ICE, PLATES[0])[0])
    late = shares(view, ICE, FLOWS[0], 60 * 86400.0)[0]
    assert response[0, -1] == pytest.approx(late, abs=2e-3)
    # levelling makes the share fall with the lag, slowly
    assert 0.9 * shares(view, ICE, FLOWS[0])[0] < late < shares(view, ICE, FLOWS[0])[0]
    assert ICE.unrelaxed(1.0) == pytest.approx(1.0, abs=1e-5)
    # of an even change of 100 memories the last hundredth is elastic: 1 - exp(-x) over x
    even = 100.0 * ICE.relaxation_s * (np.arange(10000) + 0.5) / 10000
    assert ICE.unrelaxed(even) == pytest.approx(0.01, rel=1e-3)


@pytest.mark.parametrize("flow", FLOWS)
def test_mean_share_over_lags_is_the_mean_of_the_shares(flow):
    view = view_of(SMALL, [[0.0, 0.0], [800.0, 500.0]])
    lags = 86400.0 * np.array([0.0, 3.0, 40.0, 365.0, 4000.0])
    each = np.mean([shares(view, ICE, flow, lag) for lag in lags], axis=0)
    assert shares(view, ICE, flow, lags) == pytest.approx(each, abs=1e-3)
    mean = mean_view(SMALL, SMALL, ICE)
    assert mean.share(ICE, flow, lags) == pytest.approx(
        np.mean([mean.share(ICE, flow, lag) for lag in lags])
    )
    # thicker and softer ice levels sooner: only viscosity over thickness counts, besides shape
    half = Ice(ICE.thickness_m, 0.5 * ICE.viscosity_Pa_s)
    assert shares(view, half, flow, 0.5 * lags) == pytest.approx(shares(view, ICE, flow, lags))


def test_thin_ice_shows_all_at_once_and_thick_ice_little():
    wide = ellipse_outline("wide", (0.0, 0.0), (6000.0, 4500.0))
    view = view_of(wide, np.array([[0.0, 0.0], [1800.0, 1500.0]]))
    first = np.array([at_once_shares(view, Ice(h)) for h in (100.0, 1000.0, 2000.0, 4000.0)])
    assert first[0] == pytest.approx([1.0, 1.0], abs=0.02)
    assert (np.diff(first[1:], axis=0) < 0.0).all()
    assert (first[3] < 0.5).all()
    # a softer bed leaves the surface more in the end, so that less of it is shown at once
    one = [at_once_shares(view, Ice(2000.0), (bed,)) for bed in FLOWS]
    assert (one[1] < one[0]).all()


def test_there_and_back_again():
    view = view_of(SMALL, [[0.0, 0.0], [800.0, 500.0]])
    response = step_responses(view, ICE, FLOWS[0], 6 * 3600.0, 300)
    roof = np.where(np.arange(300) < 100, 0.01 * np.arange(300), 1.0 - 0.2)
    surface = surface_from_roof(response, roof)
    found, sigma = roof_from_surface(response, surface, np.array([0.01, 0.01]))
    assert found == pytest.approx(roof, abs=1e-9)
    rng = np.random.default_rng(3)
    noisy = surface + 0.01 * rng.standard_normal(surface.shape)
    again, _ = roof_from_surface(response, noisy, np.array([0.01, 0.01]))
    scaled = (again - roof)[1:] / sigma[1:]
    assert np.sqrt(np.mean(scaled**2)) < 2.5  # the first row's noise is common to all
    with pytest.raises(SolutionError, match="without a gap"):
        roof_from_surface(response, np.full((2, 300), np.nan), np.array([0.01, 0.01]))


def test_noise_of_a_roof_is_that_of_the_inverse_matrix():
    view = view_of(SMALL, [[0.0, 0.0]])
    response = step_responses(view, ICE, FLOWS[1], 5 * 86400.0, 60)
    matrix = toeplitz(response[0], np.zeros(60)) @ (np.eye(60) - np.eye(60, k=-1))
    expected = 0.01 * np.sqrt((np.linalg.inv(matrix) ** 2).sum(axis=1))
    _, sigma = roof_from_surface(response, np.zeros((1, 60)), np.array([0.01]))
    assert sigma == pytest.approx(expected)


def test_an_island_takes_its_part():
    hole = 300.0 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    holed = Outline("island", SMALL.ring_m, (hole,))
    point = [[0.0, 0.0], [900.0, 0.0]]
    with_island = shares(view_of(holed, point), ICE, FLOWS[1])
    without = shares(view_of(SMALL, point), ICE, FLOWS[1])
    assert (with_island < without).all()
    assert (without - with_island)[0] == pytest.approx(
        disc_shares(np.array([600.0 / np.sqrt(np.pi)]), ICE, FLOWS[1])[0], rel=0.05
    )


def test_wrong_input():
    with pytest.raises(SettingsError, match="positive finite"):
        Ice(-5.0)
    with pytest.raises(SettingsError, match="no method 'magic'; there are flow"):
        shares(view_of(SMALL, [[0, 0]]), ICE, "magic")
    with pytest.raises(SettingsError, match="is no filter"):
        transfer(ICE, PLATES[1], 1e-3)
    with pytest.raises(SettingsError, match="place is missing"):
        view_of(SMALL, [[np.nan, 0.0]])
    assert all(0.0 < lake_share(4000.0, ICE, m) < 3.01 for m in METHODS)
