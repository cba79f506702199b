"""Raw observations of a station in the invented world.

What is in them: geometry and light time in axes that do not turn (so no separate correction for
the Earth's rotation), the bending of time by the Earth, clocks of both ends with the effect of
eccentricity, delay of the air along bent rays with weather and gradients, ionosphere of first
order, the tide of the solid Earth, phase centres of both antennas by band and direction, turning
antennas, noise, waves from the snow in codes, phases and strengths, bursts of scintillation, slips
by whole and half cycles, gaps, jumps of the receiver's clock. What is not: higher orders of
the ionosphere, pole tide and ocean loading (there is none), code biases, turns of the satellites at
noon and midnight (no orbital plane is near the Sun).
"""

from dataclasses import dataclass, field

import numpy as np

from ..constants import FREQUENCY_HZ, NS_PER_S, SPEED_OF_LIGHT_M_S
from ..tables import SYSTEMS, ObservationHeader, Observations
from .antenna import (
    MODEL,
    ReceiverAntenna,
    SatelliteAntennas,
    make_receiver_antenna,
    make_satellite_antennas,
)
from .atmosphere import Air, Ionosphere, group_delay_m
from .clocks import SatelliteClocks, make_clocks
from .motion import Motion
from .orbits import Constellation, make_constellation
from .receiver import Receiver, Seen, clock_of, first_cycles, noise_of, slips_of, tracked
from .scintillation import Scintillation
from .sight import Antennas, bent_time_m, look
from .sky import Sky, make_sky

SIGNALS = {"G": ("1C", "2W"), "E": ("1C", "5Q")}
"""Band and attribute of the two signals that receivers of this world track."""

MILLISECOND_M = 1e-3 * SPEED_OF_LIGHT_M_S  # m; definition


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
    """One station: name, motion of its marker, antenna height, air, receiver, scintillation.

    ``motion`` is a :class:`~.motion.Motion` or anything else with its ``place``,
    ``displacement_m`` and ``position_m``.
    """

    name: str
    motion: Motion
    antenna_height_m: float
    air: Air
    ionosphere: Ionosphere
    receiver: Receiver
    scintillation: Scintillation = field(default_factory=Scintillation)


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
    bursts: tuple = ()  # of scintillation.Burst


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
        Epochs are whole multiples of it by the receiver's clock, ``receiver.late_s`` later.
    """
    by_clock, by_track, by_slip, by_noise = rng.spawn(4)
    receiver, satellites = station.receiver, world.constellation.satellites
    nominal_s = receiver.late_s + interval_s * np.arange(round(world.duration_s / interval_s))
    clock_s, jumped = clock_of(by_clock, receiver, nominal_s)
    time_s = nominal_s - clock_s
    sight = look(world, station, time_s)
    shape = nominal_s.size, len(satellites)
    trouble = station.scintillation.trouble(time_s[sight.epoch], sight.azimuth_rad)
    lost, more = _hardship(station.scintillation, trouble, sight, shape, interval_s)
    elevation = _dense(sight, sight.elevation_rad, shape, -np.pi / 2.0)
    recorded, passes, restart = tracked(by_track, receiver, nominal_s, elevation, lost)
    time_ns = world.sky.start_ns + np.round(nominal_s * NS_PER_S).astype(np.int64)
    slips = slips_of(by_slip, receiver, time_ns, satellites, recorded, passes, more)
    slipped, lock = _slipped(slips, time_ns, satellites, shape)
    kept = recorded[sight.epoch, sight.column]
    sight, trouble = sight.take(kept), None if trouble is None else trouble.take(kept)
    at = sight.epoch, sight.column
    bias_m = SPEED_OF_LIGHT_M_S * clock_s[sight.epoch]
    free_m = bias_m if receiver.phase_jumps else bias_m + MILLISECOND_M * jumped[sight.epoch]
    common = _common_delay(world, station, sight, time_s)
    value = np.empty((sight.epoch.size, 6))
    for slot, part in enumerate(_signals(by_noise, world, station, sight, time_s, trouble)):
        whole = first_cycles(by_noise, passes)[at] + slipped[(slot, *at)]
        value[:, 3 * slot] = common + bias_m + part.code_m
        cycles = (common + free_m + part.phase_m) / part.wavelength_m
        value[:, 3 * slot + 1] = cycles + part.turned + whole
        value[:, 3 * slot + 2] = part.strength
    observations = _record(world, station, time_ns, sight, restart, value, lock)
    return observations, _truth(station, time_ns, time_s, clock_s, recorded, slips)


def _dense(sight, values, shape, missing):
    """Return values of pairs as an array (n, m)."""
    spread = np.full(shape, missing)
    spread[sight.epoch, sight.column] = values
    return spread


def _hardship(scintillation, trouble, sight, shape, interval_s):
    """Return the share of observations lost and the slips to expect, each (n, m), or None."""
    if trouble is None:
        return None, None
    share = _dense(sight, trouble.share, shape, 0.0)
    return scintillation.lost_share * share, scintillation.slips_an_hour / 3600.0 * (
        interval_s * share
    )


def _common_delay(world, station, sight, time_s):
    """Return what both signals' codes and phases share, without antennas and receiver. [m]"""
    bias = world.clocks.bias_at_s(sight.sent_s, sight.column)
    bias += world.constellation.relativity_s(sight.sent_s, sight.column)
    visible = np.maximum(sight.elevation_rad, np.radians(3.6))
    air = station.air.delay_m(time_s, visible, sight.azimuth_rad, sight.epoch)
    return air + bent_time_m(sight) - SPEED_OF_LIGHT_M_S * bias


