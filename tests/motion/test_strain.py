"""Strain rates: a published triangle, laws of rigid motion, honest error bars, poor shapes."""

import numpy as np
import pytest

from stakeline.errors import SolutionError
from stakeline.motion.strain import rotated, smallest_angle_deg, velocity_gradient

# checks.md 5.8: exact by construction
CORNERS_M = np.array([(0.0, 0.0), (4000.0, 500.0), (1000.0, 3500.0)])
VELOCITY_M_A = np.array([(300.0, -120.0), (304.4, -112.25), (298.4, -119.75)])
NETWORK_M = np.array([(0, 0), (3, 0.2), (1, 2.5), (-2, 1.8), (-1.5, -2), (2, -2.4)]) * 1000.0
GRADIENT = np.array([[1.2e-3, -0.8e-3], [2.0e-3, -0.5e-3]])


def field(position_m, gradient=GRADIENT, velocity=(300.0, -120.0)):
    return np.asarray(velocity) + np.asarray(position_m) @ np.asarray(gradient).T


@pytest.mark.parametrize("added", [(0.0, 0.0), (1000.0, 1000.0)])
def test_published_triangle(added):
    s = velocity_gradient(CORNERS_M, VELOCITY_M_A + np.array(added))
    per_year = 1e-12
    assert s.gradient == pytest.approx(GRADIENT, abs=per_year)
    for quantity, expected in (
        (s.exx, 0.0012),
        (s.eyy, -0.0005),
        (s.exy, 0.0006),
        (s.rotation, 0.0014),
        (s.divergence, 0.0007),
        (s.vertical, -0.0007),
    ):
        assert quantity.value == pytest.approx(expected, abs=per_year)
    last_digit = 5e-9
    assert s.principal[0].value == pytest.approx(0.00139043, abs=last_digit)
    assert s.principal[1].value == pytest.approx(-0.00069043, abs=last_digit)
    assert np.degrees(s.axis_rad.value) == pytest.approx(17.609, abs=5e-4)
    assert s.shear.value == pytest.approx(0.00104043, abs=last_digit)
    assert s.effective.value == pytest.approx(0.00120416, abs=last_digit)
    assert "a triangle always fits" in s.warnings[-1]
    assert np.isnan(s.exx.sigma)


@pytest.mark.parametrize("position", [CORNERS_M, NETWORK_M])
def test_rigid_motion_has_no_strain(position):
    spin = 3e-3
    s = velocity_gradient(position, field(position, [[0.0, -spin], [spin, 0.0]]))
    for quantity in (s.exx, s.eyy, s.exy, s.divergence, s.shear, s.effective):
        assert quantity.value == pytest.approx(0.0, abs=1e-12)
    assert s.rotation.value == pytest.approx(spin, rel=1e-10)
    s = velocity_gradient(position, np.tile([300.0, 4.0], (len(position), 1)))
    assert s.gradient == pytest.approx(np.zeros((2, 2)), abs=1e-12)
    assert s.velocity == pytest.approx([300.0, 4.0])


def test_invariants_do_not_know_the_axes():
    rng = np.random.default_rng(1)
    root = rng.normal(size=(12, 12))
    covariance = root @ root.T
    velocity = field(NETWORK_M) + rng.normal(0, 0.3, NETWORK_M.shape)
    plain = velocity_gradient(NETWORK_M, velocity, covariance)
    for angle in (0.3, 1.2, 2.9, -2.0):
        turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
        all_turn = np.kron(np.eye(6), turn)
        moved = NETWORK_M @ turn.T + [5e5, -2e6]
        s = velocity_gradient(moved, velocity @ turn.T, all_turn @ covariance @ all_turn.T)
        for name in ("rotation", "divergence", "vertical", "shear", "effective"):
            found, expected = getattr(s, name), getattr(plain, name)
            assert found.value == pytest.approx(expected.value, rel=1e-7), name
            assert found.sigma == pytest.approx(expected.sigma, rel=1e-7), name
        for found, expected in zip(s.principal, plain.principal, strict=True):
            assert found.value == pytest.approx(expected.value, rel=1e-7)
            assert found.sigma == pytest.approx(expected.sigma, rel=1e-7)
        turned = (s.axis_rad.value - plain.axis_rad.value - angle + np.pi / 2) % np.pi - np.pi / 2
        assert turned == pytest.approx(0.0, abs=1e-8)
        assert s.axis_rad.sigma == pytest.approx(plain.axis_rad.sigma, rel=1e-7)
        assert s.reduced_chi2 == pytest.approx(plain.reduced_chi2, rel=1e-7)


