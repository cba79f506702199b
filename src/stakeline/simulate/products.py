"""Orbits, clocks and antennas of the invented world as a user gets them: tables, not quite true."""

from dataclasses import dataclass

import numpy as np

from ..constants import FREQUENCY_HZ, NS_PER_S, SPEED_OF_LIGHT_M_S
from ..tables import SYSTEMS, Antenna, AntennaPattern, Antennas, Clocks, Orbits, satellite_name
from .antenna import KIND, MODEL
from .observe import SIGNALS
from .sky import to_fixed

FRAME = "IGS20"
_NADIR_COSINE = 0.985  # of 10 deg
_ZENITH_DEG, _AZIMUTH_DEG, _NADIR_DEG = np.arange(0, 91, 5.0), np.arange(0, 361, 5.0), 17


@dataclass(frozen=True)
class Imperfection:
    """Errors of products: waves of some hours, the same at all stations.

    ``orbit_m`` is radial, along, across (rms); ``clock_m`` is what the clocks do not make up for
    of the radial error (rms); sizes that leave level positions as good as those of real stations.
    """

    orbit_m: tuple = (0.005, 0.004, 0.004)
    clock_m: float = 0.004
    radial_made_up: float = 0.9  # share of the radial error that the clocks take up


PERFECT = Imperfection((0.0, 0.0, 0.0), 0.0, 0.0)


class Errors:
    """Errors of one issue of products, at any time; the orbits' and the clocks' belong together."""

    def __init__(self, rng, count, imperfection):
        self.imperfection = imperfection
        self._phase = rng.uniform(0.0, 2.0 * np.pi, (4, count))
        self._period_s = rng.uniform(10.0, 14.0, (4, count)) * 3600.0

    def _wave(self, k, time_s):
        turn = time_s[:, None] / self._period_s[k]
        return np.sqrt(2.0) * np.sin(2.0 * np.pi * turn + self._phase[k])

    def orbit_m(self, time_s, position_m, velocity_m_s):
        """Return the errors (n, m, 3) of positions. [m]"""
        radial = position_m / np.linalg.norm(position_m, axis=2, keepdims=True)
        across = np.cross(radial, velocity_m_s)
        across /= np.linalg.norm(across, axis=2, keepdims=True)
        axes = (radial, np.cross(across, radial), across)
        size = self.imperfection.orbit_m
        return sum(size[k] * self._wave(k, time_s)[..., None] * axes[k] for k in range(3))

    def clock_s(self, time_s):
        """Return the errors (n, m) of clocks. [s]"""
        made_up = self.imperfection.radial_made_up * self.imperfection.orbit_m[0]
        error = made_up * self._wave(0, time_s) + self.imperfection.clock_m * self._wave(3, time_s)
        return error / SPEED_OF_LIGHT_M_S


def make_errors(rng, world, imperfection=None):
    """Return :class:`Errors` for all satellites of a world."""
    return Errors(rng, len(world.constellation.satellites), imperfection or Imperfection())


def orbits_of(world, errors, first_ns, last_ns, step_s=900.0):
    """Return :class:`Orbits` from first to last time, both included. [ns]"""
    time_ns = np.arange(first_ns, last_ns + 1, round(step_s * NS_PER_S), dtype=np.int64)
    time_s = (time_ns - world.sky.start_ns) / NS_PER_S
    satellites = world.constellation.satellites
    position, velocity = world.constellation.states(
        np.broadcast_to(time_s[:, None], (time_s.size, len(satellites)))
    )
    position = position + errors.orbit_m(time_s, position, velocity)
    return Orbits(
        time_ns,
        satellites,
        to_fixed(position, time_s[:, None]),
        world.clocks.bias_s(time_s) + errors.clock_s(time_s),
        frame=FRAME,
        agency="HALV",
        accuracy_m=np.full(len(satellites), 0.016),
        orbit_type="FIT",
        data_used="ORBIT",
        comments=("invented satellites of an invented world",),
    )


