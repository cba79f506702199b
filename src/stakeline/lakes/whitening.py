"""The noise of a lake's series, and what makes it white.

White noise, one Gauss-Markov noise (hours to weeks) and a velocity that walks at random (what the
ice and the water do besides); fitted by maximum likelihood, the walk then set to its mean over what
the heights allow, taken out by the filter of :mod:`stakeline.motion.smoother`, linear in the number
of rows.
"""

from dataclasses import replace

import numpy as np

from ..motion import _kernels
from ..motion.likelihood import fit_model, thinned
from ..motion.smoother import MotionModel, log_likelihood

START = MotionModel(1e-8, np.inf, (0.006,), (2.0,), 1.0)
FREE = ("acceleration_m2_d3", "coloured_sigma_m", "coloured_memory_d", "white_scale")
ALONE_M, BESIDE_M = 0.0045, 0.002  # m, noise of days of a lake's mean, and less its controls: what
# flicker of 18 mm/a^0.25 (all stations of a region) and of 6 (a station's own; Williams et al.
# 2004, JGR 109, B03412, from memory) leaves over three e-folds of memory
LONG_MEMORY_D = 4.0  # d, of the same; choice
SAMPLES = 1200  # rows of a fit; choice
WALKS = 10.0 ** np.arange(-2.5, 2.6, 0.5)  # -, times the likeliest walk, at which its likelihood is
# asked; choice
STILL_M2_D3 = 1e-9  # m2/d3, of a walk that does 0.2 mm in a week: below, all are alike; choice
_COLUMNS = 256  # filtered at once; choice


class Whitener:
    """Turns columns at times (n,) into such that the noise in them is white of sigma 1."""

    def __init__(self, day, sigma_m, model):
        self.day = np.ascontiguousarray(day, float)
        self.model = model
        self.variance = (np.asarray(sigma_m, float) * model.white_scale) ** 2
        self.parameters = model.parameters()
        n, d = len(self.day), model.size
        self._steps, self._covs = np.zeros((n, 9)), np.zeros((n, d, d))
        self._gains, self._totals = np.zeros((n, d)), np.zeros(n)

    def __call__(self, table):
        """Return the whitened columns (n, c)."""
        table = np.asarray(table, float)
        parts = range(0, table.shape[1], _COLUMNS)
        return np.hstack([self._some(table[:, k : k + _COLUMNS]) for k in parts])

    def _some(self, table):
        n, c = table.shape
        d = self.model.size
        innovations = np.zeros((n, c))
        _kernels.filter_block(
            self.day, np.ascontiguousarray(table), self.variance, 0, n, self.parameters,
            np.zeros((d, c)), self.model.start_covariance(), self._steps, np.zeros((n, d, c)),
            self._covs, self._gains, innovations, self._totals,
        )  # fmt: skip
        return innovations / np.sqrt(self._totals)[:, None]


def fitted_noise(series, columns=None, start=START):
    """Return the :class:`~stakeline.motion.smoother.MotionModel` of a series' noise.

    ``columns`` (n, k): courses of the events known so far. The offset and the line of the series
    are the smoother's own. A record of months holds few turns of the walk: its likeliest size may
    be nil where the true one makes most of a change's sigma. The mean variance is taken instead,
    other numbers kept, beforehand even in the walk's standard deviation (Gelman 2006, Bayesian
    Analysis 1, 515, from memory): variances of changes are then right in the mean.
    """
    design = series.design[:, 2:]
    if columns is not None:
        design = np.hstack([design, columns])
    rows = (series.time_ns(series.day), series.up_m, series.sigma_m, design)
    start = replace(
        start,
        coloured_sigma_m=start.coloured_sigma_m[:1],
        coloured_memory_d=start.coloured_memory_d[:1],
    )
    model = fit_model(*rows[:3], start, design, free=FREE, samples=SAMPLES).model
    model = _with_mean_walk(model, *thinned(*rows, SAMPLES)[:4])
    return with_long_noise(model, BESIDE_M if series.beside_m.any() else ALONE_M)


def _with_mean_walk(model, time_ns, up_m, sigma_m, design):
    """Return the model with the mean variance of its walk, the rest as it is."""
    walk = max(model.acceleration_m2_d3, STILL_M2_D3) * WALKS
    each = [replace(model, acceleration_m2_d3=float(one)) for one in walk]
    log = np.array([log_likelihood(time_ns, up_m, sigma_m, one, design) for one in each])
    weight = np.exp(log - log.max()) * np.sqrt(walk)  # even in the root, at even logarithms
    return replace(model, acceleration_m2_d3=float(weight @ walk / weight.sum()))


def with_long_noise(model, sigma_m):
    """Return the model with noise of days beside its own, which a short record cannot tell."""
    return replace(
        model,
        coloured_sigma_m=(*model.coloured_sigma_m, sigma_m),
        coloured_memory_d=(*model.coloured_memory_d, LONG_MEMORY_D),
    )


def taken_out(base, columns):
    """Return (orthonormal base of ``base`` (n, p), columns without it)."""
    q, _ = np.linalg.qr(base)
    return q, columns - q @ (q.T @ columns)
