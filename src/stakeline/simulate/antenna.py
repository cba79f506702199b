"""Antennas of the invented world: where they send and receive, and how waves turn in them.

Patterns are formulas; the table that a user gets is drawn from them at its nodes.
"""

from dataclasses import dataclass

import numpy as np

MODEL = f"{'HALVARD-RING':<16}NONE"  # name and radome, columns of ANTEX 1.4
KIND = {"G": "INVENTED-MEDIUM-G", "E": "INVENTED-MEDIUM-E"}


@dataclass(frozen=True)
class ReceiverAntenna:
    """Phase centre by band: offset north, east, up [m] and the sizes of four waves [m].

    ``variation_m`` is how much longer ranges read at a zenith angle and azimuth.
    """

    offset_m: dict  # band such as G1 -> (north, east, up)
    waves_m: dict  # band -> amplitudes of sin2 z, of sin2 2z, of sin z cos a, of sin2 z cos 2a

    def variation_m(self, band, zenith_rad, azimuth_rad):
        """Return the variation at directions of one shape. [m]"""
        a, b, c, d = self.waves_m[band]
        sine = np.sin(zenith_rad)
        flat = a * sine**2 + b * np.sin(2.0 * zenith_rad) ** 2
        return flat + c * sine * np.cos(azimuth_rad) + d * sine**2 * np.cos(2.0 * azimuth_rad)


@dataclass(frozen=True)
class SatelliteAntennas:
    """Phase centres of m satellites by band: offsets x, y, z (m, 3) [m], waves (m, 2) [m]."""

    offset_m: dict
    waves_m: dict

    def variation_m(self, band, nadir_rad, which=slice(None)):
        """Return the variation (n, k) of some satellites at nadir angles (n, k). [m]

        A parabola and a wave.
        """
        a, b = self.waves_m[band][which].T
        share = nadir_rad / np.radians(14.0)
        return a * (share**2 - 0.4) + b * np.cos(np.pi * share)


def make_receiver_antenna(rng, bands):
    """Return a :class:`ReceiverAntenna` for bands such as G1, G2; sizes of geodetic antennas."""
    sizes = np.array([0.006, 0.003, 0.0008, 0.0010])  # m; from memory
    offset = {b: tuple(rng.normal([0.0, 0.0, 0.09], [8e-4, 8e-4, 0.012])) for b in bands}
    return ReceiverAntenna(offset, {b: tuple(sizes * rng.uniform(-1.0, 1.0, 4)) for b in bands})


def make_satellite_antennas(rng, satellites, bands):
    """Return :class:`SatelliteAntennas`; sizes as of published satellite antennas, from memory."""
    count = len(satellites)
    offset, waves = {}, {}
    x, z = rng.normal(0.15, 0.1, count), rng.uniform(0.6, 1.8, count)
    for band in bands:
        off = np.stack([x, rng.normal(0.0, 0.01, count), z + rng.normal(0.0, 0.08, count)], axis=1)
        offset[band] = np.round(off, 5)
        waves[band] = rng.normal(0.0, 1.0, (count, 2)) * [0.004, 0.002]
    return SatelliteAntennas(offset, waves)


def body_axes(position_m, sun_m):
    """Return unit vectors x, y, z (..., 3) of satellites that keep their panels on the Sun.

    z to the Earth, y across the plane of Earth, satellite and Sun, x to the Sun's side.
    """
    z = -_unit(position_m)
    x = _unit(_reject(sun_m - position_m, z))
    return x, np.cross(z, x), z


def turning_cycles(direction, sent_x, sent_y, received_x, received_y):
    """Return by how much phases read too long because antennas turn, (n, m). [cycles]

    Parameters
    ----------
    direction : array, shape (n, m, 3)
        Unit vectors from satellite to receiver.
    sent_x, sent_y : arrays, shape (n, m, 3)
        Axes of the sending crossed dipoles.
    received_x, received_y : arrays, shape (n, 1, 3)
        East and north of the receiving ones.

    Notes
    -----
    A right-handed wave of two crossed dipoles a quarter of a period apart is (x + i y), of which
    the part across the path arrives; a receiver for right-handed waves with its back to the path
    reads the voltage (x' + i y') . (x + i y). The phase of that voltage is the turning. Constant
    parts of it are of no consequence; continued in time.
    """
    wave = _reject(sent_x, direction) + 1j * _reject(sent_y, direction)
    voltage = np.sum((received_x + 1j * received_y) * wave, axis=-1)
    return np.unwrap(np.angle(voltage), axis=0) / (2.0 * np.pi)


def _reject(vectors, direction):
    """Return the part of vectors that is across a direction."""
    return vectors - np.sum(vectors * direction, axis=-1, keepdims=True) * direction


def _unit(vectors):
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)
