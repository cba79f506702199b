"""Surface spherical harmonics, for fields that are smooth over the globe."""

import math

import numpy as np


def degrees_and_orders(degree):
    """Return degree and order (k,), running (0,0) (1,0) (1,1) (2,0) ... up to ``degree``."""
    pairs = [(n, m) for n in range(degree + 1) for m in range(n + 1)]
    return tuple(np.array(pairs).T)


def surface_harmonics(latitude_rad, longitude_rad, degree):
    """Return P_nm(sin lat) cos(m lon) and P_nm(sin lat) sin(m lon), each (..., k).

    Unnormalised associated Legendre functions without the factor (-1)^m, in the order of
    :func:`degrees_and_orders`; recursion of Heiskanen & Moritz (1967), section 1-11.
    """
    t = np.sin(np.asarray(latitude_rad, float))[..., None]
    u = np.sqrt(1.0 - t * t)
    legendre = {(0, 0): np.ones_like(t)}
    for n in range(1, degree + 1):
        legendre[n, n] = (2 * n - 1) * u * legendre[n - 1, n - 1]
        for m in range(n):
            above = (2 * n - 1) * t * legendre[n - 1, m]
            below = (n + m - 1) * legendre[n - 2, m] if m < n - 1 else 0.0
            legendre[n, m] = (above - below) / (n - m)
    orders = degrees_and_orders(degree)
    values = np.concatenate([legendre[n, m] for n, m in zip(*orders, strict=True)], axis=-1)
    angle = orders[1] * np.asarray(longitude_rad, float)[..., None]
    return values * np.cos(angle), values * np.sin(angle)


def full_normalisation(degree):
    """Return the factors (k,) that make the mean square of each harmonic over the sphere 1."""
    n, m = degrees_and_orders(degree)
    return np.array(
        [
            math.sqrt((2 - (j == 0)) * (2 * i + 1) * math.factorial(i - j) / math.factorial(i + j))
            for i, j in zip(n.tolist(), m.tolist(), strict=True)
        ]
    )


def normalised_basis(latitude_rad, longitude_rad, degree):
    """Return the (degree + 1)^2 normalised harmonics, shape (..., (degree + 1)^2).

    First all cosines in the order of :func:`degrees_and_orders`, then the sines of order > 0.
    """
    cosines, sines = surface_harmonics(latitude_rad, longitude_rad, degree)
    factor = full_normalisation(degree)
    _, order = degrees_and_orders(degree)
    return np.concatenate([cosines * factor, (sines * factor)[..., order > 0]], axis=-1)
