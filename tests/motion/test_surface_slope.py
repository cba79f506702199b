"""The slope of a surface grid: exact for a plane and a bowl, honest of noise, holes are said."""

import numpy as np
import pytest

from stakeline.earth.projection import ANTARCTIC, ARCTIC
from stakeline.errors import SolutionError
from stakeline.motion.surface_slope import grid_term
from stakeline.motion.surroundings import SurfaceGrid
from stakeline.simulate.campaign import Invented
from stakeline.simulate.scenario import scenario_of

MIDDLE_M = (400_000.0, -1_100_000.0)  # on EPSG:3413, near 79 N
LENGTH_M = 500.0


def surface(height_of, step_m=200.0, half_m=4000.0, middle_m=MIDDLE_M, epsg=3413, name="one"):
    """Return the SurfaceGrid of ``height_of(x, y)``, map metres from the middle."""
    side = np.arange(-half_m, half_m + 1.0, step_m)
    height = height_of(*np.meshgrid(side, side))
    return SurfaceGrid(name, epsg, middle_m[0] + side, middle_m[1] + side, height)


def way(x_m, y_m, chart=ARCTIC, middle_m=MIDDLE_M):
    """Return latitude and longitude of map places from the middle. [rad]"""
    return chart.inverse(middle_m[0] + np.asarray(x_m), middle_m[1] + np.asarray(y_m))


def plane(x, y):
    return 700.0 - 0.02 * x + 0.01 * y


def test_a_plane_gives_its_slope_exactly():
    x = np.linspace(-300.0, 300.0, 50)
    for length in (0.0, 100.0, LENGTH_M):
        name, term = grid_term([surface(plane)], *way(x, 0.5 * x), length)
        assert name == "one"
        # 0.02 - 0.005 down by metre of x; nanometres of rounding of the spline
        np.testing.assert_allclose(term.value_m, -0.015 * (x - x[0]), atol=1e-8)
        assert np.abs(term.factor_m).max() < 1e-8  # no roughness, no doubt


def test_travel_is_in_true_metres():
    # at 80 S the map EPSG:3031 is 2 % short (its point scale is 0.9802), so a slope of the map's
    # metres is 2 % too small by true metre; a stated sigma works on true travel
    middle = ANTARCTIC.forward(np.radians(-80.0), 0.3)
    x = np.linspace(0.0, 980.2, 20)
    grid = surface(plane, middle_m=middle, epsg=3031)
    _, term = grid_term([grid], *way(x, 0.0 * x, ANTARCTIC, middle), LENGTH_M, slope_sigma=0.001)
    assert term.value_m[-1] == pytest.approx(-0.02 * 980.2, abs=1e-8)
    assert term.factor_m[-1, 0] == pytest.approx(0.001 * 1000.0, rel=1e-3)


def test_a_bowl_gives_its_slope_exactly():
    # averaging raises a bowl by a constant and leaves its slopes
    x = np.linspace(-300.0, 900.0, 50)
    grid = surface(lambda x, y: 1e-6 * (x**2 + 2.0 * y**2))
    _, term = grid_term([grid], *way(x, 0.0 * x), LENGTH_M)
    np.testing.assert_allclose(term.value_m, 1e-6 * (x**2 - x[0] ** 2), atol=1e-8)
    assert np.abs(term.factor_m).max() < 1e-8


def test_waves_are_known_to_their_sigma():
    x = np.linspace(0.0, 400.0, 30)
    error, sigma = [], []
    for phase in np.linspace(0.0, 2.0 * np.pi, 12, endpoint=False):

        def waves(x, y, phase=phase):
            return 2.0 * np.cos(2.0 * np.pi * x / 4000.0 + phase)

        _, term = grid_term([surface(waves)], *way(x, 0.0 * x), LENGTH_M)
        true = waves(x[-1], 0.0) - waves(x[0], 0.0)
        error.append(term.value_m[-1] - true)
        sigma.append(term.factor_m[-1, 0])
    z = np.sqrt(np.mean(np.square(error)) / np.mean(np.square(sigma)))
    # what averaging takes away is foreseen from the average over twice the length to a half
    assert 0.5 < z < 2.0
    assert max(np.abs(error)) < 0.05


def test_noise_of_the_nodes_is_in_the_sigma():
    rng = np.random.default_rng(4)
    x = np.linspace(-150.0, 150.0, 20)
    z = []
    for _ in range(20):
        noisy = surface(lambda x, y: rng.normal(0.0, 1.0, x.shape), step_m=50.0, half_m=2500.0)
        _, term = grid_term([noisy], *way(x, 0.0 * x), LENGTH_M)
        z.append(term.value_m[-1] / term.factor_m[-1, 0])
    assert 0.5 < np.std(z) < 1.5  # 20 draws know it to 16 %; found 0.8 to 1.0


