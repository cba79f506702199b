import numpy as np
from scipy.special import lpmv

from stakeline.earth.harmonics import (
    degrees_and_orders,
    full_normalisation,
    normalised_basis,
    surface_harmonics,
)
from stakeline.earth.interpolation import lagrange_weights, through_grid


def test_against_scipy():
    latitude, longitude = 0.7, -2.1
    n, m = degrees_and_orders(12)
    cosines, sines = surface_harmonics(latitude, longitude, 12)
    legendre = np.array(
        [(-1) ** j * lpmv(j, i, np.sin(latitude)) for i, j in zip(n, m, strict=True)]
    )
    np.testing.assert_allclose(cosines, legendre * np.cos(m * longitude), rtol=1e-10)
    np.testing.assert_allclose(sines, legendre * np.sin(m * longitude), rtol=1e-10, atol=1e-12)


def test_normalised_to_mean_square_one():
    nodes, weights = np.polynomial.legendre.leggauss(12)
    longitude = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    lat, lon = np.meshgrid(np.arcsin(nodes), longitude, indexing="ij")
    basis = normalised_basis(lat.ravel(), lon.ravel(), 5)
    weight = np.repeat(weights, 24) / (2.0 * 24)
    np.testing.assert_allclose(basis.T @ (basis * weight[:, None]), np.eye(36), atol=1e-12)
    assert full_normalisation(5).shape == (21,)


def test_cubic_is_reproduced_exactly():
    step = 1000

    def cubic(time_ns):
        t = time_ns / 1000.0
        return np.stack([t**3 - 2.0 * t, 3.0 - t**2], axis=-1)

    when = np.arange(5, 9000, 37, dtype=np.int64)
    np.testing.assert_allclose(through_grid(cubic, when, step), cubic(when), rtol=0, atol=1e-9)


def test_few_epochs_call_the_function_itself():
    asked = []

    def note(time_ns):
        asked.append(time_ns.copy())
        return time_ns.astype(float)

    through_grid(note, np.array([17, 5]), 1000)
    np.testing.assert_array_equal(asked[0], [17, 5])
    assert through_grid(note, np.array([], np.int64), 1000).size == 0


def test_weights_sum_to_one():
    np.testing.assert_allclose(lagrange_weights(np.linspace(0, 1, 7)).sum(axis=0), 1.0)
