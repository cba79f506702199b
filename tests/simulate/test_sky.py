"""Sun, Moon and the turning Earth."""

import numpy as np

from stakeline.constants import ASTRONOMICAL_UNIT_M
from stakeline.earth.sun_moon import sun_moon
from stakeline.simulate.sky import make_sky, to_fixed, to_unturned
from stakeline.time import from_calendar

START_NS = from_calendar(2031, 7, 12)
TIME_S = np.arange(0.0, 86400.0, 3600.0)


def test_turning_there_and_back():
    vectors = np.random.default_rng(1).normal(size=(24, 3))
    back = to_fixed(to_unturned(vectors, TIME_S), TIME_S)
    np.testing.assert_allclose(back, vectors, atol=1e-14)
    np.testing.assert_array_equal(to_fixed(vectors[:1], np.zeros(1)), vectors[:1])


def test_sun_in_july_is_far_and_high():
    sun = make_sky(START_NS, 86400.0).sun(TIME_S)
    distance = np.linalg.norm(sun, axis=1)
    # 1.0165 au on 12 July and a declination of 21.9 deg: almanac values, from memory
    assert np.abs(distance / ASTRONOMICAL_UNIT_M - 1.0165).max() < 2e-4
    assert np.abs(np.degrees(np.arcsin(sun[:, 2] / distance)) - 21.9).max() < 0.2


def test_sun_and_moon_are_where_the_estimator_has_them():
    sky = make_sky(START_NS, 86400.0)
    time_ns = START_NS + (TIME_S * 1e9).astype(np.int64)
    for ours, theirs in zip((sky.sun, sky.moon), sun_moon(time_ns, None), strict=True):
        fixed = to_fixed(ours(TIME_S), TIME_S)
        angle = np.linalg.norm(fixed - theirs, axis=1) / np.linalg.norm(theirs, axis=1)
        assert angle.max() < 5e-4  # rad: aberration (1e-4) and the Earth's precise rotation
