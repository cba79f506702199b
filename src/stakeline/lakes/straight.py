"""Coordinates in which a change is nearly straight: middle and width of its rate."""

import numpy as np


def straightened(numbers, count):
    """Return vectors (w, d) with the middle and the logarithm of the width of each change.

    They stand for onset and logarithm of the length: mean and sigma of the rate as a density in
    time (mean and variance of the beta distribution). The volume is kept: priors stay as they are.
    """
    return _exchanged(numbers, count, 1.0)


def bent(place, count):
    """Return the vectors of numbers (w, d) of straightened ones."""
    return _exchanged(place, count, -1.0)


def _exchanged(numbers, count, sign):
    found = np.array(numbers)
    for k in range(0, 4 * count, 4):
        first, log_size = found[:, k], found[:, k + 1]
        rise, fall = np.exp(found[:, k + 2]), np.exp(found[:, k + 3])
        both = rise + fall
        narrow = 0.5 * np.log(rise * fall / (both**2 * (both + 1.0)))
        log_length = log_size if sign > 0.0 else log_size - narrow
        found[:, k] = first + sign * np.exp(log_length) * rise / both
        found[:, k + 1] = log_size + sign * narrow
    return found
