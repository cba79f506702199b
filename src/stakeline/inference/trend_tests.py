"""Is there a trend, or a step? Rank tests, and what a memory does to them.

A trend test is fooled by a step and a test of a step by a trend: both say that a series changed,
none that it changed in the way of its name.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm, rankdata

from ..errors import SettingsError, SolutionError
from .memory import effective_size, lag_one_correlation

LEAST_VALUES = 4  # our choice: below, no S is beyond 5 %
SIGNIFICANT = 1.959964  # of a rank autocorrelation to count, Hamed & Rao (1998): 95 %


@dataclass(frozen=True)
class RankTrend:
    """Trend test of Mann (1945) and Kendall (1975).

    ``s`` and its ``variance``, ``z`` continuity-corrected, two-sided ``p``; ``tau`` without and
    ``tau_ties`` with correction for ties (tau-a, tau-b); ``slope`` of Sen with its ``interval``
    (2,) [value/time]; ``inflation`` of the variance for memory (1: none asked for).
    """

    s: int
    variance: float
    z: float
    p: float
    tau: float
    tau_ties: float
    slope: float
    interval: np.ndarray
    inflation: float


@dataclass(frozen=True)
class Step:
    """The most likely single change of level, after value number ``after`` (counted from 1).

    ``means`` (2,), ``variances`` (2,) by maximum likelihood; ``f`` of the step were its place
    known, ``cusum`` the largest scaled cumulative sum and ``p_cusum``; ``k`` of Pettitt and its
    approximate ``p``; ``effective`` number of values left by the memory that stays after the step.
    """

    after: int
    means: np.ndarray
    variances: np.ndarray
    f: float
    cusum: float
    p_cusum: float
    k: int
    p: float
    effective: float


def mann_kendall(values, time=None, memory="none", level=0.95):
    """Return the :class:`RankTrend` of a series.

    Parameters
    ----------
    values : array (n,)
        NaN is left out. [value]
    time : array (n,), optional
        The number of the sample where none is given. [time]
    memory : str
        ``none``; ``ranks``: variance inflated by the significant autocorrelations of the ranks
        without trend (Hamed & Rao 1998, J. Hydrol. 204, 182, equations 10-12; even spacing);
        ``lag one``: by n over the effective size of the series without Sen's line.
    level : float
        Of the interval of the slope (Sen 1968, J. Am. Stat. Assoc. 63, 1379).
    """
    values = np.asarray(values, float)
    time = np.arange(float(len(values))) if time is None else np.asarray(time, float)
    if values.ndim != 1 or time.shape != values.shape or not (np.diff(time) > 0.0).all():
        raise SettingsError(f"time {time.shape}, values {values.shape}; expected equal, ascending")
    keep = np.isfinite(values)
    y, t = values[keep], time[keep]
    _refuse_short(y)
    n, (i, j) = len(y), np.triu_indices(len(y), 1)
    s = int(np.sign(y[j] - y[i]).sum())
    ties = np.unique(y, return_counts=True)[1].astype(float)
    variance = (
        n * (n - 1.0) * (2 * n + 5.0) - (ties * (ties - 1.0) * (2 * ties + 5.0)).sum()
    ) / 18.0
    slopes = np.sort((y[j] - y[i]) / (t[j] - t[i]))
    slope = float(np.median(slopes))
    inflation = _inflation(values - slope * time, memory)
    variance *= inflation
    z = (s - np.sign(s)) / np.sqrt(variance)
    pairs, tied = n * (n - 1) / 2.0, (ties * (ties - 1.0)).sum() / 2.0
    reach = norm.ppf(0.5 + 0.5 * level) * np.sqrt(variance)
    rank = np.array([(len(slopes) - reach) / 2.0 - 1.0, (len(slopes) + reach) / 2.0])
    return RankTrend(
        s=s,
        variance=float(variance),
        z=float(z),
        p=float(2.0 * norm.sf(abs(z))),
        tau=s / pairs,
        tau_ties=float(s / np.sqrt(pairs * (pairs - tied))),
        slope=slope,
        interval=np.interp(rank, np.arange(len(slopes)), slopes),
        inflation=float(inflation),
    )


def find_step(values):
    """Return the most likely single :class:`Step` of a series (n,); NaN is left out.

    Least squares over all places (the likelihood of equal variances, Hinkley 1970, Biometrika 57,
    1); Pettitt (1979), Appl. Stat. 28, 126: ``p = 2 exp(-6 K^2 / (n^3 + n^2))``; the scaled
    cumulative sum against a Brownian bridge. Both p hold for independent values.
    """
    y = np.asarray(values, float)
    y = y[np.isfinite(y)]
    _refuse_short(y)
    n, away = len(y), y - y.mean()
    count = np.arange(1, n)
    sums = np.cumsum(away)[:-1]
    gain = sums**2 * n / (count * (n - count))
    after = int(np.argmax(gain)) + 1
    parts = y[:after], y[after:]
    rest = sum(part.var() * len(part) for part in parts)
    u = np.abs(2.0 * np.cumsum(rankdata(y))[:-1] - count * (n + 1.0))
    k = round(u.max())
    cusum = np.abs(sums).max() / (y.std(ddof=1) * np.sqrt(n))
    levelled = np.concatenate([part - part.mean() for part in parts])
    return Step(
        after=after,
        means=np.array([part.mean() for part in parts]),
        variances=np.array([part.var() for part in parts]),
        f=float(gain[after - 1] / (rest / (n - 2))) if rest > 0.0 else np.inf,
        cusum=float(cusum),
        p_cusum=bridge_p(cusum),
        k=k,
        p=float(min(1.0, 2.0 * np.exp(-6.0 * k**2 / (float(n) ** 3 + float(n) ** 2)))),
        effective=float(effective_size(n, np.nan_to_num(lag_one_correlation(levelled)))),
    )


def bridge_p(largest):
    """Return the probability that a Brownian bridge exceeds a height: Kolmogorov (1933)."""
    k = np.arange(1, 101)
    total = 2.0 * ((-1.0) ** (k - 1) * np.exp(-2.0 * k**2 * max(largest, 0.2) ** 2)).sum()
    return float(np.clip(total, 0.0, 1.0))


def _inflation(rest, memory):
    """Return the factor on the variance of S for the memory of a series without its trend."""
    if memory == "none":
        return 1.0
    n = np.isfinite(rest).sum()
    if memory == "lag one":
        return float(n / effective_size(n, np.nan_to_num(lag_one_correlation(rest))))
    if memory != "ranks":
        raise SettingsError(f"memory '{memory}'; known are none, ranks, lag one")
    if n < len(rest):
        raise SolutionError("memory 'ranks' needs a series without gaps: take 'lag one'")
    ranks = rankdata(rest)
    ranks = (ranks - ranks.mean()) / ranks.std()
    lag = np.arange(1, n - 2)
    r = np.array([ranks[k:] @ ranks[:-k] for k in lag]) / n
    r = np.where(np.abs(r) > SIGNIFICANT / np.sqrt(n), r, 0.0)
    weight = (n - lag) * (n - lag - 1.0) * (n - lag - 2.0)
    return float(max(1.0, 1.0 + 2.0 / (n * (n - 1.0) * (n - 2.0)) * (weight @ r)))


def _refuse_short(y):
    if len(y) < LEAST_VALUES:
        raise SolutionError(f"{len(y)} values present; a rank test needs {LEAST_VALUES}")
    if np.ptp(y) == 0.0:
        raise SolutionError("the series does not vary: is it a stuck sensor?")
