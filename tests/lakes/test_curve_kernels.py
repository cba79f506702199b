"""Courses in bulk, held to the incomplete beta function and the relaxation of single ones."""

import numpy as np
import pytest

from stakeline.lakes._curve_kernels import fill_courses
from stakeline.lakes.curve import ramp, relaxed

STEP_D = 0.125
ROWS = np.array([0, 1, 4, 5, 6, 30, 31, 80, 81, 119])


def drawn(count=6):
    rng = np.random.default_rng(1)
    onset = rng.uniform(-2.0, 12.0, (count, 2))
    length = np.exp(rng.uniform(np.log(0.2), np.log(40.0), (count, 2)))
    rise, fall = np.exp(rng.uniform(0.0, np.log(9.0), (2, count, 2)))
    rise[0], fall[0] = 1.0, 9.0  # an even beginning, a long end
    fall[1] = 1.0
    return onset, length, rise, fall, rng.random(count), rng.uniform(0.05, 20.0, count)


def test_courses_agree_with_single_ones():
    onset, length, rise, fall, at_once, memory = drawn()
    found = np.empty((len(ROWS), *onset.shape))
    fill_courses(2.0, STEP_D, onset, length, rise, fall, at_once, memory, ROWS, found)
    day = 2.0 + STEP_D * np.arange(ROWS[-1] + 1)
    for i in range(len(onset)):
        for k in range(2):
            roof = ramp((day - onset[i, k]) / length[i, k], rise[i, k], fall[i, k])
            late = relaxed(roof, STEP_D, memory[i])
            expected = at_once[i] * roof + (1.0 - at_once[i]) * late
            # tolerance: of the change, by Simpson's rule; 1e-4 of 1 m is far below any noise
            assert found[:, i, k] == pytest.approx(expected[ROWS], abs=2e-5)
