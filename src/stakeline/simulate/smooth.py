"""Random functions of time that are known at every instant, not only at nodes."""

import numpy as np
from scipy.interpolate import CubicSpline


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
            time_s = np.broadcast_to(time_s[:, None], (time_s.size, self.columns))
        steps = (time_s - self.first_s) / self.step_s
        index = np.clip(steps.astype(np.int64), 0, self._coefficients.shape[1] - 1)
        rest = (steps - index) * self.step_s
        cubic, square, slope, value = self._coefficients[:, index, np.arange(self.columns)]
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

    Autocorrelation exp(-t / memory_s) between nodes; shapes as in :func:`random_walk`.
    """
    count = int(np.ceil((last_s - first_s) / step_s)) + 2
    fresh = rng.standard_normal((count, columns))
    kept = np.exp(-step_s / memory_s)
    values = np.empty((count, columns))
    values[0] = fresh[0]
    for k in range(1, count):
        values[k] = kept * values[k - 1] + np.sqrt(1.0 - kept**2) * fresh[k]
    return Smooth(first_s, step_s, values * np.asarray(sigma))