def clocks_of(world, errors, first_ns, last_ns, step_s=30.0):
    """Return :class:`Clocks` from first to last time, both included. [ns]"""
    time_ns = np.arange(first_ns, last_ns + 1, round(step_s * NS_PER_S), dtype=np.int64)
    time_s = (time_ns - world.sky.start_ns) / NS_PER_S
    bias = world.clocks.bias_s(time_s) + errors.clock_s(time_s)
    return Clocks(
        time_ns,
        world.constellation.satellites,
        bias,
        np.full(bias.shape, 2e-11),
        agency="HALV",
        frame=FRAME,
    )


def wide_lanes_of(world):
    """Return {satellite: (cycles to add to its wide lane, bands)} of the invented satellites.

    They have no biases but antennas whose bands stand at different heights: ranges of band i are
    shorter by the offset z, and the wide lane (phases less codes) by a combination of both; at a
    nadir angle of 10 deg, to some hundredths of a cycle.
    """
    found = {}
    for k, satellite in enumerate(world.constellation.satellites):
        pair = [world.letters[k] + signal[0] for signal in SIGNALS[world.letters[k]]]
        f1, f2 = (FREQUENCY_HZ[band] for band in pair)
        path = [-_NADIR_COSINE * world.satellite_antennas.offset_m[band][k, 2] for band in pair]
        phase = (f1 * path[0] - f2 * path[1]) / (f1 - f2)
        code = (f1 * path[0] + f2 * path[1]) / (f1 + f2)
        cycles = (phase - code) * (f1 - f2) / SPEED_OF_LIGHT_M_S
        found[int(satellite)] = (-cycles, pair[0][1] + pair[1][1])
    return found


def antennas_of(world):
    """Return :class:`Antennas`: the patterns at their nodes, rounded as ANTEX does."""
    entries = [_satellite_entry(world, k) for k in range(len(world.constellation.satellites))]
    return Antennas((*entries, _receiver_entry(world.receiver_antenna)))


def _satellite_entry(world, k):
    satellite = int(world.constellation.satellites[k])
    letter, name = SYSTEMS[satellite // 100], satellite_name(satellite)
    nadir_deg = np.arange(_NADIR_DEG + 1.0)
    patterns = {}
    for signal in SIGNALS[letter]:
        band = letter + signal[0]
        sender = world.satellite_antennas
        nodes = sender.variation_m(band, np.radians(nadir_deg)[:, None], slice(k, k + 1))[:, 0]
        patterns[_antex_band(band)] = AntennaPattern(sender.offset_m[band][k], np.round(nodes, 5))
    return Antenna(
        model=KIND[letter],
        serial=name,
        satellite=satellite,
        svn=f"{letter}9{name[1:]}",
        valid_from_ns=None,
        valid_until_ns=None,
        zenith_deg=nadir_deg,
        azimuth_deg=None,
        patterns=patterns,
        source="HALV_2031",
    )


def _receiver_entry(antenna):
    zenith, azimuth = np.meshgrid(np.radians(_ZENITH_DEG), np.radians(_AZIMUTH_DEG))
    patterns = {}
    for band in antenna.offset_m:
        around = np.round(antenna.variation_m(band, zenith, azimuth), 5)
        offset = np.round(antenna.offset_m[band], 5)
        mean = np.round(around[:-1].mean(axis=0), 5)
        patterns[_antex_band(band)] = AntennaPattern(offset, mean, around)
    return Antenna(
        model=MODEL,
        serial="",
        satellite=None,
        svn="",
        valid_from_ns=None,
        valid_until_ns=None,
        zenith_deg=_ZENITH_DEG,
        azimuth_deg=_AZIMUTH_DEG,
        patterns=patterns,
        source="HALV_2031",
    )


def _antex_band(band):
    """Return the name ANTEX has for a band: G01 for G1."""
    return f"{band[0]}0{band[1]}"
