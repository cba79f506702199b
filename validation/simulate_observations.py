"""Invented observations against the estimator's models, term by term, by two paths.

The invented world works in axes that do not turn, with ellipses, bent rays and antennas as
formulas; the estimator works Earth-fixed, with tables, series and mapping functions. Without
noise, with tables free of errors and the true motion, both must give the same ranges. Where they
are known to differ the difference is stated and has a bar of its own. Exit code 1 where a term
differs by more.
"""

from dataclasses import dataclass

import numpy as np
from _measured import Table

from stakeline.constants import FREQUENCY_HZ, SPEED_OF_LIGHT_M_S
from stakeline.earth.climate import climate
from stakeline.earth.ellipsoid import geodetic_from_xyz
from stakeline.earth.sun_moon import sun_moon
from stakeline.earth.tides import solid_tide
from stakeline.earth.troposphere import (
    global_mapping_coefficients,
    gradient_mapping,
    mapping_functions,
    zenith_hydrostatic_m,
    zenith_wet_m,
)
from stakeline.positioning.coarse import Coarse
from stakeline.positioning.model import observed_minus_computed
from stakeline.satellites.antenna import (
    choose_receiver_antenna,
    receiver_phase_centre,
    satellite_phase_centre,
)
from stakeline.satellites.attitude import body_axes
from stakeline.satellites.relativity import shapiro_delay
from stakeline.satellites.states import satellite_states
from stakeline.satellites.windup import phase_windup
from stakeline.signals.tracks import build_tracks
from stakeline.simulate.antenna import MODEL
from stakeline.simulate.atmosphere import make_air, make_ionosphere
from stakeline.simulate.ground import Place, tide_of_the_ground
from stakeline.simulate.motion import Motion
from stakeline.simulate.observe import SIGNALS, Station, make_world, observe
from stakeline.simulate.products import PERFECT, antennas_of, clocks_of, make_errors, orbits_of
from stakeline.simulate.receiver import Receiver
from stakeline.simulate.sight import Antennas, bent_time_m, look
from stakeline.simulate.sky import to_fixed
from stakeline.tables import Products, Settings
from stakeline.time import from_calendar

mm = 1e-3
START_NS = from_calendar(2031, 7, 12)
DAY_NS = 86_400 * 10**9
INTERVAL_S = 300.0
HEIGHT_M = 1.5
BAR, BAR_mm = "two independent paths", 1.0
QUIET = Receiver(0.0, 0.0, 0.0, slow_code_m=0.0, slow_phase_m=0.0, slips_a_day=0.0, dropout_share=0)


@dataclass(frozen=True)
class Both:
    """One noiseless day: what was observed and is true, and the estimator's states of it."""

    world: object
    station: Station
    products: Products
    observations: object
    truth: object
    time_s: np.ndarray  # true times of reception
    sight: object  # of pairs above 5 deg
    tracks: object
    states: object
    receiver_m: np.ndarray  # (n, 3) Earth-fixed, the true reference point with the true tide
    columns: np.ndarray  # of the pairs' satellites in the tracks

    def of_pairs(self, values):
        """Return values (n, m) of the tracks at the pairs (k,)."""
        return values[self.sight.epoch, self.columns]


def invent():
    """Return the :class:`Both` of a day."""
    rng = np.random.default_rng(7)
    by_world, by_air, by_sky, by_station, by_tables = rng.spawn(5)
    world = make_world(by_world, START_NS, 86_400.0)
    place = Place(np.radians(79.1), np.radians(-22.0), 420.0)
    motion = Motion(place, 1.1, np.radians(62.0), tide_m=0.25)
    air = make_air(by_air, place, 86_400.0)
    station = Station("HV01", motion, HEIGHT_M, air, make_ionosphere(by_sky), QUIET)
    errors = make_errors(by_tables, world, PERFECT)
    products = Products(
        orbits_of(world, errors, START_NS - DAY_NS, START_NS + 2 * DAY_NS),
        clocks_of(world, errors, START_NS, START_NS + DAY_NS),
        antennas=antennas_of(world),
    )
    observations, truth = observe(by_station, world, station, INTERVAL_S)
    time_s = (truth.time_ns - START_NS) / 1e9 - truth.clock_s
    sight = look(world, station, time_s)
    sight = sight.take(sight.elevation_rad > np.radians(5.0))
    tracks, _ = build_tracks(observations, "GE")
    moved = tide_of_the_ground(place, world.sky, time_s)
    receiver = truth.position_m + moved + HEIGHT_M * place.axes[2]
    states = satellite_states(products, tracks.satellites, truth.time_ns, receiver, truth.clock_s)
    columns = np.searchsorted(tracks.satellites, world.constellation.satellites[sight.column])
    parts = (observations, truth, time_s, sight, tracks, states, receiver, columns)
    return Both(world, station, products, *parts)


def show(table, name, difference_m):
    """Print the rms and the largest of differences (k,) against their bar."""
    rms, most = np.sqrt(np.mean(difference_m**2)) / mm, np.abs(difference_m).max() / mm
    table.line(f"{name}, rms", rms, BAR_mm, "mm", BAR)
    table.line(f"{name}, largest", most, BAR_mm, "mm", BAR)


