"""White and power-law noise of an evenly sampled series, and what they do to a rate.

Power-law noise has a spectrum ``f ** index``: index 0 is white, -1 flicker, -2 a random walk. Its
amplitude is that of Williams (2003), J. Geod. 76, 483: the innovations of the fractional
difference have the sigma ``power_sigma * interval ** (-index / 4)``, so that ``power_sigma`` has
the unit [value / time ** (-index / 4)], such as mm/a^0.25 for flicker. **Two traps.** Flicker of
the logarithmic covariance (Zhang et al. 1997; Mao et al. 1999) has an amplitude in [value]; the
same number in the two definitions is not the same noise. And a flicker amplitude belongs to the
interval at which it was estimated: the level of its spectrum goes as ``sqrt(interval)``.
"""

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from scipy.linalg import cho_factor, cho_solve
from scipy.optimize import minimize, minimize_scalar
from scipy.special import expit, gamma

from ..errors import SettingsError, SolutionError

FLICKER = -1.0
RANDOM_WALK = -2.0
DEFINITIONS = ("fractional", "logarithmic")
STEEPEST, FLATTEST = -2.95, -0.05  # -, range of a free spectral index; our choice
WIDEST_LOGIT = 18.0  # -, the share of power-law noise lies within 1.5e-8 of 0 and 1; our choice


@dataclass(frozen=True)
class NoiseFit:
    """White and power-law noise, and the regression estimated with them.

    ``white_sigma`` [value]; ``power_sigma`` [value / time^(-index/4)], fractional definition, at
    ``interval`` [time]; ``coefficient`` (p,) of the design with its ``covariance`` (p, p);
    ``gain`` is the log likelihood above that of white noise alone; ``at_bound`` tells that the
    index or the share of a component ran against its limit; ``evaluations`` of the likelihood.
    """

    white_sigma: float
    power_sigma: float
    spectral_index: float
    interval: float
    coefficient: np.ndarray
    covariance: np.ndarray
    log_likelihood: float
    gain: float
    at_bound: bool
    evaluations: int


def fractional_weights(spectral_index, n):
    """Return the n first weights (n,) by which white noise becomes power-law noise.

    Hosking (1981), Biometrika 68, 165, section 2: ``h_0 = 1``, ``h_i = h_(i-1) (i - 1 - index/2)
    / i``.
    """
    i = np.arange(1, n)
    return np.concatenate([[1.0], np.cumprod((i - 1.0 - spectral_index / 2.0) / i)])[:n]


def power_law_covariance(spectral_index, n, interval=1.0):
    """Return the covariance (n, n) of power-law noise of unit amplitude that starts at sample 0.

    Williams (2003), equations 8-11; Bos et al. (2008), J. Geod. 82, 157, section 2. Unit: that of
    ``interval`` to the power ``-index/2``. Costs n^2.
    """
    weight = fractional_weights(spectral_index, n)
    later = sliding_window_view(np.concatenate([weight, np.zeros(n - 1)]), n)
    along = np.cumsum(later * weight, axis=1)  # by lag, from the first row on
    row = np.arange(n)
    covariance = along[np.abs(row[:, None] - row), np.minimum(row[:, None], row)]
    return covariance * interval ** (-spectral_index / 2.0)


def logarithmic_flicker_covariance(n):
    """Return the covariance (n, n) of flicker noise of unit amplitude by the older definition.

    Zhang et al. (1997), J. Geophys. Res. 102, 18035; Mao et al. (1999), J. Geophys. Res. 104,
    2797: ``(3/4)^2 2`` on the diagonal, ``(3/4)^2 (2 - (ln(lag)/ln 2 + 2)/12)`` beside it.
    """
    lag = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    beside = 2.0 - (np.log2(np.maximum(lag, 1)) + 2.0) / 12.0
    return 0.5625 * np.where(lag == 0, 2.0, beside)


def white_rate_sigma(sigma, interval, n):
    """Return the sigma of a rate under white noise, exactly. [value/time]

    Williams (2003), equation 23: ``sqrt(12) sigma / (interval sqrt(n^3 - n))``.
    """
    _need_samples(n)
    return np.sqrt(12.0 / (float(n) ** 3 - n)) * sigma / interval


def random_walk_rate_sigma(walk_sigma, interval, n):
    """Return the sigma of a rate under a random walk [value/sqrt(time)], exactly. [value/time]

    Williams (2003), equation 25: ``walk_sigma / sqrt(interval (n - 1))``.
    """
    _need_samples(n)
    return walk_sigma / np.sqrt(interval * (n - 1.0))


