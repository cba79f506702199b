import numpy as np
import pytest
from scipy.integrate import solve_bvp

from stakeline.simulate import bridging
from stakeline.simulate.bridging import (
    RELAXATION_S,
    first_shape,
    flow_passes,
    plate_passes,
    relaxed,
    surface_change_m,
    surface_shape,
)
from stakeline.simulate.chance import stream
from stakeline.simulate.scenario import SCENARIOS
from stakeline.simulate.site import Lake
from stakeline.simulate.water import DAY_S, make_water

LAKE = Lake("Round", 0.0, 0.0, 2000.0, 2000.0, 800.0)


def at_centre(shape, thickness_m):
    return float(shape(LAKE, thickness_m, np.zeros(1), np.zeros(1))[0])


@pytest.mark.parametrize("q", [0.3, 1.0, 2.5, 5.0])
def test_flow_of_a_layer_solved_by_another_way(q):
    """Stokes' equations of a layer, as a boundary value problem solved by collocation."""

    def equation(_, w):
        return np.vstack([w[1], w[2], w[3], 2.0 * q**2 * w[2] - q**4 * w[0]])

    def borders(bed, top):
        free = [top[2] + q**2 * top[0], top[3] - 3.0 * q**2 * top[1]]
        return np.array([bed[0] - 1.0, bed[1], *free])

    z = np.linspace(0.0, 1.0, 200)
    solved = solve_bvp(equation, borders, z, np.zeros((4, z.size)), tol=1e-7, max_nodes=20000)
    assert solved.success
    assert abs(solved.sol(1.0)[0] - flow_passes(q, 1.0)) < 1e-6


def test_long_waves_pass_and_short_ones_vanish():
    # Gudmundsson (2003): transfer 1 for long, 0 for short waves
    wave = 2.0 * np.pi / np.array([1e7, 20e3, 5e3, 1e3, 100.0])
    for passes in (flow_passes(wave, 800.0), plate_passes(wave, 800.0)):
        assert abs(passes[0] - 1.0) < 1e-5
        assert np.all(np.diff(passes) < 0.0)
        assert passes[-1] < 1e-4


@pytest.mark.parametrize("shape", [surface_shape, first_shape])
def test_thicker_ice_hides_more(shape):
    centre = [at_centre(shape, h) for h in (500.0, 800.0, 1200.0, 2000.0, 3500.0)]
    assert np.all(np.diff(centre) < 0.0)
    assert 0.0 < centre[-1] < centre[0] < 1.0


def test_the_plate_is_stiffer_than_the_flow():
    assert at_centre(first_shape, 800.0) < at_centre(surface_shape, 800.0)


def test_thin_ice_hides_nothing():
    flow = np.array([0.0, 1000.0, 3000.0])
    # limit of a film: the surface is the roof
    thin = surface_shape(LAKE, 100.0, flow, np.zeros(3))
    np.testing.assert_allclose(thin, [1.0, 1.0, 0.0], atol=0.01)


@pytest.mark.parametrize("shape", [surface_shape, first_shape])
def test_the_volume_reaches_the_surface(shape):
    lake = Lake("Long", 5000.0, -300.0, 2600.0, 1500.0, 800.0)
    step = 100.0
    axis = np.arange(-15e3, 15e3, step)
    flow, side = np.meshgrid(5000.0 + axis, -300.0 + axis, indexing="ij")
    volume = shape(lake, 800.0, flow, side).sum() * step**2
    # a filter that passes the mean whole keeps the integral
    assert abs(volume / lake.area_m2 - 1.0) < 2e-3


def test_the_shape_is_symmetric_and_ends():
    flow, side = np.array([700.0, -700.0, 2500.0]), np.array([300.0, -300.0, 0.0])
    shape = surface_shape(LAKE, 800.0, flow, side)
    assert shape[0] == shape[1]
    assert 0.0 < shape[2] < 0.5 * shape[0]  # beyond the margin: a little
    far = surface_shape(LAKE, 800.0, np.array([2000.0 + 15.0 * 800.0]), np.zeros(1))
    assert abs(far[0]) < 1e-3
    round_ = surface_shape(LAKE, 800.0, np.array([1500.0, 0.0]), np.array([0.0, 1500.0]))
    np.testing.assert_allclose(round_[0], round_[1], rtol=1e-10)


def test_late_copies_of_known_levels():
    time_s = 3600.0 * np.arange(400)
    # ramp: late by the memory; step: 1 - exp(-t / memory); both solve dr/dt = (l - r) / memory
    np.testing.assert_allclose(relaxed(2e-6 * time_s, 3600.0, 1e5), 2e-6 * (time_s - 1e5))
    ramp = np.clip(time_s - 36000.0, 0.0, None) * 1e-6
    since = np.clip(time_s - 36000.0, 0.0, None)
    expected = 1e-6 * (since - 1e5 * (1.0 - np.exp(-since / 1e5)))
    np.testing.assert_allclose(relaxed(ramp, 3600.0, 1e5), expected, atol=1e-12)


@pytest.fixture(scope="module")
def filled():
    lakes = (LAKE, Lake("Below", 25e3, 0.0, 2200.0, 1800.0, 700.0))
    return make_water(stream(4, "water"), SCENARIOS["flood-fast"], lakes, 300), lakes


def test_the_surface_follows_late_and_less(filled):
    water, lakes = filled
    event = water.of(0)[0]
    time_s = np.array([0.0, event.onset_s, event.end_s, event.end_s + 15 * DAY_S])
    change = surface_change_m(water, lakes, np.zeros(4), np.zeros(4), time_s)
    roof = water.level_m(0, time_s)
    share = at_centre(surface_shape, LAKE.thickness_m)
    assert change[0] == 0.0
    assert 0.0 < change[1] < roof[1]
    assert change[2] > share * roof[2]  # still sinking when the lake is empty
    late_m = share * (roof[3] - roof[2]) / 15.0 * RELAXATION_S / DAY_S  # of a slow refilling
    assert abs(change[3] - share * roof[3] + late_m) < 0.05
    assert change[3] < change[2] - 0.05


def test_far_from_lakes_and_without_floods_nothing_moves(filled):
    water, lakes = filled
    time_s = np.linspace(0.0, 300 * DAY_S, 50)
    far = surface_change_m(water, lakes, np.full(50, 12.4e3), np.full(50, 15e3), time_s)
    assert np.all(far == 0.0)
    away = surface_change_m(water, lakes, np.full(50, 12.4e3), np.full(50, 9e3), time_s)
    assert np.abs(away).max() < 1e-3
    quiet = make_water(stream(4, "water"), SCENARIOS["quiet"], lakes, 300)
    assert np.all(surface_change_m(quiet, lakes, np.zeros(50), np.zeros(50), time_s) == 0.0)


def test_the_late_copy_of_a_real_level_is_exact_to_a_tenth_of_a_millimetre(filled):
    water, _lakes = filled
    fine_s = np.arange(-8 * DAY_S, 200 * DAY_S, 600.0)
    expected = relaxed(water.level_m(0, fine_s), 600.0, RELAXATION_S)
    late, _ = bridging._late_levels(water)[0]
    after = fine_s > 0.0  # where six times finer nodes give the same
    np.testing.assert_allclose(late(fine_s[after]), expected[after], atol=1e-4)