def test_axes_may_fall():
    x = np.linspace(0.0, 300.0, 10)
    rising = surface(lambda x, y: 1e-6 * x * y + 0.01 * x)
    falling = SurfaceGrid(
        "two", 3413, rising.x_m[::-1], rising.y_m[::-1], rising.height_m[::-1, ::-1]
    )
    ways = way(x, 2.0 * x)
    np.testing.assert_allclose(
        grid_term([falling], *ways, LENGTH_M)[1].value_m,
        grid_term([rising], *ways, LENGTH_M)[1].value_m,
        atol=1e-9,
    )


def test_the_finest_grid_that_covers_is_taken():
    x = np.linspace(0.0, 300.0, 10)
    coarse = surface(plane, step_m=500.0, name="coarse")
    fine = surface(lambda x, y: 0.0 * x, step_m=100.0, name="fine")
    assert grid_term([coarse, fine], *way(x, 0.0 * x), LENGTH_M)[0] == "fine"
    away = surface(plane, step_m=50.0, middle_m=(0.0, -1_000_000.0), name="away")
    name, term = grid_term([away, coarse], *way(x, 0.0 * x), LENGTH_M)
    assert name == "coarse"
    assert term.value_m[-1] == pytest.approx(-6.0, abs=1e-8)


def test_gaps_of_the_path_are_gaps_of_the_term():
    x = np.linspace(0.0, 300.0, 10)
    latitude, longitude = way(x, 0.0 * x)
    latitude[[0, 4]] = longitude[[0, 4]] = np.nan
    _, term = grid_term([surface(plane)], latitude, longitude, LENGTH_M)
    assert np.flatnonzero(np.isnan(term.value_m)).tolist() == [0, 4]
    np.testing.assert_allclose(term.value_m[5:], -0.02 * (x[5:] - x[1]), atol=1e-8)


@pytest.mark.parametrize(
    ("x_m", "said"),
    [(0.0, "holes within reach of"), (6000.0, "does not reach the station's path")],
)
def test_what_is_not_covered_is_said(x_m, said):
    def holed(x, y):
        return np.where(np.hypot(x - 300.0, y) < 150.0, np.nan, plane(x, y))

    x = x_m + np.linspace(0.0, 300.0, 10)
    with pytest.raises(SolutionError, match=f"one: the .*{said}"):
        grid_term([surface(holed)], *way(x, 0.0 * x), LENGTH_M)


def test_a_hole_out_of_reach_does_not_matter():
    def holed(x, y):
        return np.where(np.hypot(x - 3000.0, y) < 300.0, np.nan, plane(x, y))

    x = np.linspace(-900.0, -600.0, 10)
    _, term = grid_term([surface(holed)], *way(x, 0.0 * x), LENGTH_M)
    np.testing.assert_allclose(term.value_m, -0.02 * (x - x[0]), atol=1e-6)


def test_no_grid_or_a_tiny_one_is_said():
    x = np.linspace(0.0, 300.0, 10)
    with pytest.raises(SolutionError, match="there is no grid"):
        grid_term([], *way(x, 0.0 * x), LENGTH_M)
    with pytest.raises(SolutionError, match=r"3 by 3 nodes around .* needs 4 by 4"):
        grid_term([surface(plane, step_m=1000.0, half_m=1000.0)], *way(x, 0.0 * x), LENGTH_M)


def test_slopes_of_the_invented_glacier_against_its_truth():
    world = Invented(7, scenario_of("flood-fast"), days=400)
    drawn = world.glacier.maps(500.0)
    grid = SurfaceGrid("glacier", 3413, drawn.x_m, drawn.y_m, drawn.surface_m)
    time_s = np.arange(0.0, 400.0 * 86400.0, 86400.0)
    z = []
    for name in ("HV01", "HV02", "HV05", "HV07", "HV09", "HV11", "HV12", "HV14"):
        site = world.sites[name]
        way_m = site.speed_m_d * time_s / 86400.0  # the path's place, its changes of speed aside
        moved = way_m[:, None] * [np.sin(site.azimuth_rad), np.cos(site.azimuth_rad)]
        k = ARCTIC.point_scale(site.place.latitude_rad)
        turn = ARCTIC.convergence(site.place.longitude_rad)
        x0, y0 = ARCTIC.forward(site.place.latitude_rad, site.place.longitude_rad)
        x = x0 + k * (moved[:, 0] * np.cos(turn) + moved[:, 1] * np.sin(turn))
        y = y0 + k * (moved[:, 1] * np.cos(turn) - moved[:, 0] * np.sin(turn))
        true = world.glacier.surface_m(*world.glacier.along(x, y))
        _, term = grid_term([grid], *ARCTIC.inverse(x, y), LENGTH_M)
        error = term.value_m - (true - true[0])
        assert np.sqrt(np.mean((error - error.mean()) ** 2)) < 0.02  # m; found 0.1 to 1.5 cm
        z.append(error[-1] / term.factor_m[-1, 0])
    assert np.sqrt(np.mean(np.square(z))) < 1.5  # eight of them; found about 0.8