def flicker_rate_sigma(flicker_sigma, interval, n, *, definition):
    """Return the sigma of a rate under flicker noise. [value/time]

    Parameters
    ----------
    flicker_sigma : float
        Amplitude: [value/time^0.25] where ``definition`` is ``fractional``, [value] where it is
        ``logarithmic``. There is no default: mixing them makes rates look almost twice as good.
    interval : float
        Sampling interval. [time]
    n : int
        Number of samples.
    definition : str
        ``fractional``: Bos et al. (2008): noise that began long before the series; 13-15 % above
        the noise that starts with it (1-5 years of daily data).
        ``logarithmic``: ``0.75 sigma / (interval sqrt(n^2 - 1))``, Williams (2003), 2 % high.
    """
    _need_samples(n)
    if definition == "fractional":
        return power_law_rate_sigma(flicker_sigma, FLICKER, interval, n)
    if definition == "logarithmic":
        return 0.75 * flicker_sigma / (interval * np.sqrt(float(n) ** 2 - 1.0))
    known = ", ".join(DEFINITIONS)
    raise SettingsError(f"definition of flicker noise is '{definition}'; known are {known}")


def power_law_rate_sigma(power_sigma, spectral_index, interval, n):
    """Return the approximate sigma of a rate under power-law noise. [value/time]

    Bos et al. (2008), equation of the general index (from memory), with k = -index:
    ``var = s^2 interval^(k/2 - 2) G(3-k) G(4-k) (n-1)^(k-3) / G(2-k/2)^2``. Exact for a random
    walk, near for white noise (n^3 - n against (n-1)^3); use :func:`rate_sigma` where it matters.
    """
    _need_samples(n)
    k = -spectral_index
    if not 0.0 <= k < 3.0:
        raise SettingsError(f"spectral index is {spectral_index}; the formula holds in (-3, 0]")
    factor = gamma(3.0 - k) * gamma(4.0 - k) / gamma(2.0 - k / 2.0) ** 2
    variance = factor * interval ** (k / 2.0 - 2.0) * (n - 1.0) ** (k - 3.0)
    return power_sigma * np.sqrt(variance)


def rate_sigma(covariance, interval):
    """Return the sigma of a rate under any covariance (n, n), by generalised least squares.

    Costs n^3 / 3. Unit: that of the root of the covariance per time.
    """
    n = len(covariance)
    _need_samples(n)
    line = np.stack([np.ones(n), interval * (np.arange(n) - 0.5 * (n - 1))], axis=1)
    normal = line.T @ cho_solve(cho_factor(covariance, lower=True), line)
    return float(np.sqrt(np.linalg.inv(normal)[1, 1]))


def flicker_memories(flicker_sigma, interval, shortest, longest, per_decade=3):
    """Return (sigmas (m,), memories (m,)) of Gauss-Markov processes that add up to flicker noise.

    Between frequencies ``1/longest`` and ``1/shortest`` the sum has the two-sided spectrum of
    fractional flicker noise, ``flicker_sigma^2 sqrt(interval) / (2 pi f)``: processes of equal
    variance ``step flicker_sigma^2 sqrt(interval) / pi``, ``step`` the spacing of the logarithms
    of their memories, by the integral of ``2 memory / (1 + (2 pi f memory)^2)``.
    """
    if not 0.0 < shortest < longest:
        raise SettingsError(f"memories from {shortest} to {longest}: expected 0 < first < last")
    count = max(2, round(per_decade * np.log10(longest / shortest)) + 1)
    memory = np.geomspace(shortest, longest, count)
    step = np.log(longest / shortest) / (count - 1)
    variance = step * flicker_sigma**2 * np.sqrt(interval) / np.pi
    return np.full(count, np.sqrt(variance)), memory


def fit_noise(values, interval, design=None, spectral_index=None):
    """Estimate white and power-law noise of an evenly sampled series that may have gaps.

    Parameters
    ----------
    values : array (n,)
        One value each ``interval``; NaN is a gap. n up to about 3000: average before.
    interval : float
        Sampling interval; rates and amplitudes use its unit. [time]
    design : array (n, p), optional
        Regressors estimated with the noise; a constant and a rate (per time) where none is given.
    spectral_index : float, optional
        Fixes the index (:data:`FLICKER`); estimated in (-2.95, -0.05) where none is given.

    Returns
    -------
    NoiseFit

    Raises
    ------
    SolutionError
        Fewer than p + 8 values, or regressors that cannot be told apart.

    Notes
    -----
    Restricted maximum likelihood (Patterson & Thompson 1971, Biometrika 58, 545), so that the
    regressors do not take noise away, over the share of power-law noise and the index; the level
    follows in closed form. Each trial factors the covariance of the values present (Bos et al.
    2008): n^3/3 operations, some 25 trials with the index fixed, some 80 with it free.
    """
    values, design = _checked(values, interval, design)
    present = np.isfinite(values)
    y, a = values[present], design[present]
    trial = _Trials(y, a, present, interval)
    if spectral_index is None:
        share, index = _search_both(trial)
    else:
        share, index = _search_share(trial, float(spectral_index)), float(spectral_index)
    return trial.report(share, index, free=spectral_index is None)


