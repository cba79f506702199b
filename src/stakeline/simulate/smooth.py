"""Random functions of time that are known at every instant, not only at nodes."""

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.signal import lfilter


class Smooth:
    """Cubic spline through even nodes, one column for each of several quantities.

    Parameters
    ----------
    first_s, step_s : float
        First node and distance of nodes. [s]
    values : array, shape (nodes, m)
        Values at the nodes.
    """

    def __init__(self, first_s, step_s, values):
        values = np.asarray(values, float)
        self.first_s, self.step_s, self.columns = first_s, step_s, values.shape[1]
        node_s = first_s + step_s * np.arange(len(values))
        self._coefficients = CubicSpline(node_s, values).c

    def __call__(self, time_s):
        """Return values at times: (n,) gives (n, m); (n, m) takes each column at its own times."""
        time_s = np.asarray(time_s, float)
        if time_s.ndim == 1:
            index, rest = self._place(time_s)
            return _polynomial(self._coefficients[:, index], rest[:, None])
        return self.at(time_s, np.arange(self.columns))

    def at(self, time_s, column):
        """Return values at times of one column each; shapes are broadcast."""
        index, rest = self._place(np.asarray(time_s, float))
        return _polynomial(self._coefficients[:, index, column], rest)

    def _place(self, time_s):
        """Return the piece that holds each time and the time since its node. [s]"""
        steps = (time_s - self.first_s) / self.step_s
        index = np.clip(steps.astype(np.int64), 0, self._coefficients.shape[1] - 1)
        return index, (steps - index) * self.step_s


def _polynomial(coefficients, rest):
    cubic, square, slope, value = coefficients
    return ((cubic * rest + square) * rest + slope) * rest + value


def random_walk(rng, first_s, last_s, step_s, columns, rate):
    """Return a :class:`Smooth` random walk that starts at 0.

    Parameters
    ----------
    rng : numpy.random.Generator
    first_s, last_s, step_s : float
        Span and distance of nodes. [s]
    columns : int
    rate : float or array, shape (columns,)
        Standard deviation after one second. [unit/sqrt(s)]
    """
    count = int(np.ceil((last_s - first_s) / step_s)) + 2
    steps = rng.standard_normal((count, columns)) * np.asarray(rate) * np.sqrt(step_s)
    steps[0] = 0.0
    return Smooth(first_s, step_s, np.cumsum(steps, axis=0))


def gauss_markov(rng, first_s, last_s, step_s, columns, sigma, memory_s):
    """Return a :class:`Smooth` stationary process of given sigma and correlation time.

    Autocorrelation exp(-t / memory_s) between nodes, shapes as in :func:`random_walk`; several
    memories share the variance evenly.
    """
    count = int(np.ceil((last_s - first_s) / step_s)) + 2
    memories = np.atleast_1d(memory_s)
    values = np.zeros((count, columns))
    for kept in np.exp(-step_s / memories):
        fresh = rng.standard_normal((count, columns))
        fresh[1:] *= np.sqrt(1.0 - kept**2)
        values += lfilter([1.0], [1.0, -kept], fresh, axis=0)
    return Smooth(first_s, step_s, values * (np.asarray(sigma) / np.sqrt(memories.size)))