def free_pair(world, values):
    """Return the ionosphere-free combination (m,) of values by band of each satellite's pair."""
    bands = [[letter + signal[0] for signal in SIGNALS[letter]] for letter in world.letters]
    square = np.array([[FREQUENCY_HZ[b] ** 2 for b in pair] for pair in bands])
    share = square * [1.0, -1.0] / (square[:, :1] - square[:, 1:])
    return sum(share[:, k] * values[k] for k in (0, 1))


def ranges(table, both):
    """Light time, turning Earth and orbits from a table; gravity."""
    sight, delta = both.sight, both.states.position_m - both.receiver_m[:, None]
    theirs = both.of_pairs(np.linalg.norm(delta, axis=2))
    ours = np.linalg.norm(sight.satellite_m - sight.receiver_m, axis=1)
    show(table, "range between centre of mass and antenna", ours - theirs)
    theirs = both.of_pairs(shapiro_delay(both.states.position_m, both.receiver_m))
    show(table, "delay by the Earth's gravity", bent_time_m(sight) - theirs)


def clocks(table, both):
    """Clock tables between their nodes, and the effect of eccentricity."""
    sight, world = both.sight, both.world
    bias = world.clocks.bias_at_s(sight.sent_s, sight.column)
    bias += world.constellation.relativity_s(sight.sent_s, sight.column)
    apart = SPEED_OF_LIGHT_M_S * (bias - both.of_pairs(both.states.clock_s))
    show(table, "satellite clock with relativity", apart)


def antennas(table, both):
    """Phase centres of both ends and their variations; turning antennas."""
    sight, states, tracks, world = both.sight, both.states, both.tracks, both.world
    sun, _ = sun_moon(tracks.time_ns)
    attitude = body_axes(states.position_m, states.velocity_m_s, sun, tracks.satellites)
    bands, share = tracks.bands, tracks.ionosphere_free
    sent, _, _ = satellite_phase_centre(
        both.products.antennas,
        tracks.satellites,
        tracks.time_ns,
        states.position_m,
        states.velocity_m_s,
        sun,
        both.receiver_m,
        bands,
        share,
        attitude,
    )
    entry, _ = choose_receiver_antenna(both.products.antennas, MODEL, "", START_NS)
    elevation, azimuth = (np.full(sent.shape, 1.0) for _ in range(2))
    elevation[sight.epoch, both.columns] = sight.elevation_rad
    azimuth[sight.epoch, both.columns] = sight.azimuth_rad
    received, _ = receiver_phase_centre(entry, elevation, azimuth, bands, share)
    ours = Antennas(world, sight, both.time_s)
    paths = []
    for slot in (0, 1):
        band = np.array([letter + SIGNALS[letter][slot][0] for letter in world.letters])
        paths.append(ours.path_m(band))
    weights = free_pair(world, np.eye(2)[:, :, None])[:, sight.column]
    straight = np.linalg.norm(sight.satellite_m - sight.receiver_m, axis=1)
    mine = weights[0] * paths[0] + weights[1] * paths[1] - straight
    show(table, "antennas of both ends", mine - both.of_pairs(sent + received))
    axes = np.broadcast_to(both.station.motion.place.axes, (len(both.time_s), 3, 3))
    cycles = both.of_pairs(phase_windup(states.position_m, both.receiver_m, *attitude[:2], axes))
    apart = ours.turning_cycles() - cycles
    apart = less_constant(both, apart - np.round(apart))
    length = SPEED_OF_LIGHT_M_S / tracks.frequency_hz.sum(axis=1)
    show(table, "turning antennas, less a constant a pass", apart * length[both.columns])


def less_constant(both, values):
    """Return values of pairs less the mean of each satellite's pass."""
    left = values.copy()
    for column in np.unique(both.sight.column):
        here = np.flatnonzero(both.sight.column == column)
        for part in np.split(here, np.flatnonzero(np.diff(both.sight.epoch[here]) > 4) + 1):
            left[part] -= values[part].mean()
    return left


def air(table, both):
    """Bent rays against mapping functions for the same zenith delays and gradients."""
    sight, apart = both.sight, air_difference(both)
    up_deg = np.degrees(sight.elevation_rad)
    show(table, "air above 30 deg", apart[up_deg > 30.0])
    source = "mapping, a climate for the weather: Boehm et al. (2006)"
    for low, high, bar in ((15, 30, 1.0), (10, 15, 2.0), (5, 10, 10.0)):
        some = apart[(up_deg > low) & (up_deg <= high)]
        rms = np.sqrt(np.mean(some**2)) / mm
        table.line(f"air, {low} to {high} deg: known to differ, rms", rms, bar, "mm", source)
    profile = both.station.air.profile
    dry, _, _ = profile.slant(sight.elevation_rad)
    by_dry, _ = mapping(both, both.station.motion.place.height_m)
    zenith = profile.dry_zenith_m
    worst = np.abs((dry - by_dry)[up_deg > 5.0]).max()
    table.say(f"dry mapping differs by {worst:.4f} at most, {worst * zenith / mm:.0f} mm of delay")


