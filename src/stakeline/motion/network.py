"""Several stations side by side: common times, anomalies, lags, stacks.

Nothing is carried over a gap. An anomaly is measured against the station's own seasons, fitted
outside the events that are asked about; a correlation is judged by the number of independent
values that series with a memory hold.
"""

from dataclasses import dataclass

import numpy as np
from scipy.stats import norm

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError
from ..inference.memory import effective_size, lag_one_correlation
from .rows import checked_times, in_gap

DAYS_A_YEAR = 365.25  # d/a, Julian year; definition
HUBER = 1.345  # -, 95 % efficient under Gaussian noise; Huber (1981), Robust Statistics
MAD_TO_SIGMA = 1.4826  # -, Gaussian sigma over median absolute deviation; 1 / 0.6745
ROUNDS = 30  # of reweighting, our choice
LEAST_YEARS = 0.9, 0.4  # a, span below which no annual, no semi-annual term is fitted; our choice
LEAST_TREND_YEARS = 1.5  # a, below which a trend and a season are one; our choice


def at_common_times(time_ns, value, sigma, common_ns, longest_gap_d):
    """Return (values, sigmas) (m,) of a smoothed series at common times; NaN where there is none.

    Parameters
    ----------
    time_ns, value, sigma : array (n,)
        Ascending; NaN is a gap.
    common_ns : array (m,)
        Ascending. [ns]
    longest_gap_d : float
        Between neighbours farther apart than this, and outside the series, nothing is said. [d]

    Notes
    -----
    Linear between neighbours; the sigma is too, as it is right for neighbours of one smoothed
    series, whose errors are nearly the same.
    """
    time_ns, common_ns = checked_times(time_ns), checked_times(common_ns)
    value, sigma = np.asarray(value, float), np.asarray(sigma, float)
    if value.shape != time_ns.shape or sigma.shape != time_ns.shape:
        raise SettingsError(f"{time_ns.shape} times, {value.shape} values, {sigma.shape} sigmas")
    whole = np.isfinite(value) & np.isfinite(sigma)
    if not whole.any():
        return np.full(len(common_ns), np.nan), np.full(len(common_ns), np.nan)
    own = time_ns[whole]
    hidden = in_gap(own, common_ns, longest_gap_d)
    at, of = (common_ns - own[0]).astype(float), (own - own[0]).astype(float)
    found = [np.where(hidden, np.nan, np.interp(at, of, x[whole])) for x in (value, sigma)]
    return found[0], found[1]


@dataclass(frozen=True)
class Baseline:
    """What a station does without the events.

    ``value`` (n,) and ``sigma`` (n,) at all times given; ``reference`` (mean of the baseline over
    the rows used, the v_ref of the field) with ``reference_sigma``; ``terms`` fitted,
    ``coefficient`` (p,) and ``covariance`` (p, p); ``independent`` effective number of rows used;
    ``residual_sigma`` of these. ``cautions``: what the span does not allow.
    """

    value: np.ndarray
    sigma: np.ndarray
    reference: float
    reference_sigma: float
    terms: tuple
    coefficient: np.ndarray
    covariance: np.ndarray
    independent: float
    residual_sigma: float
    cautions: tuple


