"""The mean velocity of a record, and how well it is known under white and power-law noise.

The smoother's own mean, net travel over time, has the sigma of two positions: it says how far the
station went. Noise of weeks and years, which positions have and the smoother cannot tell from
motion, is in neither. Here a straight line is laid through means of the positions without tide,
with the steps, and what is left of **these** is taken as white and power-law noise: not what the
smoother leaves, from which everything slower than its resolution is gone.

Honest where the ice moves evenly, or for rock. Where its speed changes (seasons, floods,
acceleration), the change is in what is left: the index gets steep, ``uneven`` says so, and the
sigma tells how far the mean of one such record lies from that of others.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import DAYS_PER_YEAR, NS_PER_DAY
from ..errors import SolutionError
from ..inference.noise import NoiseFit, fit_noise

MOST_MEANS = 150  # a longer record gets means of more whole days; our choice: 30 ms an axis
LEAST_MEANS = 30  # our choice: fewer do not tell power-law noise
LEAST_SHARE = 0.5  # of the usual number of positions in a mean; our choice
SEASONS_FROM_YEARS = 1.5  # a, below which a season and a rate are one; our choice
STEEP = -1.5  # -, below: steeper than positions on rock, -0.4 to -1.3 in Williams et al. (2004),
# JGR 109, B03412, from memory; where to draw the line is our choice
SEEN_GAIN = 3.0  # log likelihood above white noise from which an index means something; ours


@dataclass(frozen=True)
class MeanRate:
    """Mean velocity of one axis under white and power-law noise.

    ``velocity_m_d`` and ``sigma_m_d`` are NaN where there is no fit, and ``why`` says why.
    ``noise``: the :class:`~stakeline.inference.noise.NoiseFit` [m, a] of ``means`` values
    ``interval_d`` apart.
    """

    velocity_m_d: float
    sigma_m_d: float
    noise: NoiseFit | None
    interval_d: float
    means: int
    why: str = ""

    @property
    def uneven(self):
        """Whether what is left is steeper than noise of positions: the speed itself changes."""
        noise = self.noise
        return bool(noise and noise.spectral_index < STEEP and noise.gain > SEEN_GAIN)


def mean_rate(time_ns, position_m, sigma_m, step_columns):
    """Return the :class:`MeanRate` of one axis.

    Parameters
    ----------
    time_ns, position_m, sigma_m : array (n,)
        Without tide; ascending and finite. [ns], [m]
    step_columns : array (n, k)
        Regressors of equipment steps, whose sizes are estimated beside the rate.

    Notes
    -----
    Weighted means of one day, or of as many whole days as leave at most 150; those with fewer than
    half the usual number of positions are left out. Regressors: a constant, the rate, the steps,
    and from 1.5 a on an annual wave.
    """
    days = max(1, int(np.ceil((time_ns[-1] - time_ns[0]) / NS_PER_DAY / MOST_MEANS)))
    values, columns = _means(time_ns, position_m, sigma_m, step_columns, days)
    present = int(np.isfinite(values).sum())
    if present < LEAST_MEANS:
        why = f"{present} daily means are too few to tell power-law noise; {LEAST_MEANS} are needed"
        return MeanRate(np.nan, np.nan, None, float(days), present, why)
    years = (np.arange(len(values)) - 0.5 * len(values)) * days / DAYS_PER_YEAR
    design = [np.ones_like(years), years]
    if np.ptp(years) >= SEASONS_FROM_YEARS:
        design += [np.cos(2.0 * np.pi * years), np.sin(2.0 * np.pi * years)]
    design = np.column_stack([*design, columns])
    origin = values[np.isfinite(values)][0]
    try:
        fit = fit_noise(values - origin, days / DAYS_PER_YEAR, design)
    except SolutionError as problem:
        return MeanRate(np.nan, np.nan, None, float(days), present, str(problem))
    rate, sigma = fit.coefficient[1], np.sqrt(fit.covariance[1, 1])
    return MeanRate(
        float(rate / DAYS_PER_YEAR), float(sigma / DAYS_PER_YEAR), fit, float(days), present
    )


def _means(time_ns, position_m, sigma_m, step_columns, days):
    """Return weighted means (m,), NaN where too little is there, and the steps' columns (m, k)."""
    place = (time_ns - time_ns[0]) // round(days * NS_PER_DAY)
    count = np.bincount(place)
    weight = sigma_m**-2.0
    total = np.bincount(place, weight)
    thin = count < LEAST_SHARE * np.median(count[count > 0])

    def mean(values, empty):
        sums = np.bincount(place, weight * values)
        return np.where(thin, empty, sums / np.where(total > 0.0, total, 1.0))

    columns = [mean(column, 0.0) for column in step_columns.T]
    return mean(position_m, np.nan), np.array(columns).reshape(len(columns), len(count)).T