class _Trials:
    """The restricted likelihood as a function of (logit of the share, index)."""

    def __init__(self, y, a, present, interval):
        self.y, self.a, self.present, self.interval = y, a, present, interval
        self.count, self._index, self._unit = 0, None, None

    def unit(self, index):
        """Covariance of power-law noise with unit innovations, of the values present."""
        if index != self._index:
            whole = power_law_covariance(index, len(self.present))
            self._unit = whole[np.ix_(self.present, self.present)]
            self._index = index
        return self._unit

    def solve(self, logit, index):
        """Return (-2 log likelihood, level, coefficients, their covariance)."""
        self.count += 1
        share = expit(logit)
        covariance = share * self.unit(index)
        covariance.flat[:: len(self.y) + 1] += expit(-logit)
        return _restricted(covariance, self.y, self.a)

    def report(self, logit, index, free):
        """Return the :class:`NoiseFit` of one pair."""
        twice, level, coefficient, covariance = self.solve(logit, index)
        white_only = _restricted(np.eye(len(self.y)), self.y, self.a)[0]
        at_bound = abs(logit) > WIDEST_LOGIT - 0.5
        at_bound |= free and not STEEPEST + 0.02 < index < FLATTEST - 0.02
        return NoiseFit(
            white_sigma=float(np.sqrt(level * expit(-logit))),
            power_sigma=float(np.sqrt(level * expit(logit)) * self.interval ** (index / 4.0)),
            spectral_index=float(index),
            interval=float(self.interval),
            coefficient=coefficient,
            covariance=covariance,
            log_likelihood=-0.5 * twice,
            gain=0.5 * (white_only - twice),
            at_bound=bool(at_bound),
            evaluations=self.count,
        )


def _restricted(covariance, y, a):
    """Return (-2 log restricted likelihood, level, coefficients, covariance of these)."""
    free = len(y) - a.shape[1]
    factor = cho_factor(covariance, lower=True, overwrite_a=True)
    solved = cho_solve(factor, a)
    normal = a.T @ solved
    coefficient = np.linalg.solve(normal, solved.T @ y)
    residual = y - a @ coefficient
    level = float(residual @ cho_solve(factor, residual)) / free
    level = max(level, np.finfo(float).tiny)
    twice = 2.0 * np.log(np.diag(factor[0])).sum() + np.linalg.slogdet(normal)[1]
    twice += free * (np.log(2.0 * np.pi * level) + 1.0)
    return float(twice), level, coefficient, level * np.linalg.inv(normal)


def _search_share(trial, index):
    """Return the logit of the best share at a fixed index: a coarse grid, then its best cell."""
    grid = np.linspace(-WIDEST_LOGIT, WIDEST_LOGIT, 10)
    found = [trial.solve(u, index)[0] for u in grid]
    best = int(np.argmin(found))
    bounds = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]
    options = {"xatol": 0.02}
    inner = minimize_scalar(
        lambda u: trial.solve(u, index)[0], bounds=bounds, method="bounded", options=options
    )
    return float(inner.x) if inner.fun < found[best] else float(grid[best])


def _search_both(trial):
    """Return (logit of the share, index) of the largest likelihood, from the better of 3 starts."""
    starts = [(u, k) for k in (-0.6, -1.0, -1.8) for u in (-6.0, 0.0, 6.0)]
    best = min(starts, key=lambda start: trial.solve(*start)[0])
    found = minimize(
        lambda x: trial.solve(x[0], x[1])[0],
        best,
        method="Nelder-Mead",
        bounds=[(-WIDEST_LOGIT, WIDEST_LOGIT), (STEEPEST, FLATTEST)],
        options={
            "xatol": 0.01,
            "fatol": 0.01,
            "initial_simplex": [best, (best[0] + 2, best[1]), (best[0], best[1] + 0.3)],
        },
    )
    return float(found.x[0]), float(found.x[1])


def _checked(values, interval, design):
    """Return values (n,) and design (n, p), refused where no fit is possible."""
    values = np.asarray(values, float)
    if values.ndim != 1 or not interval > 0.0:
        raise SettingsError(
            f"values of shape {values.shape} each {interval}; expected one row of values and a "
            "positive interval"
        )
    n = len(values)
    if design is None:
        design = np.stack([np.ones(n), interval * (np.arange(n) - 0.5 * (n - 1))], axis=1)
    design = np.asarray(design, float)
    if design.ndim != 2 or len(design) != n or not np.isfinite(design).all():
        raise SettingsError(f"design of shape {design.shape}; expected finite ({n}, p)")
    present = np.isfinite(values)
    needed = design.shape[1] + 8
    if present.sum() < needed:
        raise SolutionError(
            f"{present.sum()} values present; the noise of a series with {design.shape[1]} "
            f"regressors needs {needed}"
        )
    if np.linalg.matrix_rank(design[present]) < design.shape[1]:
        raise SolutionError("the regressors cannot be told apart where values are present")
    return values, design


def _need_samples(n):
    if n < 3:
        raise SolutionError(f"{n} samples; the sigma of a rate needs at least 3")
