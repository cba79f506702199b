"""Functions of time that never overshoot their nodes and whose integral is exact."""

import numpy as np
from scipy.interpolate import PchipInterpolator


class Course:
    """Monotone cubic through even nodes (Fritsch & Carlson 1980, SIAM J. Numer. Anal. 17, 238).

    The value stays between its two neighbours, so that what is positive at the nodes is positive
    everywhere; the slope is continuous; the integral is that of the same cubics.

    Parameters
    ----------
    first_s, step_s : float
        First node and distance of nodes. [s]
    values : array, shape (nodes,)
        Beyond the first and last node the end values hold.
    """

    def __init__(self, first_s, step_s, values):
        values = np.asarray(values, float)
        self.first_s, self.step_s, self._values = first_s, step_s, values
        # in steps rather than seconds: all coefficients have the size of the values
        self._cubic = PchipInterpolator(np.arange(len(values)), values).c
        pieces = self._cubic.T @ (1.0 / np.arange(4.0, 0.0, -1.0))
        self._sum = np.concatenate([[0.0], np.cumsum(pieces)])

    @property
    def last_s(self):
        """Time of the last node. [s]"""
        return self.first_s + self.step_s * (len(self._values) - 1)

    def _locate(self, time_s):
        steps = (np.asarray(time_s, float) - self.first_s) / self.step_s
        inside = np.clip(steps, 0.0, len(self._values) - 1.0)
        index = np.minimum(inside.astype(np.int64), len(self._values) - 2)
        return steps, inside, index, inside - index

    def __call__(self, time_s):
        """Return the values at times, in the shape of the times."""
        _, _, index, x = self._locate(time_s)
        a, b, c, d = self._cubic[:, index]
        return ((a * x + b) * x + c) * x + d

    def integral(self, time_s):
        """Return the integral from ``time_s = 0`` to the times. [unit s]"""
        return self._integral(time_s) - self._integral(0.0)

    def _integral(self, time_s):
        steps, inside, index, x = self._locate(time_s)
        a, b, c, d = self._cubic[:, index]
        piece = (((a * x / 4.0 + b / 3.0) * x + c / 2.0) * x + d) * x
        beyond = np.where(steps < 0.0, self._values[0], self._values[-1]) * (steps - inside)
        return (self._sum[index] + piece + beyond) * self.step_s


def course_of(function, first_s, last_s, step_s):
    """Return the :class:`Course` of a function of times (n,) -> (n,) over a span."""
    count = int(np.ceil((last_s - first_s) / step_s)) + 2
    return Course(first_s, step_s, function(first_s + step_s * np.arange(count)))
