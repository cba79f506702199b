"""Raw observations: repeatable, consistent, and of the world they are made in."""

import numpy as np
import pytest

from stakeline.constants import FREQUENCY_HZ, SPEED_OF_LIGHT_M_S
from stakeline.positioning.coarse import locate
from stakeline.positioning.model import observed_minus_computed
from stakeline.signals.slips import find_slips
from stakeline.signals.tracks import build_tracks
from stakeline.simulate.atmosphere import make_air, make_ionosphere
from stakeline.simulate.motion import Motion
from stakeline.simulate.observe import Station, make_world, observe
from stakeline.simulate.products import PERFECT, clocks_of, make_errors, orbits_of
from stakeline.simulate.receiver import Receiver
from stakeline.simulate.sight import line_of_sight, look
from stakeline.tables import Products, Settings

WAVES = SPEED_OF_LIGHT_M_S / np.array([FREQUENCY_HZ["G1"], FREQUENCY_HZ["G2"]])


def of_gps(observations):
    """Return (code (r, 2), phase (r, 2) [m], satellites, epochs) of the GPS rows."""
    epoch = np.repeat(np.arange(len(observations)), np.diff(observations.row_start))
    rows = observations.satellite < 100
    value = observations.value[rows]
    return value[:, [0, 3]], value[:, [1, 4]] * WAVES, observations.satellite[rows], epoch[rows]


def combined(values):
    f2 = FREQUENCY_HZ["G1"] ** 2, FREQUENCY_HZ["G2"] ** 2
    return (f2[0] * values[:, 0] - f2[1] * values[:, 1]) / (f2[0] - f2[1])


def test_a_seed_repeats_to_the_bit_and_another_differs(world, make_station):
    first, again, other = (
        observe(np.random.default_rng(seed), world, make_station(), 300.0)[0] for seed in (7, 7, 8)
    )
    assert first.value.tobytes() == again.value.tobytes()
    assert first.satellite.tobytes() == again.satellite.tobytes()
    assert first.value.tobytes() != other.value.tobytes()


def test_the_record_is_whole(noisy):
    observations, truth = noisy
    assert observations.row_start[-1] == len(observations.satellite) == len(observations.value)
    assert np.isfinite(observations.value).all()
    assert (np.diff(observations.time_ns) > 0).all()
    np.testing.assert_array_equal(observations.time_ns, truth.time_ns)
    gap = np.diff(observations.time_ns).max() / 1e9
    assert 1000.0 <= gap <= 1060.0
    assert observations.flag.sum() == 1
    assert 10 < np.diff(observations.row_start).mean() < 26
    assert (np.abs(observations.value[:, 0]) > 1.9e7).all()
    assert (np.abs(observations.value[:, 0]) < 3.2e7).all()


def test_codes_and_phases_differ_by_a_constant_but_for_the_ionosphere(quiet):
    code, phase, satellites, _ = of_gps(quiet[0])
    apart = combined(code) - combined(phase)
    for satellite in np.unique(satellites):
        one = apart[satellites == satellite]
        # what is left is the turning of antennas: a fraction of a wavelength in three hours
        assert np.ptp(one) < 0.11


def test_codes_with_exported_orbits_and_clocks_find_the_antenna(world, quiet):
    observations, truth = quiet
    errors = make_errors(np.random.default_rng(1), world, PERFECT)
    start = world.sky.start_ns
    hours = 4 * 3600 * 10**9
    products = Products(
        orbits_of(world, errors, start - hours, start + 2 * hours),
        clocks_of(world, errors, start - hours, start + hours),
    )
    tracks, notes = build_tracks(observations, "G")
    assert notes == []
    found = locate(tracks, products)
    expected = truth.position_m + 1.5 * truth.axes[2]
    # metre level: rough air and no tides in the estimator's first position
    assert np.linalg.norm(np.median(found.position_m - expected, axis=0)) < 3.0
    assert np.abs(found.clock_s - truth.clock_s).max() * SPEED_OF_LIGHT_M_S < 3.0


def test_ranges_follow_the_true_motion_by_millimetres(world, make_station):
    still, moved = (
        observe(np.random.default_rng(3), world, make_station(speed_m_d=v), 600.0)
        for v in (0.0, 1.1)
    )
    np.testing.assert_array_equal(still[0].satellite, moved[0].satellite)
    step = moved[1].position_m - still[1].position_m
    time_s = (still[1].time_ns - world.sky.start_ns) / 1e9 - still[1].clock_s
    satellite = line_of_sight(world, still[1].position_m, time_s)
    _, phase, numbers, epoch = of_gps(still[0])
    change = combined(of_gps(moved[0])[1]) - combined(phase)
    column = np.searchsorted(world.constellation.satellites, numbers)
    toward = satellite[epoch, column] - still[1].position_m[epoch]
    toward /= np.linalg.norm(toward, axis=1, keepdims=True)
    expected = -np.sum(toward * step[epoch], axis=1)
    assert np.abs(expected).max() > 0.05
    assert np.abs(change - expected).max() < 1e-3


@pytest.mark.parametrize("flagged", [True, False])
def test_slips_stand_in_the_phases_where_the_truth_says(noisy, flagged):
    observations, truth = noisy
    _, phase, satellites, epoch = of_gps(observations)
    lock = observations.lock[observations.satellite < 100]
    # L1 less L2 changes by ionosphere and noise only: centimetres in 30 s
    apart = phase[:, 0] - phase[:, 1]
    seen = 0
    for slip in truth.slips:
        jump = abs(slip.cycles[0] * WAVES[0] - slip.cycles[1] * WAVES[1])
        if slip.satellite >= 100 or slip.flagged != flagged or jump < 0.4:
            continue
        at = np.searchsorted(observations.time_ns, slip.time_ns)
        here = np.flatnonzero((satellites == slip.satellite) & (epoch == at))
        before = np.flatnonzero((satellites == slip.satellite) & (epoch == at - 1))
        assert abs(abs(apart[here] - apart[before]) - jump) < 0.15
        assert lock[here].any() == flagged
        seen += 1
    assert seen > 5