def seasonal_baseline(time_ns, value, sigma=None, events_ns=()):
    """Fit a constant, a trend, annual and semi-annual waves outside events, robustly.

    Parameters
    ----------
    time_ns, value : array (n,)
        Speed or any other series; NaN is left out.
    sigma : array (n,), optional
        Weights; equal ones where none are given.
    events_ns : sequence of (begin, end)
        Windows that are not used. [ns]

    Returns
    -------
    Baseline
        Its sigmas are widened by the effective number of rows of the residuals.

    Raises
    ------
    SolutionError
        Fewer than 10 rows outside events.

    Notes
    -----
    Reweighted least squares with the weights of Huber (1981). An annual wave needs 0.9 a of data
    (rows' span), a semi-annual one 0.4 a, a trend beside them 1.5 a: less cannot tell them apart,
    and is said in ``cautions``.
    """
    time_ns, value = checked_times(time_ns), np.asarray(value, float)
    sigma = np.ones(len(value)) if sigma is None else np.asarray(sigma, float)
    if not value.shape == sigma.shape == time_ns.shape:
        raise SettingsError(f"{time_ns.shape} times, {value.shape} values, {sigma.shape} sigmas")
    used = np.isfinite(value) & np.isfinite(sigma) & (sigma > 0.0)
    for begin, end in events_ns:
        used &= ~((time_ns >= begin) & (time_ns <= end))
    if used.sum() < 10:
        raise SolutionError(f"{used.sum()} rows outside the events; a baseline needs 10")
    years = (time_ns - time_ns[used][0]) / NS_PER_DAY / DAYS_A_YEAR
    design, terms, cautions = _seasons(years, years[used][-1])
    coefficient, covariance, spread, independent = _robust(design[used], value[used], sigma[used])
    base = design @ coefficient
    mean = design[used].mean(axis=0)
    return Baseline(
        base,
        np.sqrt(np.einsum("ij,jk,ik->i", design, covariance, design)),
        float(mean @ coefficient),
        float(np.sqrt(mean @ covariance @ mean)),
        terms,
        coefficient,
        covariance,
        independent,
        spread,
        cautions,
    )


def _seasons(years, span):
    """Return the regressors (n, p), their names, and what the span leaves out."""
    columns, names, cautions = [np.ones_like(years)], ["constant"], []
    if span >= LEAST_TREND_YEARS or span < LEAST_YEARS[1]:
        columns.append(years - 0.5 * span)
        names.append("trend")
    else:
        cautions.append(f"{span:.2f} a of data: no trend beside the seasons")
    for cycles, least, name in zip((1, 2), LEAST_YEARS, ("annual", "semi-annual"), strict=True):
        if span < least:
            cautions.append(f"{span:.2f} a of data: no {name} wave")
            continue
        columns += [np.cos(2 * np.pi * cycles * years), np.sin(2 * np.pi * cycles * years)]
        names += [f"{name} cosine", f"{name} sine"]
    return np.stack(columns, axis=1), tuple(names), tuple(cautions)


def _robust(design, value, sigma):
    """Return (coefficients, covariance, sigma of the residuals, effective number of rows)."""
    weight = 1.0 / sigma
    scale = np.ones_like(weight)
    for _ in range(ROUNDS):
        root = np.sqrt(scale) * weight
        found, *_ = np.linalg.lstsq(design * root[:, None], value * root, rcond=None)
        left = (value - design @ found) * weight
        spread = max(MAD_TO_SIGMA * float(np.median(np.abs(left))), np.finfo(float).tiny)
        new = HUBER / np.maximum(np.abs(left) / spread, HUBER)
        if np.abs(new - scale).max() < 1e-6:
            break
        scale = new
    memory = lag_one_correlation(np.clip(left, -3.0 * spread, 3.0 * spread))
    independent = float(effective_size(len(value), 0.0 if np.isnan(memory) else memory))
    free = max(independent - design.shape[1], 1.0)
    level = float((scale * left**2).sum() / len(value)) * independent / free
    root = np.sqrt(scale) * weight
    normal = np.linalg.inv((design * root[:, None]).T @ (design * root[:, None]))
    covariance = normal * level * len(value) / independent
    return found, covariance, float(np.std(value - design @ found)), independent


def anomaly_percent(value, sigma, baseline):
    """Return (anomaly, sigma) (n,) of a series against its baseline, of the baseline. [%]

    The baseline's sigma is common to neighbouring rows: stacking in time does not remove it.
    """
    value, sigma = np.asarray(value, float), np.asarray(sigma, float)
    base = np.where(baseline.value == 0.0, np.nan, baseline.value)
    ratio = value / base
    spread = np.hypot(sigma / base, ratio * baseline.sigma / base)
    return 100.0 * (ratio - 1.0), 100.0 * np.abs(spread)


