"""The noise of a series beside changes whose course is known only nearly.

What a fit of onset, length and form has taken up of the noise is missing in what it leaves: noise
fitted to that rest alone is too small, and noise fitted beside a course that is not yet the best
one too large. So what small changes of these numbers would do are regressors beside the course, and
the restricted likelihood counts them (the nonlinear model in its tangent plane: Seber & Wild 1989,
Nonlinear Regression, chapter 2, from memory).
"""

import numpy as np

from .fit import FORM_LOG_SIGMA, MEMORY_LOG_SIGMA, Changes
from .whitening import START, fitted_noise

# By how much numbers may be off: onset by length, logarithms of length and exponents; share at
# once, logarithm of the memory. They weigh directions; what does less than LEAST_M is left out.
OFF = (0.25, 0.5, FORM_LOG_SIGMA, FORM_LOG_SIGMA)  # choice
ICE_OFF = (0.3, MEMORY_LOG_SIGMA)  # choice
LEAST_M = 0.005  # m, root of the sum of squares over the rows: less than one row's noise; choice


def courses_of(series, numbers):
    """Return the courses (n, k) at the surface of changes, by numbers of :class:`~.fit.Changes`."""
    count = (len(numbers) - 2) // 4
    if not count:
        return np.zeros((len(series.day), 0))
    return Changes(series, START, count, (0, len(series.day))).courses(numbers)[:, 0]


def noise_beside(series, numbers, size):
    """Return the noise model of a series beside changes.

    Parameters
    ----------
    series : LakeSeries
    numbers : array (4 k + 2,)
        Of the changes, as :class:`~.fit.Changes` takes them.
    size : array (k,)
        Of the changes. [m]
    """
    columns = np.hstack([courses_of(series, numbers), _leeway(series, numbers, size)])
    return fitted_noise(series, columns)


def _leeway(series, numbers, size):
    """Return orthogonal columns (n, r): what the numbers' being off would do."""
    if not len(size):
        return np.zeros((len(series.day), 0))
    changes = Changes(series, START, len(size), (0, len(series.day)))
    move = changes.moves(numbers)
    away = np.vstack([numbers + np.diag(move), numbers - np.diag(move)])
    whole = changes.courses(away) @ np.asarray(size, float)
    off = np.tile(OFF, (len(size), 1))
    off[:, 0] *= np.exp(numbers[1:-2:4])
    off = np.append(off.ravel(), ICE_OFF)
    slope = (whole[:, : len(move)] - whole[:, len(move) :]) / (2.0 * move) * off
    side, strength, _ = np.linalg.svd(slope, full_matrices=False)
    return side[:, strength > LEAST_M]