def test_principal_values_are_the_eigenvalues():
    s = velocity_gradient(NETWORK_M, field(NETWORK_M))
    tensor = 0.5 * (GRADIENT + GRADIENT.T)
    values, vectors = np.linalg.eigh(tensor)
    assert [s.principal[1].value, s.principal[0].value] == pytest.approx(values, rel=1e-9)
    axis = np.array([np.cos(s.axis_rad.value), np.sin(s.axis_rad.value)])
    assert abs(axis @ vectors[:, 1]) == pytest.approx(1.0, abs=1e-9)
    whole = np.diag([*np.diag(tensor), -np.trace(tensor)])
    whole[0, 1] = whole[1, 0] = tensor[0, 1]
    assert s.effective.value == pytest.approx(np.sqrt(0.5 * np.sum(whole**2)), rel=1e-9)


QUANTITIES = ("exx", "eyy", "exy", "rotation", "divergence", "vertical", "shear", "effective")


def sample(position, covariance, count, seed):
    """Return all quantities of repeated trials (count, k) and their sigmas."""
    rng = np.random.default_rng(seed)
    root = np.linalg.cholesky(covariance)
    values, sigmas = [], []
    for _ in range(count):
        noise = (root @ rng.normal(size=len(root))).reshape(-1, 2)
        s = velocity_gradient(position, field(position) + noise, covariance)
        row = [*(getattr(s, n) for n in QUANTITIES), *s.principal, s.axis_rad]
        values.append([q.value for q in row])
        sigmas.append([q.sigma for q in row])
    return np.array(values), np.array(sigmas)