def test_clock_jumps_stand_in_codes_alone_where_the_receiver_does_so(world, make_station):
    apart = []
    for phase_jumps in (True, False):
        receiver = make_station().receiver
        station = make_station(
            type(receiver)(**(vars(receiver) | {"phase_jumps": phase_jumps, "clock_drift": 3e-7}))
        )
        observations, _ = observe(np.random.default_rng(3), world, station, 300.0)
        code, phase, satellites, _ = of_gps(observations)
        steps = [np.diff((code - phase)[satellites == s, 0]) for s in np.unique(satellites)]
        apart.append(np.abs(np.concatenate(steps)).max())
    assert apart[0] < 10.0
    # a millisecond of light: definition
    assert abs(apart[1] - 1e-3 * SPEED_OF_LIGHT_M_S) < 10.0


def test_pairs_are_the_geometry_of_all_satellites(world, make_station):
    station, time_s = make_station(), np.arange(0.0, 10800.0, 170.0)
    sight = look(world, station, time_s)
    marker = station.motion.position_m(time_s)
    satellite = line_of_sight(world, marker, time_s)
    toward = satellite - marker[:, None]
    distance = np.linalg.norm(toward, axis=2)
    up = toward @ station.motion.place.axes[2] / distance
    listed = np.zeros(up.shape, bool)
    listed[sight.epoch, sight.column] = True
    assert listed[up > 0.0].all()  # nobody above the horizon is left out
    assert not listed[up < np.sin(np.radians(-9.0))].any()
    ours = np.linalg.norm(sight.satellite_m - sight.receiver_m, axis=1)
    up = up[sight.epoch, sight.column]
    # the reference point is 1.5 m above the marker, the tide of the ground decimetres at most
    assert np.abs(ours + 1.5 * up - distance[sight.epoch, sight.column]).max() < 0.5
    # light time: the definition, with the states' own formula
    at_sending, _ = world.constellation.states(sight.sent_s, sight.column)
    assert np.abs(at_sending - sight.satellite_m).max() == 0.0
    travelled = SPEED_OF_LIGHT_M_S * (time_s[sight.epoch] - sight.sent_s)
    assert np.abs(travelled - ours).max() < 1e-3  # digits of times: 2e-12 s, satellites 1e-8 m


def test_strengths_turn_with_the_height_above_the_snow(world, make_station):
    def strengths(mast_m):
        receiver = Receiver(reflection=0.3, mast_m=mast_m, dropout_share=0.0, slips_a_day=0.0)
        observations, _ = observe(np.random.default_rng(3), world, make_station(receiver), 60.0)
        return observations.value[:, 2]

    constant, callable_ = strengths(2.0), strengths(lambda time_s: 2.0 + 0.0 * time_s)
    np.testing.assert_array_equal(constant, callable_)
    sinking = strengths(lambda time_s: 2.0 - 1e-4 * time_s)
    assert np.abs(sinking - constant)[:40].max() < np.abs(sinking - constant).max()
    assert (constant * 4.0 == np.round(constant * 4.0)).all()  # in quarters of a dB


def test_a_station_without_power_records_nothing(world, make_station):
    dead = make_station(Receiver(gaps_s=((-1.0, 1e9),)))
    observations, truth = observe(np.random.default_rng(3), world, dead, 300.0)
    assert len(observations) == len(truth.time_ns) == observations.row_start[-1] == 0
    assert truth.slips == ()


@pytest.mark.compiled
def test_slips_put_in_are_found_half_cycles_too(world, place):
    world = make_world(np.random.default_rng(1), world.sky.start_ns, 86400.0)
    by_air, by_ionosphere = np.random.default_rng(5).spawn(2)
    receiver = Receiver(slips_a_day=300.0, half_share=0.4, flagged_share=0.3)
    air, sky = make_air(by_air, place, world.duration_s), make_ionosphere(by_ionosphere)
    station = Station("HV01", Motion(place), 1.5, air, sky, receiver)
    observations, truth = observe(np.random.default_rng(3), world, station)
    errors, start = make_errors(np.random.default_rng(1), world), world.sky.start_ns
    day = 86400 * 10**9
    orbits = orbits_of(world, errors, start - day, start + 2 * day)
    products = Products(orbits, clocks_of(world, errors, start, start + day))
    tracks, _ = build_tracks(observations, "GE")
    coarse = locate(tracks, products)
    settings = Settings(antenna_height_m=(1.5, 0.0, 0.0))
    model = observed_minus_computed(tracks, tracks.phase_m, products, settings, coarse)
    found = find_slips(tracks, model.phase_m, model.unit, model.elevation_rad).slip
    put_in = np.zeros(found.shape, bool)
    for slip in truth.slips:
        column = np.searchsorted(tracks.satellites, slip.satellite)
        put_in[np.searchsorted(tracks.time_ns, slip.time_ns), column] = True
    halves = sum(any(2 * c % 2 for c in slip.cycles) for slip in truth.slips)
    assert put_in.sum() > 300
    assert halves > 100
    # 97 %: the bar of the slips put into real observations
    assert found[put_in].mean() >= 0.97
    assert (found & ~put_in).sum() < 0.1 * put_in.sum()
