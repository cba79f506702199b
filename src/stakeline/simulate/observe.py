"""Raw observations of a station in the invented world.

What is in them: geometry and light time in axes that do not turn (so no separate correction for
the Earth's rotation), the bending of time by the Earth, clocks of both ends with the effect of
eccentricity, delay of the air along bent rays with weather and gradients, ionosphere of first
order, the tide of the solid Earth, phase centres of both antennas by band and direction, turning
antennas, noise, multipath, cycle slips, gaps, jumps of the receiver's clock. What is not: higher
orders of the ionosphere, pole tide and ocean loading (there is none), code biases, turns of the
satellites at noon and midnight (no orbital plane is near the Sun).
"""

from dataclasses import dataclass

import numpy as np

from ..constants import FREQUENCY_HZ, GM_EARTH_M3_S2, NS_PER_S, SPEED_OF_LIGHT_M_S
from ..tables import SYSTEMS, ObservationHeader, Observations
from .antenna import (
    MODEL,
    ReceiverAntenna,
    SatelliteAntennas,
    body_axes,
    make_receiver_antenna,
    make_satellite_antennas,
    turning_cycles,
)
from .atmosphere import Air, Ionosphere
from .clocks import SatelliteClocks, make_clocks
from .ground import tide_of_the_ground
from .motion import Motion
from .orbits import Constellation, make_constellation
from .receiver import Receiver, clock_of, first_cycles, noise_of, slips_of, strength_of, tracked
from .sky import Sky, make_sky, to_fixed, to_unturned

SIGNALS = {"G": ("1C", "2W"), "E": ("1C", "5Q")}
"""Band and attribute of the two signals that receivers of this world track."""

_LIGHT_TURNS = 4


