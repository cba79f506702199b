"""The noise of a lake's series, and what makes it white.

White noise, one Gauss-Markov noise (hours to weeks) and a velocity that walks at random (what the
ice and the water do besides); fitted by maximum likelihood, taken out by the filter of
:mod:`stakeline.motion.smoother`, linear in the number of rows.
"""

from dataclasses import replace

import numpy as np

from ..motion import _kernels
from ..motion.likelihood import fit_model
from ..motion.smoother import MotionModel

START = MotionModel(1e-8, np.inf, (0.006,), (2.0,), 1.0)
FREE = ("acceleration_m2_d3", "coloured_sigma_m", "coloured_memory_d", "white_scale")
ALONE_M, BESIDE_M = 0.0045, 0.002  # m, noise of days of a lake's mean, and less its controls: what
# flicker of 18 mm/a^0.25 (all stations of a region) and of 6 (a station's own; Williams et al.
# 2004, JGR 109, B03412, from memory) leaves over three e-folds of memory
LONG_MEMORY_D = 4.0  # d, of the same; choice
SAMPLES = 1200  # rows of a fit; choice
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
    are the smoother's own.
    """
    design = series.design[:, 2:]
    if columns is not None:
        design = np.hstack([design, columns])
    time_ns = series.time_ns(series.day)
    start = replace(
        start,
        coloured_sigma_m=start.coloured_sigma_m[:1],
        coloured_memory_d=start.coloured_memory_d[:1],
    )
    fit = fit_model(time_ns, series.up_m, series.sigma_m, start, design, free=FREE, samples=SAMPLES)
    return with_long_noise(fit.model, BESIDE_M if series.beside_m.any() else ALONE_M)


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
