"""A rover on the ice and bases on rock at given distances, with products and truth.

Weather is shared the less the further apart two stations are; the ionosphere's slopes and waves go
on from one to the other.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..positioning.relative_input import Base
from ..tables import Observations, Products, Settings
from ..time import from_calendar
from .antenna import MODEL
from .atmosphere import make_air, make_ionosphere
from .ground import Place
from .motion import Motion
from .observe import Station, Truth, make_world, observe
from .products import antennas_of, clocks_of, make_errors, orbits_of, wide_lanes_of
from .receiver import Receiver
from .smooth import Smooth

START_NS = from_calendar(2031, 7, 12)
HEIGHT_M = 1.5
AIR_LENGTH_M = 150e3  # m, at which weather is half another's (structure function, see docs)
PER_DEGREE_M = 111_195.0  # m, of latitude: 40 030 km / 360
SILENT = dict.fromkeys(
    ("phase_noise_m", "code_noise_m", "reflection", "slow_code_m", "slow_phase_m"), 0.0
)


@dataclass(frozen=True)
class Baselines:
    """Rover and bases of one invented span, and the truth.

    ``twins`` are the rover's and the bases' observations with the same cycles and slips but no
    noise; it is only made where asked for: whole cycles can be read from it.
    """

    rover: Observations
    truth: Truth
    bases: tuple
    products: Products
    settings: Settings
    twins: tuple = ()


def make_baselines(
    seed,
    lengths_m,
    *,
    hours=24.0,
    interval_s=30.0,
    climb_m=150.0,
    twins=False,
    receiver=None,
    moves=None,
):
    """Return :class:`Baselines` of a rover at 79 N and bases at distances from it.

    Parameters
    ----------
    seed : int
    lengths_m : sequence of float
        One base for each. [m]
    hours, interval_s : float
    climb_m : float
        How much higher than the rover the bases stand. [m]
    twins : bool
        Whether noiseless twins are made too.
    receiver : Receiver, optional
        Of the rover.
    moves : dict, optional
        What is particular to the rover's :class:`~.motion.Motion`, such as its uplift.
    """
    by_world, by_air, by_sky, by_station, by_tables = np.random.default_rng(seed).spawn(5)
    duration_s = 3600.0 * hours
    world = make_world(by_world, START_NS, duration_s)
    moving = {"speed_m_d": 1.1, "azimuth_rad": np.radians(62.0), "tide_m": 0.1} | (moves or {})
    own = receiver or Receiver(), moving
    stations = _stations(by_air, by_sky, lengths_m, climb_m, duration_s, own)
    seeds = [chance.bit_generator.seed_seq for chance in by_station.spawn(len(stations))]
    made = [
        observe(_stream(chance), world, station, interval_s)
        for station, chance in zip(stations, seeds, strict=True)
    ]
    silent = [
        observe(_stream(chance), world, _silenced(station), interval_s)[0]
        for station, chance in zip(stations, seeds, strict=True)
        if twins
    ]
    height = (HEIGHT_M, 0.0, 0.0)
    bases = tuple(
        Base(station.name, data, truth.time_ns[:1], truth.position_m[:1], height, MODEL)
        for station, (data, truth) in zip(stations[1:], made[1:], strict=True)
    )
    settings = Settings(
        antenna_height_m=height, antenna_model=MODEL, systems="GE", interval_s=interval_s
    )
    return Baselines(*made[0], bases, _products(by_tables, world), settings, tuple(silent))


def _stream(seed):
    """Return a generator that begins where any other of the same seed does."""
    return np.random.default_rng(np.random.SeedSequence(seed.entropy, spawn_key=seed.spawn_key))


def _silenced(station):
    return replace(station, receiver=replace(station.receiver, **SILENT))


def _products(rng, world):
    """Return orbits of three days, clocks and antennas, with errors."""
    errors = make_errors(rng, world)
    end_ns = START_NS + round(NS_PER_S * world.duration_s)
    return Products(
        orbits_of(world, errors, START_NS - NS_PER_DAY, end_ns + NS_PER_DAY),
        clocks_of(world, errors, START_NS, end_ns),
        antennas=antennas_of(world),
        wide_lanes=wide_lanes_of(world),
    )


def _stations(by_air, by_sky, lengths_m, climb_m, duration_s, own):
    """Return the rover, with its own receiver and motion, and the bases."""
    receiver, moves = own
    place = Place(*np.radians([79.1, -22.0]), 420.0)
    home, above = make_air(by_air, place, duration_s), make_ionosphere(by_sky)
    stations = [Station("HV01", Motion(place, **moves), HEIGHT_M, home, above, receiver)]
    for k, length in enumerate(lengths_m):
        away = _away(place, length, 0.6 + 1.9 * k, climb_m)
        air = _air(by_air, away, duration_s, home, length)
        still = Motion(away, 0.0, daily_share=0.0, slope=0.0)
        sky = _shifted(above, place, away)
        stations.append(Station(f"HB0{k + 1}", still, HEIGHT_M, air, sky, Receiver(mast_m=2.4)))
    return stations


def _away(place, length_m, azimuth_rad, climb_m):
    north, east = length_m * np.cos(azimuth_rad), length_m * np.sin(azimuth_rad)
    latitude = place.latitude_rad + np.radians(north / PER_DEGREE_M)
    longitude = place.longitude_rad + np.radians(east / PER_DEGREE_M) / np.cos(latitude)
    return Place(latitude, longitude, place.height_m + climb_m)


def _air(rng, place, duration_s, home, length_m):
    """Return air whose weather is the rover's, and its own the more the further it is."""
    own = make_air(rng, place, duration_s)
    share = 1.0 - np.exp(-length_m / AIR_LENGTH_M)
    node_s = -600.0 + 300.0 * np.arange(int(duration_s / 300.0) + 5)
    mixed = np.sqrt(1.0 - share) * home.weather(node_s) + np.sqrt(share) * own.weather(node_s)
    return replace(own, weather=Smooth(-600.0, 300.0, mixed))


def _shifted(above, here, there):
    """Return the ionosphere as seen from another place: slopes and waves go on."""
    north = there.latitude_rad - here.latitude_rad
    east = (there.longitude_rad - here.longitude_rad) * np.cos(here.latitude_rad)
    waves = tuple(
        (amplitude, period, n, e, phase - n * north - e * east)
        for amplitude, period, n, e, phase in above.waves
    )
    more = above.slope_tec_rad[0] * north + above.slope_tec_rad[1] * east
    return replace(above, vertical_tec=above.vertical_tec + more, waves=waves)