@dataclass(frozen=True)
class World:
    """All that stations share: sky, satellites, their clocks and antennas, the antenna model."""

    sky: Sky
    duration_s: float
    constellation: Constellation
    clocks: SatelliteClocks
    satellite_antennas: SatelliteAntennas
    receiver_antenna: ReceiverAntenna

    @property
    def letters(self):
        """System letters (m,) of the satellites."""
        return np.array([SYSTEMS[int(s) // 100] for s in self.constellation.satellites])


@dataclass(frozen=True)
class Station:
    """One station: name, motion of its marker, antenna height, air, receiver."""

    name: str
    motion: Motion
    antenna_height_m: float
    air: Air
    ionosphere: Ionosphere
    receiver: Receiver


@dataclass(frozen=True)
class Truth:
    """What a solution is to find, at the recorded epochs (n,)."""

    time_ns: np.ndarray
    displacement_m: np.ndarray  # (n, 3) east, north, up from the marker's place
    position_m: np.ndarray  # (n, 3) marker, Earth-fixed, free of the tide of the solid Earth
    axes: np.ndarray  # (3, 3) rows east, north, up
    zenith_delay_m: np.ndarray  # (n,) dry and wet
    clock_s: np.ndarray  # (n,) receiver clock
    slips: tuple  # of Slip


@dataclass(frozen=True)
class _Sight:
    """Geometry of all satellites from one antenna reference point; arrays (n, m) or (n, m, 3)."""

    sent_s: np.ndarray
    satellite_m: np.ndarray
    receiver_m: np.ndarray  # (n, 1, 3)
    direction: np.ndarray  # from satellite to receiver
    distance_m: np.ndarray
    elevation_rad: np.ndarray
    azimuth_rad: np.ndarray
    axes: np.ndarray  # (n, 3, 3) east, north, up in axes that do not turn


def make_world(rng, start_ns, duration_s):
    """Return the :class:`World` of a span that begins at GPS time ``start_ns``."""
    by_orbit, by_clock, by_antenna = rng.spawn(3)
    sky = make_sky(start_ns, duration_s)
    constellation = make_constellation(by_orbit, sky)
    satellites = constellation.satellites
    bands = [letter + signal[0] for letter, pair in SIGNALS.items() for signal in pair]
    return World(
        sky,
        duration_s,
        constellation,
        make_clocks(by_clock, satellites, duration_s),
        make_satellite_antennas(by_antenna, satellites, bands),
        make_receiver_antenna(by_antenna, bands),
    )


def observe(rng, world, station, interval_s=30.0):
    """Return (Observations, Truth) of a station over the whole span of a world.

    Parameters
    ----------
    rng : numpy.random.Generator
    world : World
    station : Station
    interval_s : float
        Epochs are whole multiples of it by the receiver's clock.
    """
    by_clock, by_track, by_slip, by_noise = rng.spawn(4)
    nominal_s = interval_s * np.arange(round(world.duration_s / interval_s))
    clock_s, jumped = clock_of(by_clock, station.receiver, nominal_s)
    time_s = nominal_s - clock_s
    sight = _look(world, station, time_s)
    recorded, passes, restart = tracked(by_track, station.receiver, nominal_s, sight.elevation_rad)
    time_ns = world.sky.start_ns + np.round(nominal_s * NS_PER_S).astype(np.int64)
    satellites = world.constellation.satellites
    slips = slips_of(by_slip, station.receiver, time_ns, satellites, recorded, passes)
    free_s = clock_s if station.receiver.phase_jumps else clock_s + 1e-3 * jumped
    common = _common_delay(world, station, sight, time_s)
    value = np.full((*recorded.shape, 6), np.nan)
    for slot in (0, 1):
        parts = _signal(by_noise, world, station, sight, time_s, passes, slot)
        code, phase, turned, wavelength, strength = parts
        value[..., 3 * slot] = common + SPEED_OF_LIGHT_M_S * clock_s[:, None] + code
        cycles = (common + SPEED_OF_LIGHT_M_S * free_s[:, None] + phase) / wavelength
        value[..., 3 * slot + 1] = cycles + turned + _slipped(slips, time_ns, satellites, slot)
        value[..., 3 * slot + 2] = strength
    lock = _flags(slips, time_ns, satellites, value.shape)
    observations = _record(world, station, time_ns, recorded, restart, value, lock)
    return observations, _truth(station, time_ns, time_s, clock_s, recorded, slips)


def _look(world, station, time_s):
    """Return the :class:`_Sight` at true times (n,)."""
    place = station.motion.place
    marker = station.motion.position_m(time_s) + tide_of_the_ground(place, world.sky, time_s)
    point = marker + station.antenna_height_m * place.axes[2]
    receiver = to_unturned(point, time_s)[:, None, :]
    travel_s = np.full((time_s.size, len(world.constellation.satellites)), 0.08)
    for _ in range(_LIGHT_TURNS):
        sent_s = time_s[:, None] - travel_s
        satellite, _ = world.constellation.states(sent_s)
        distance = np.linalg.norm(receiver - satellite, axis=2)
        travel_s = distance / SPEED_OF_LIGHT_M_S
    direction = (receiver - satellite) / distance[..., None]
    axes = to_unturned(place.axes[None], time_s[:, None])
    east, north, up = np.moveaxis(np.einsum("nij,nmj->nmi", axes, -direction), 2, 0)
    return _Sight(
        sent_s,
        satellite,
        receiver,
        direction,
        distance,
        np.arcsin(up),
        np.arctan2(east, north),
        axes,
    )


def _common_delay(world, station, sight, time_s):
    """Return what both signals' codes and phases share, without antennas and receiver. [m]"""
    bias = world.clocks.bias_s(sight.sent_s) + world.constellation.relativity_s(sight.sent_s)
    visible = np.maximum(sight.elevation_rad, np.radians(3.6))
    air = station.air.delay_m(time_s, visible, sight.azimuth_rad)
    return air + _bent_time(sight) - SPEED_OF_LIGHT_M_S * bias


def _bent_time(sight):
    """Return the delay by the Earth's gravity (n, m): 2 GM/c2 times the integral of 1/r. [m]

    With s along the straight path from its point nearest to the Earth's centre, p away, that
    integral is asinh(s2/p) - asinh(s1/p). Misner, Thorne & Wheeler (1973), section 40.4.
    """
    begin = np.sum(sight.satellite_m * sight.direction, axis=2)
    end = np.sum(sight.receiver_m * sight.direction, axis=2)
    nearest = sight.receiver_m - end[..., None] * sight.direction
    p = np.linalg.norm(nearest, axis=2)
    integral = np.arcsinh(end / p) - np.arcsinh(begin / p)
    return 2.0 * GM_EARTH_M3_S2 / SPEED_OF_LIGHT_M_S**2 * integral


def _signal(rng, world, station, sight, time_s, passes, slot):
    """Return one signal's (code [m], phase [m], turning and whole cycles, wavelength, strength).

    Code and phase are less what both signals share.
    """
    band = np.array([letter + SIGNALS[letter][slot][0] for letter in world.letters])
    frequency = np.array([FREQUENCY_HZ[name] for name in band])
    wavelength = SPEED_OF_LIGHT_M_S / frequency
    sun = world.sky.sun(time_s)[:, None, :]
    x, y, z = body_axes(sight.satellite_m, sun)
    path = np.empty(sight.distance_m.shape)
    for name in sorted(set(band)):
        here = band == name
        path[:, here] = _between_phase_centres(world, sight, (x, y, z), name, here)
    east, north = sight.axes[:, None, 0], sight.axes[:, None, 1]
    turned = turning_cycles(sight.direction, x, y, east, north)
    elevation = np.maximum(sight.elevation_rad, np.radians(3.0))
    ahead = station.ionosphere.delay_m(time_s, elevation, sight.azimuth_rad, frequency)
    code, phase = noise_of(rng, station.receiver, time_s, elevation, wavelength)
    whole = first_cycles(rng, passes)
    strength = strength_of(rng, elevation)
    return path + ahead + code, path - ahead + phase, turned + whole, wavelength, strength


def _between_phase_centres(world, sight, body, band, here):
    """Return ranges between the phase centres of one band, variations included (n, k). [m]"""
    receiver, sender = world.receiver_antenna, world.satellite_antennas
    north, east, up = receiver.offset_m[band]
    there = sight.receiver_m[:, 0] + np.einsum("i,nij->nj", [east, north, up], sight.axes)
    satellite = sight.satellite_m[:, here]
    offset = sender.offset_m[band][here]
    centre = satellite + sum(offset[:, i, None] * body[i][:, here] for i in range(3))
    path = np.linalg.norm(there[:, None] - centre, axis=2)
    cosine = np.sum(body[2][:, here] * sight.direction[:, here], axis=2)
    variation = sender.variation_m(band, np.arccos(cosine), here)
    zenith = np.pi / 2.0 - sight.elevation_rad[:, here]
    return path + variation + receiver.variation_m(band, zenith, sight.azimuth_rad[:, here])


def _slipped(slips, time_ns, satellites, slot):
    """Return the sum of the slips so far (n, m). [cycles]"""
    total = np.zeros((time_ns.size, len(satellites)))
    for slip in slips:
        total[time_ns >= slip.time_ns, np.flatnonzero(satellites == slip.satellite)] += slip.cycles[
            slot
        ]
    return total


def _flags(slips, time_ns, satellites, shape):
    """Return loss-of-lock bits; set on the phases that slipped where the receiver noticed."""
    lock = np.zeros(shape, np.uint8)
    for slip in slips:
        if slip.flagged:
            epoch = np.searchsorted(time_ns, slip.time_ns)
            column = np.flatnonzero(satellites == slip.satellite)[0]
            for slot in (0, 1):
                lock[epoch, column, 3 * slot + 1] = slip.cycles[slot] != 0
    return lock


def _record(world, station, time_ns, recorded, restart, value, lock):
    """Put the recorded observations into the record."""
    kept = recorded.any(axis=1)
    count = recorded[kept].sum(axis=1)
    row, column = np.nonzero(recorded)
    value = value[row, column]
    strength = np.zeros(value.shape, np.uint8)
    for phase in (1, 4):  # RINEX 3.05, section 5.7: a digit for each 6 dB-Hz
        strength[:, phase] = np.clip(value[:, phase + 1] // 6.0, 1, 9)
    codes = {
        letter: tuple(kind + signal for signal in pair for kind in "CLS")
        for letter, pair in SIGNALS.items()
    }
    return Observations(
        header=_header(world, station, time_ns),
        time_ns=time_ns[kept],
        flag=restart[kept].astype(np.uint8),
        clock_offset_s=np.full(kept.sum(), np.nan),
        row_start=np.concatenate([[0], np.cumsum(count)]).astype(np.int64),
        satellite=world.constellation.satellites[column],
        value=value,
        lock=lock[row, column],
        strength=strength,
        codes=codes,
    )


def _header(world, station, time_ns):
    place = station.motion.place
    return ObservationHeader(
        program="stakeline",
        run_by="invented",
        marker_name=station.name,
        marker_type="GLACIER",
        observer="nobody",
        agency="Halvard Glacier, invented",
        receiver_number="1",
        receiver_type="HALVARD INVENTED",
        receiver_version="1.0",
        antenna_number="1",
        antenna_type=MODEL,
        antenna_height_m=station.antenna_height_m,
        approximate_position_m=tuple(np.round(place.position_m, -1)),
        interval_s=float(np.median(np.diff(time_ns))) / NS_PER_S,
        leap_seconds=18,
    )


def _truth(station, time_ns, time_s, clock_s, recorded, slips):
    kept = recorded.any(axis=1)
    return Truth(
        time_ns[kept],
        station.motion.displacement_m(time_s)[kept],
        station.motion.position_m(time_s)[kept],
        station.motion.place.axes,
        station.air.zenith_m(time_s).sum(axis=1)[kept],
        clock_s[kept],
        tuple(slips),
    )


def line_of_sight(world, position_m, time_s):
    """Return the Earth-fixed satellites (n, m, 3) as signals received at times (n,) left them.

    In the axes of the reception instant. [m]

    Parameters
    ----------
    position_m : array, shape (n, 3)
        Earth-fixed receiver. [m]
    """
    receiver = to_unturned(position_m, time_s)[:, None, :]
    satellite, _ = world.constellation.states(np.asarray(time_s)[:, None] - 0.08)
    for _ in range(_LIGHT_TURNS):
        travel_s = np.linalg.norm(receiver - satellite, axis=2) / SPEED_OF_LIGHT_M_S
        satellite, _ = world.constellation.states(np.asarray(time_s)[:, None] - travel_s)
    return to_fixed(satellite, np.asarray(time_s)[:, None])