@dataclass(frozen=True)
class Lag:
    """How alike two series are, and by how much the second is late.

    ``correlation`` at the best lag with the ``independent`` pairs it rests on; ``p_value`` of so
    large a correlation at any lag tried, if the two had nothing in common; ``lag_d`` > 0: the
    second follows the first; ``low_d``, ``high_d`` its 95 % interval; ``at_edge`` tells that the
    best lag is the longest tried, so that there is none inside; ``lags_d`` (2m+1,),
    ``correlations`` (2m+1,) all that was tried.
    """

    correlation: float
    independent: float
    p_value: float
    lag_d: float
    low_d: float
    high_d: float
    at_edge: bool
    lags_d: np.ndarray
    correlations: np.ndarray


def lag_between(first, second, interval_d, longest_lag_d, rng, draws=300):
    """Return the :class:`Lag` of two series at the same even times; NaN is a gap.

    Parameters
    ----------
    first, second : array (n,)
    interval_d : float
        Distance of the times. [d]
    longest_lag_d : float
        Lags up to this, both ways, are tried. [d]
    rng : numpy.random.Generator
    draws : int
        Of the bootstrap.

    Raises
    ------
    SettingsError, SolutionError
        Shapes; fewer than 20 pairs; a series that does not change.

    Notes
    -----
    Independent pairs: ``1/N = sum (1 - k/n) ra(k) rb(k) / n`` (Bartlett 1946, J. R. Stat. Soc.
    Suppl. 8, 27; Bretherton et al. 1999, J. Climate 12, 1990). The p-value is that of Fisher's z
    at one lag, times the number of lags that are independent. Interval: moving blocks of pairs
    drawn anew (Kunsch 1989, Ann. Stat. 17, 1217), of the length of the memory, at least.
    """
    first, second = np.asarray(first, float), np.asarray(second, float)
    most = round(longest_lag_d / interval_d)
    if first.shape != second.shape or first.ndim != 1 or not 1 <= most < len(first) / 2:
        raise SettingsError(
            f"series {first.shape} and {second.shape}, lags to {most} rows; expected equal rows "
            "and 1 to half as many lags"
        )
    both = (np.isfinite(first) & np.isfinite(second)).sum()
    if both < 20 or not (np.nanstd(first) > 0.0 and np.nanstd(second) > 0.0):
        raise SolutionError(f"{both} pairs of values that change; a lag needs 20")
    pairs = _shifted(first, second, most)
    sums = _running_sums(pairs)
    correlations = _correlations(sums[..., -1])
    best = int(np.nanargmax(np.abs(correlations)))
    independent = _independent_pairs(first, second)
    memory = max(1.0, both / independent)
    block = int(min(max(2.0 * memory, np.sqrt(both)), both / 4.0))
    lags = interval_d * np.arange(-most, most + 1)
    sign = np.sign(correlations[best])
    drawn = _redrawn(sums, sign, block, rng, draws)
    low, high = np.percentile(drawn, [2.5, 97.5])
    tried = max(1.0, (2 * most + 1) / memory)
    return Lag(
        float(correlations[best]),
        independent,
        _chance(correlations[best], independent, tried),
        interval_d * _peak(sign * correlations, most),
        interval_d * float(low),
        interval_d * float(high),
        best in (0, 2 * most),
        lags,
        correlations,
    )


def _shifted(first, second, most):
    """Return (first, second k rows later) as (2, 2 most + 1, n), NaN where there is no pair."""
    n = len(first)
    pairs = np.full((2, 2 * most + 1, n), np.nan)
    pairs[0] = first
    for j, k in enumerate(range(-most, most + 1)):
        pairs[1, j, max(0, -k) : n - max(0, k)] = second[max(0, k) : n - max(0, -k)]
    missing = ~np.isfinite(pairs).all(axis=0)
    pairs[:, missing] = np.nan
    return pairs


