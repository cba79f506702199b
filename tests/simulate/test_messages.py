"""Navigation messages of the invented satellites: near the truth by the estimator's formula."""

import numpy as np
import pytest

from stakeline.formats.rinex_nav import parse_navigation, write_navigation
from stakeline.satellites.broadcast import broadcast_clocks, broadcast_orbits, choose_messages
from stakeline.simulate.messages import KINDS, USUAL, messages_of, phase_centres
from stakeline.simulate.products import PERFECT
from stakeline.simulate.sky import to_fixed

SPAN_NS = 3 * 3600 * 10**9


def messages(world, imperfection, seed=2):
    start_ns = world.sky.start_ns
    rng = np.random.default_rng(seed)
    return messages_of(world, rng, start_ns, start_ns + SPAN_NS, imperfection)


def compared(world, broadcast):
    """Return (errors of orbits [m], of clocks [s]) by system, each (n, k)."""
    time_ns = world.sky.start_ns + np.arange(0, SPAN_NS, 600 * 10**9)
    time_s = (time_ns - world.sky.start_ns) / 1e9
    satellites = world.constellation.satellites
    position, _, choices = broadcast_orbits(broadcast, satellites, time_ns, world.sky.start_ns)
    found = to_fixed(position, time_s[:, None])
    sent_ns = np.broadcast_to(time_ns[:, None], position.shape[:2])
    clock = broadcast_clocks(broadcast, satellites, sent_ns, choices)[0]
    clock = clock - world.clocks.bias_s(time_s)
    errors = {}
    for letter in KINDS:
        columns = np.flatnonzero(world.letters == letter)
        away = found[:, columns] - phase_centres(world, columns, time_s)
        errors[letter] = np.linalg.norm(away, axis=2), clock[:, columns]
    return errors


def test_a_fit_without_errors_is_the_true_orbit_to_decimetres(world):
    for orbit, clock in compared(world, messages(world, PERFECT)).values():
        assert np.isfinite(orbit).all()
        # fits of broadcast elements are good to 0.35 m: IS-GPS-200N, table 20-XI, for four hours
        assert orbit.max() < 0.35
        assert np.abs(clock).max() < 0.5e-9


def test_errors_are_those_of_broadcast_messages(world):
    for orbit, clock in compared(world, messages(world, USUAL)).values():
        # a metre of orbit, 1.5 ns of clock: the sizes asked for
        assert 0.6 < np.sqrt(np.mean(orbit**2)) < 1.5
        assert orbit.max() < 2.5
        assert 1.0e-9 < clock.std() < 2.2e-9


def test_messages_cover_the_span_and_repeat_by_seed(world):
    one, same, other = (messages(world, USUAL, seed) for seed in (2, 2, 3))
    assert write_navigation(one) == write_navigation(same) != write_navigation(other)
    ends = world.sky.start_ns + np.array([0, SPAN_NS])
    assert (choose_messages(one.kepler, world.constellation.satellites, ends) >= 0).all()
    for letter, (kind, every_s, _, _) in KINDS.items():
        here = one.kepler.kind == kind
        first = one.kepler.satellites == world.constellation.satellites[world.letters == letter][0]
        toe_ns = one.kepler.time_of_ephemeris_ns[here & first]
        assert set(np.diff(toe_ns)) == {every_s * 10**9}


def test_the_file_holds_the_messages(world):
    broadcast = messages(world, USUAL)
    again = parse_navigation(write_navigation(broadcast))
    assert again.passed_over == ()
    np.testing.assert_array_equal(again.kepler.satellites, broadcast.kepler.satellites)
    np.testing.assert_allclose(again.kepler.values, broadcast.kepler.values, rtol=6e-13, atol=1e-30)
    assert again.leap_seconds == 18
    orbit = [compared(world, b)["G"][0] for b in (broadcast, again)]
    assert np.abs(orbit[1] - orbit[0]).max() < 1e-3  # thirteen digits


@pytest.mark.parametrize("name", ["cuc", "cus", "cic", "cis", "crc", "crs"])
def test_harmonic_corrections_stay_small(world, name):
    kepler = messages(world, USUAL).kepler
    size = np.abs(kepler.values[:, kepler.columns.index(name)]).max()
    # 16 bits: 2^-29 x 32768 = 6.1e-5 rad, 2^-5 x 32768 = 1024 m; IS-GPS-200N, table 20-III
    assert size < (1024.0 if name.startswith("cr") else 6.1e-5)
