"""Motion of a marker: every part by its own law."""

import numpy as np

from stakeline.simulate.motion import M2_S, Motion, Uplift


def test_flow_has_its_speed_and_direction(place):
    motion = Motion(place, 1.1, np.radians(62.0), slope=0.0)
    start, end = motion.displacement_m(np.array([0.0, 86400.0]))
    np.testing.assert_allclose(start, 0.0, atol=1e-12)
    level = end[:2] - start[:2]
    assert abs(np.hypot(*level) - 1.1) < 1e-12
    assert abs(np.degrees(np.arctan2(level[0], level[1])) - 62.0) < 1e-9


def test_flow_is_fastest_in_the_evening(place):
    time_s = np.arange(0.0, 86400.0, 600.0)
    along = Motion(place, 1.0, 0.0, daily_share=0.2).displacement_m(time_s)[:, 1]
    speed = np.gradient(along, time_s) * 86400.0
    assert abs(time_s[np.argmax(speed)] / 3600.0 - 18.0) < 0.5
    assert abs(speed.max() - 1.2) < 1e-3


def test_tide_comes_back_after_its_period(place):
    tide = Motion(place, 0.0, tide_m=0.3, tide_phase_rad=0.0, slope=0.0)
    high, low = tide.displacement_m(np.array([0.0, M2_S / 2.0]))[:, 2]
    assert abs(high - 0.4) < 1e-12  # M2 and a third of S2 in phase
    assert low < -0.38


def test_uplift_rises_to_its_height_and_falls_to_half():
    uplift = Uplift(0.3, 3600.0, 7200.0, 3600.0)
    height = uplift(np.array([0.0, 3600.0, 7200.0, 10800.0, 1e6]))
    np.testing.assert_allclose(height, [0.0, 0.0, 0.15, 0.3, 0.15], atol=1e-12)


def test_a_step_stays(place):
    motion = Motion(place, 0.0, steps=((100.0, 0.1, 0.0, -0.2),))
    moved = motion.displacement_m(np.array([99.0, 100.0, 200.0]))
    np.testing.assert_allclose(moved, [[0, 0, 0], [0.1, 0, -0.2], [0.1, 0, -0.2]], atol=1e-15)


def test_positions_are_displacements_on_the_ground(place):
    motion = Motion(place, 1.1, 0.5)
    time_s = np.array([0.0, 5e4])
    local = (motion.position_m(time_s) - place.position_m) @ place.axes.T
    np.testing.assert_allclose(local, motion.displacement_m(time_s), atol=1e-8)