def _running_sums(pairs):
    """Return, by lag and row, the sums so far of 1, x, y, xx, yy, xy: (6, lags, n + 1).

    Of what is left of x and y after their means, so that products keep their digits.
    """
    here = np.isfinite(pairs[0])
    count = np.maximum(here.sum(), 1)
    x, y = (np.where(here, side, 0.0) for side in pairs)
    x, y = (np.where(here, side - side.sum() / count, 0.0) for side in (x, y))
    sums = np.zeros((6, *here.shape[:1], here.shape[1] + 1))
    np.cumsum([here, x, y, x * x, y * y, x * y], axis=2, out=sums[..., 1:])
    return sums


def _correlations(sums):
    """Return the correlation of each lag from its sums (6, lags); NaN for under 10 pairs."""
    count, x, y, xx, yy, xy = sums
    safe = np.maximum(count, 1.0)
    below = np.sqrt(np.maximum((xx - x * x / safe) * (yy - y * y / safe), 0.0))
    enough = (count >= 10) & (below > 0.0)
    return np.where(enough, (xy - x * y / safe) / np.where(enough, below, 1.0), np.nan)


def _peak(values, most):
    """Return the lag of the largest value, between rows by a parabola through its neighbours."""
    k = int(np.nanargmax(values))
    if k in (0, 2 * most) or not np.isfinite(values[k - 1 : k + 2]).all():
        return float(k - most)
    before, here, after = values[k - 1 : k + 2]
    bend = before - 2.0 * here + after
    return float(k - most + (0.5 * (before - after) / bend if bend < 0.0 else 0.0))


def _redrawn(sums, sign, block, rng, draws):
    """Return the lags [rows] (draws,) of series put together from blocks of pairs."""
    lags, n = sums.shape[1], sums.shape[2] - 1
    length = np.full(-(-n // block), block)
    length[-1] = n - block * (len(length) - 1)
    found = np.empty(draws)
    for draw in range(draws):
        begin = rng.integers(0, n - block + 1, len(length))
        drawn = (sums[..., begin + length] - sums[..., begin]).sum(axis=2)
        values = sign * _correlations(drawn)
        found[draw] = _peak(values, (lags - 1) // 2) if np.isfinite(values).any() else np.nan
    return found[np.isfinite(found)]


def _independent_pairs(first, second):
    """Return how many independent pairs two series with memories hold, at most their number."""
    n = int((np.isfinite(first) & np.isfinite(second)).sum())
    total = 1.0
    for k in range(1, n // 3):
        one, two = _own_correlation(first, k), _own_correlation(second, k)
        if not (one > 0.0 and two > 0.0):
            break
        total += 2.0 * (1.0 - k / n) * one * two
    return max(3.0, n / total)


def _own_correlation(values, k):
    away = values - np.nanmean(values)
    product = away[k:] * away[:-k]
    here = np.isfinite(product)
    return product[here].mean() / np.nanmean(away**2) if here.any() else np.nan


def _chance(correlation, independent, tried):
    """Return the two-sided p-value of a correlation, for the best of several tried."""
    z = np.arctanh(min(abs(correlation), 1.0 - 1e-15)) * np.sqrt(max(independent - 3.0, 1e-3))
    return float(min(1.0, tried * 2.0 * norm.sf(z)))


def stack(values, sigmas):
    """Return (mean, sigma, count) (n,) of several stations' anomalies (s, n) at the same times.

    Weighted by the sigmas; the sigma is widened where stations differ by more than these say.
    """
    values, sigmas = np.asarray(values, float), np.asarray(sigmas, float)
    if values.ndim != 2 or values.shape != sigmas.shape:
        raise SettingsError(f"values {values.shape}, sigmas {sigmas.shape}; expected (s, n) both")
    here = np.isfinite(values) & (sigmas > 0.0)
    weight = np.where(here, 1.0 / np.where(here, sigmas, 1.0) ** 2, 0.0)
    count, total = here.sum(axis=0), weight.sum(axis=0)
    some = np.where(total > 0.0, total, np.nan)
    mean = (weight * np.where(here, values, 0.0)).sum(axis=0) / some
    misfit = (weight * np.where(here, values - mean, 0.0) ** 2).sum(axis=0)
    factor = np.where(count > 1, misfit / np.maximum(count - 1, 1), 1.0)
    return mean, np.sqrt(np.maximum(factor, 1.0) / some), count
