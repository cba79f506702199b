"""Axes of satellites, and how turning antennas change phases."""

import numpy as np

from stakeline.satellites.windup import phase_windup
from stakeline.simulate.antenna import body_axes, make_receiver_antenna, turning_cycles
from stakeline.simulate.sight import Antennas, look
from stakeline.simulate.sky import to_fixed

TURN = np.linspace(0.0, 2.0 * np.pi, 25)


def test_axes_are_right_handed_with_the_sun_on_the_x_side(world):
    position, _ = world.constellation.states(np.zeros((1, 48)))
    sun = world.sky.sun(np.zeros(1))[:, None]
    x, y, z = body_axes(position, sun)
    np.testing.assert_allclose(np.cross(x, y), z, atol=1e-12)
    assert np.abs(np.sum(y * sun, axis=2)).max() / np.linalg.norm(sun) < 1e-3  # panels on the Sun
    assert (np.sum(x * sun, axis=2) > 0.0).all()
    assert (np.sum(z * position, axis=2) < 0.0).all()


def test_a_turn_of_the_receiver_is_a_cycle():
    down = np.tile([0.0, 0.0, -1.0], (25, 1, 1))
    x, y = np.tile([1.0, 0.0, 0.0], (25, 1, 1)), np.tile([0.0, -1.0, 0.0], (25, 1, 1))
    east = np.stack([np.cos(TURN), np.sin(TURN), 0.0 * TURN], axis=1)[:, None]
    north = np.stack([-np.sin(TURN), np.cos(TURN), 0.0 * TURN], axis=1)[:, None]
    cycles = turning_cycles(down, x, y, east, north)[:, 0]
    # one turn about the line of sight is one wavelength: Wu et al. (1993)
    np.testing.assert_allclose(np.abs(cycles - cycles[0]), TURN / (2.0 * np.pi), atol=1e-12)


def test_voltage_and_effective_dipoles_agree(world, make_station):
    time_s = np.arange(0.0, 10800.0, 60.0)
    sight = look(world, make_station(), time_s)
    sight = sight.take(sight.elevation_rad > np.radians(5.0))
    at = time_s[sight.epoch]
    x, y, _ = body_axes(sight.satellite_m, world.sky.sun(at))
    ours = Antennas(world, sight, time_s).turning_cycles()
    axes = make_station().motion.place.axes[None]
    compared = 0
    for column in np.unique(sight.column):
        here = sight.column == column
        fixed = [to_fixed(v[here], at[here])[:, None] for v in (sight.satellite_m, x, y)]
        receiver = to_fixed(sight.receiver_m[here], at[here])
        every = np.broadcast_to(axes, (here.sum(), 3, 3))
        theirs = phase_windup(fixed[0], receiver, fixed[1], fixed[2], every)[:, 0]
        # Wu et al. (1993) as the estimator has it; constant parts are of no consequence
        difference = ours[here] - theirs
        assert np.ptp(difference - np.round(difference - difference[0])) < 2e-3, "0.4 mm"
        compared += here.sum() > 10
    assert compared > 15


def test_variations_are_millimetres_and_zero_up():
    antenna = make_receiver_antenna(np.random.default_rng(1), ("G1", "G2"))
    zenith, azimuth = np.meshgrid(np.linspace(0.0, 1.5, 20), TURN)
    values = antenna.variation_m("G1", zenith, azimuth)
    assert np.abs(values[:, 0]).max() < 1e-15
    assert 1e-4 < np.abs(values).max() < 0.012