@pytest.mark.parametrize("position", [CORNERS_M, NETWORK_M])
def test_error_bars_are_those_of_repeated_trials(position):
    count = 2 * len(position)
    covariance = 0.04 * np.eye(count) + 0.09 * np.tile(np.eye(2), (count // 2, count // 2))
    values, sigmas = sample(position, covariance, 400, 5)
    assert values.std(axis=0) == pytest.approx(sigmas.mean(axis=0), rel=0.15)


def test_errors_that_stations_share_cancel():
    own = 0.01 * np.eye(12)
    shared = 4.0 * np.tile(np.eye(2), (6, 6))
    with_shared = velocity_gradient(NETWORK_M, field(NETWORK_M), own + shared)
    alone = velocity_gradient(NETWORK_M, field(NETWORK_M), own)
    apart = velocity_gradient(NETWORK_M, field(NETWORK_M), np.tile(4.01 * np.eye(2), (6, 1, 1)))
    assert with_shared.exx.sigma == pytest.approx(alone.exx.sigma, rel=1e-6)
    assert apart.exx.sigma > 15.0 * alone.exx.sigma


def test_scatter_tells_where_no_covariance_is_given():
    rng = np.random.default_rng(3)
    sigmas, misses = [], []
    for _ in range(400):
        s = velocity_gradient(NETWORK_M, field(NETWORK_M) + rng.normal(0, 0.2, (6, 2)))
        misses.append(s.exx.value - 0.0012)
        sigmas.append(s.exx.sigma)
    assert np.std(misses) == pytest.approx(np.sqrt(np.mean(np.square(sigmas))), rel=0.12)


def test_error_falls_with_size_and_number():
    # MacAyeal (1985), abstract: sigma of a strain rate goes as 1/(L sqrt(n))
    def sigma(position):
        return velocity_gradient(
            position, field(position), 0.01 * np.eye(2 * len(position))
        ).exx.sigma

    assert sigma(3.0 * NETWORK_M) == pytest.approx(sigma(NETWORK_M) / 3.0)
    assert sigma(np.repeat(NETWORK_M, 4, axis=0)) == pytest.approx(sigma(NETWORK_M) / 2.0)


def test_weights_prefer_the_sure_stations():
    velocity = field(NETWORK_M)
    velocity[3] += 10.0
    covariance = np.tile(1e-4 * np.eye(2), (6, 1, 1))
    covariance[3] *= 1e8
    s = velocity_gradient(NETWORK_M, velocity, covariance)
    assert s.gradient == pytest.approx(GRADIENT, abs=1e-8)
    assert s.misfit[3] == pytest.approx([10.0, 10.0], abs=1e-4)
    assert velocity_gradient(NETWORK_M, velocity, np.eye(12) * 1e-4).reduced_chi2 > 100.0


def test_poor_shapes_are_named():
    covariance = 1e-4 * np.eye(6)
    flat = np.array([(0.0, 0.0), (1000.0, 0.0), (500.0, 200.0)])
    assert smallest_angle_deg(flat) == pytest.approx(np.degrees(np.arctan(0.4)))
    s = velocity_gradient(flat, field(flat), covariance)
    assert any("smallest angle 21.8 deg" in w for w in s.warnings)
    assert any("longer than wide" in w for w in s.warnings)
    good = np.array([(0.0, 0.0), (1000.0, 0.0), (500.0, 866.0)])
    assert velocity_gradient(good, field(good), covariance).warnings == ()
    assert velocity_gradient(good, field(good), covariance).condition == pytest.approx(
        1.0, abs=1e-3
    )
    # two angles of 30 deg: a ratio of exactly 3
    edge = np.array([(-1.0, 0.0), (1.0, 0.0), (0.0, np.tan(np.radians(30.0)))])
    assert velocity_gradient(edge, field(edge), covariance).condition == pytest.approx(3.0)


def test_nearly_equal_principal_rates_are_named():
    covariance = 0.01 * np.eye(12)
    round_ = velocity_gradient(NETWORK_M, field(NETWORK_M, np.eye(2) * 1e-3), covariance)
    assert any("nearly equal" in w for w in round_.warnings)
    assert round_.axis_rad.sigma <= np.pi / np.sqrt(12.0)
    sheared = velocity_gradient(NETWORK_M, field(NETWORK_M), covariance)
    assert not any("nearly equal" in w for w in sheared.warnings)


def test_azimuth_of_an_axis():
    assert rotated(0.0, np.pi / 2) == pytest.approx(np.pi / 2)
    assert rotated(np.pi / 2, np.pi / 2) == pytest.approx(0.0, abs=1e-12)
    assert np.degrees(rotated(np.radians(17.609), np.radians(90.0))) == pytest.approx(72.391)


def test_stations_without_velocity_are_left_out():
    velocity = field(NETWORK_M)
    velocity[2] = np.nan
    covariance = np.eye(12)
    s = velocity_gradient(NETWORK_M, velocity, covariance)
    assert s.misfit.shape == (5, 2)
    assert s.gradient == pytest.approx(GRADIENT, abs=1e-10)


def test_what_cannot_be_done_is_said():
    with pytest.raises(SolutionError, match="3 stations with a velocity; 2"):
        velocity_gradient(CORNERS_M[:2], VELOCITY_M_A[:2])
    line = np.array([(0.0, 0.0), (1.0, 1.0), (2.0, 2.0)])
    with pytest.raises(SolutionError, match=r"on a line.*add a station"):
        velocity_gradient(line, VELOCITY_M_A)
    with pytest.raises(SolutionError, match="not positive definite"):
        velocity_gradient(CORNERS_M, VELOCITY_M_A, np.zeros((6, 6)))
    with pytest.raises(SolutionError, match=r"covariance \(3, 3\).*\(6, 6\)"):
        velocity_gradient(CORNERS_M, VELOCITY_M_A, np.eye(3))
    with pytest.raises(SolutionError, match="x and y of each station"):
        velocity_gradient(CORNERS_M, VELOCITY_M_A[:, 0])
