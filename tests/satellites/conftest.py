"""Invented satellites on exact Kepler ellipses, written apart from the package's orbit code."""

import numpy as np
import pytest

from stakeline.tables import Clocks, Orbits, Products

GM = 3.986004418e14  # m3/s2; IERS Conventions (2010), table 1.1
OMEGA = 7.2921151467e-5  # rad/s; IS-GPS-200N, section 20.3.3.4.3
START_NS = 1_420_070_400_000_000_000  # 2015-01-01T00:00:00 GPS calendar
SATELLITES = np.array([1, 2, 203, 204], np.int16)  # G01 G02 E03 E04
ELEMENTS = (  # a [m], e, i, node, argument of perigee, mean anomaly at START [rad]
    (26.56e6, 0.01, 0.96, 0.3, 0.5, 0.1),
    (26.56e6, 0.02, 0.95, 2.4, 1.0, 3.0),
    (29.60e6, 0.0002, 0.98, 4.5, 0.0, 5.0),
    (27.98e6, 0.16, 0.87, 1.2, 2.0, 2.0),
)


def kepler_inertial(elements, t_s):
    """Position and velocity in inertial axes; Montenbruck & Gill (2000), section 2.2.3."""
    a, e, i, node, perigee, m0 = elements
    mean = m0 + np.sqrt(GM / a**3) * t_s
    anomaly = mean + e * np.sin(mean)
    for _ in range(30):
        anomaly -= (anomaly - e * np.sin(anomaly) - mean) / (1 - e * np.cos(anomaly))
    root = np.sqrt(1 - e * e)
    plane = np.stack([a * (np.cos(anomaly) - e), a * root * np.sin(anomaly)])
    rate = np.sqrt(GM * a) / (a * (1 - e * np.cos(anomaly)))
    plane_rate = rate * np.stack([-np.sin(anomaly), root * np.cos(anomaly)])
    p = [np.cos(node) * np.cos(perigee) - np.sin(node) * np.sin(perigee) * np.cos(i)]
    p += [np.sin(node) * np.cos(perigee) + np.cos(node) * np.sin(perigee) * np.cos(i)]
    p += [np.sin(perigee) * np.sin(i)]
    q = [-np.cos(node) * np.sin(perigee) - np.sin(node) * np.cos(perigee) * np.cos(i)]
    q += [-np.sin(node) * np.sin(perigee) + np.cos(node) * np.cos(perigee) * np.cos(i)]
    q += [np.cos(perigee) * np.sin(i)]
    axes = np.stack([p, q])
    return plane.T @ axes, plane_rate.T @ axes


def turned(xyz, angle):
    """Earth-fixed coordinates of inertial ones after the Earth turned by ``angle``."""
    c, s = np.cos(angle), np.sin(angle)
    x, y, z = np.moveaxis(xyz, -1, 0)
    return np.stack([c * x + s * y, c * y - s * x, z], axis=-1)


def clock_bias(j, t_s):
    """An exactly linear clock per satellite. [s]"""
    return (j + 1) * 1e-5 + (j - 1.5) * 1e-11 * t_s


@pytest.fixture(scope="session")
def truth():
    return kepler_inertial, ELEMENTS, turned, clock_bias, START_NS


@pytest.fixture(scope="session")
def invented():
    """Products of one day: 15-min orbits with six nodes of margin, 30-s clocks."""
    node_s = np.arange(-6, 97 + 6) * 900.0
    position = np.stack(
        [turned(kepler_inertial(e, node_s)[0], OMEGA * node_s) for e in ELEMENTS], axis=1
    )
    time_ns = START_NS + (node_s * 1e9).astype(np.int64)
    bias = np.stack([clock_bias(j, node_s) for j in range(4)], axis=1)
    orbits = Orbits(time_ns, SATELLITES, position, bias, frame="ITRF")
    clock_s = np.arange(-1, 2882) * 30.0
    fine = np.stack([clock_bias(j, clock_s) for j in range(4)], axis=1)
    clock_ns = START_NS + (clock_s * 1e9).astype(np.int64)
    clocks = Clocks(clock_ns, SATELLITES, fine, np.zeros_like(fine))
    return Products(orbits=orbits, clocks=clocks)