def mapping(both, height_m):
    """Return dry and wet mapping functions of pairs (k,) by the estimator."""
    place, tracks = both.station.motion.place, both.tracks
    where = place.latitude_rad, place.longitude_rad
    coefficients = global_mapping_coefficients(*where, tracks.time_ns)
    elevation = np.full(both.states.valid.shape, 1.0)
    elevation[both.sight.epoch, both.columns] = both.sight.elevation_rad
    latitude = place.latitude_rad
    found = mapping_functions(elevation, *coefficients, latitude, height_m, tracks.time_ns)
    return [both.of_pairs(values) for values in found]


def air_difference(both):
    """Return delays along bent rays less mapped ones of the same zenith delays (k,). [m]"""
    sight, sky = both.sight, both.station.air
    true = sky.delay_m(both.time_s, sight.elevation_rad, sight.azimuth_rad, sight.epoch)
    zenith = sky.zenith_m(both.time_s)[sight.epoch]
    gradient = sky.weather(both.time_s)[sight.epoch, 2:]
    by_dry, by_wet = mapping(both, both.station.motion.place.height_m)
    toward = gradient[:, 0] * np.cos(sight.azimuth_rad) + gradient[:, 1] * np.sin(sight.azimuth_rad)
    mapped = zenith[:, 0] * by_dry + zenith[:, 1] * by_wet
    return true - mapped - toward * gradient_mapping(sight.elevation_rad)


def tide(table, both):
    """The tide of the solid Earth: potential and Love numbers against the conventional series."""
    place, time_ns = both.station.motion.place, both.tracks.time_ns
    theirs = solid_tide(place.position_m, time_ns, *sun_moon(time_ns))
    ours = tide_of_the_ground(place, both.world.sky, both.time_s)
    apart = (ours - theirs) @ place.axes.T
    source = "parts out of phase left out: IERS Conventions (2010), 7.1"
    for k, axis in enumerate(("east", "north", "up")):
        table.line(f"tide, {axis}: known to differ, rms", apart[:, k].std() / mm, 1.0, "mm", source)
    table.line("tide: known to differ, largest", np.abs(apart).max() / mm, 2.0, "mm", source)


def whole(table, both):
    """Observations less the whole model at the truth, the known differences taken out."""
    settings = Settings(antenna_height_m=(HEIGHT_M, 0.0, 0.0), antenna_model=MODEL)
    point = both.truth.position_m + HEIGHT_M * both.truth.axes[2]
    coarse = Coarse(point, both.truth.clock_s, 0.0)
    model = observed_minus_computed(
        both.tracks, both.tracks.phase_m, both.products, settings, coarse
    )
    sight = both.sight
    clock = SPEED_OF_LIGHT_M_S * both.truth.clock_s[sight.epoch]
    known = clock + air_apart(both, point) + tide_apart(both)
    code = both.of_pairs(model.code_m) - known
    phase = both.of_pairs(model.phase_m) - known
    seen = np.isfinite(code)
    table.say(f"{seen.sum()} codes and phases of {len(both.time_s)} epochs")
    show(table, "observed codes less the model", code[seen])
    phase = less_constant(both, np.where(seen, phase, 0.0))
    show(table, "observed phases less the model, and a constant a pass", phase[seen])


def air_apart(both, point_m):
    """Return the true delays of the air less those of the estimator's usual climate (k,). [m]"""
    sight, time_s, time_ns = both.sight, both.time_s, both.tracks.time_ns
    true = both.station.air.delay_m(time_s, sight.elevation_rad, sight.azimuth_rad, sight.epoch)
    latitude, longitude, height = geodetic_from_xyz(np.median(point_m, axis=0))
    usual = climate(latitude, longitude, height, time_ns)
    dry = zenith_hydrostatic_m(usual.pressure_hPa, latitude, height)
    wet = zenith_wet_m(usual.vapour_hPa, usual.mean_temperature_K, usual.wet_lapse)
    zenith = [np.broadcast_to(value, time_s.shape)[sight.epoch] for value in (dry, wet)]
    by_dry, by_wet = mapping(both, height)
    return true - zenith[0] * by_dry - zenith[1] * by_wet


def tide_apart(both):
    """Return what the difference of the tides makes of ranges (k,). [m]"""
    place, time_ns, sight = both.station.motion.place, both.tracks.time_ns, both.sight
    apart = tide_of_the_ground(place, both.world.sky, both.time_s)
    apart = apart - solid_tide(place.position_m, time_ns, *sun_moon(time_ns))
    direction = to_fixed(sight.direction, both.time_s[sight.epoch])
    return np.einsum("ki,ki->k", direction, apart[sight.epoch])


def main():
    table = Table("Invented observations and the estimator's models, one noiseless day")
    both = invent()
    for part in (ranges, clocks, antennas, tide, air, whole):
        part(table, both)
    table.end()


if __name__ == "__main__":
    main()