@dataclass(frozen=True)
class _Signal:
    """One signal of pairs (k,), less what both signals share."""

    code_m: np.ndarray
    phase_m: np.ndarray
    turned: np.ndarray  # cycles
    wavelength_m: np.ndarray
    strength: np.ndarray


def _signals(rng, world, station, sight, time_s, trouble):
    """Yield the first and the second :class:`_Signal`."""
    antennas = Antennas(world, sight, time_s)
    turned = antennas.turning_cycles()
    seconds = time_s[sight.epoch]
    elevation = np.maximum(sight.elevation_rad, np.radians(3.0))
    tec = station.ionosphere.slant_tec(seconds, elevation, sight.azimuth_rad)
    if trouble is not None:
        tec = tec + trouble.tec
    height = station.receiver.height_m(time_s)[sight.epoch]
    seen = Seen(seconds, sight.epoch, sight.column, elevation, height, trouble)
    for slot in (0, 1):
        band = np.array([letter + SIGNALS[letter][slot][0] for letter in world.letters])
        frequency = np.array([FREQUENCY_HZ[name] for name in band])[sight.column]
        wavelength = SPEED_OF_LIGHT_M_S / frequency
        path, ahead = antennas.path_m(band), group_delay_m(tec, frequency)
        code, phase, strength = noise_of(rng, station.receiver, seen, wavelength)
        yield _Signal(path + ahead + code, path - ahead + phase, turned, wavelength, strength)


def _slipped(slips, time_ns, satellites, shape):
    """Return the cycles slipped so far (2, n, m) and the loss-of-lock bits of both phases.

    Bit 0 is set on the phases that slipped where the receiver noticed, bit 1 while it knows of a
    half cycle it does not know: RINEX 3.05, section 5.7.
    """
    step, lock = np.zeros((2, *shape)), np.zeros((2, *shape), np.uint8)
    for slip in slips:
        column = np.searchsorted(satellites, slip.satellite)
        epoch, until = np.searchsorted(time_ns, (slip.time_ns, slip.half_until_ns))
        step[:, epoch, column] += slip.cycles
        if slip.flagged:
            lock[:, epoch, column] |= np.array(slip.cycles) != 0
        if slip.half is not None:
            lock[slip.half, epoch:until, column] |= 2
    return np.cumsum(step, axis=1), lock


def _record(world, station, time_ns, sight, restart, value, lock):
    """Put the recorded observations into the record, epoch by epoch."""
    order = np.argsort(sight.epoch, kind="stable")
    epoch, column, value = sight.epoch[order], sight.column[order], value[order]
    count = np.bincount(epoch, minlength=time_ns.size)
    kept = count > 0
    bits = np.zeros(value.shape, np.uint8)
    bits[:, [1, 4]] = lock[:, epoch, column].T
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
        row_start=np.concatenate([[0], np.cumsum(count[kept])]).astype(np.int64),
        satellite=world.constellation.satellites[column],
        value=value,
        lock=bits,
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
        station.scintillation.bursts,
    )
