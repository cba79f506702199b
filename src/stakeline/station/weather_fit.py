"""A model of weather fitted to measured hours: season, distribution, spells, what goes together."""

import numpy as np
from scipy.optimize import lsq_linear, nnls
from scipy.special import gamma, ndtr, ndtri

from ..errors import SettingsError
from .rime import rime_grows
from .weather import (
    BRIEF_H,
    MEMORY_H,
    NODES,
    SCORES,
    SKY_MEMORY_H,
    SMOOTH,
    YEAR_D,
    WeatherModel,
    cloud_table,
    course_correlation,
    of_season,
    season_mean,
    season_place,
    waves,
)
from .weather_record import HOUR_NS

LEAST_H = 4380  # h; of both measured, own choice: half a year
WINDOW_D = 30.0  # d; to each side of a node, own choice
LEAST_WINDOW_H = 240  # h; measured in a window, own choice
TAIL_SCORE = 2.4  # -; beyond it (0.8 % of the hours) the tail is continued, own choice
BODY_SCORE = 1.5  # -; from here to it the tail's shape is taken, own choice
MOST_UNREST = 0.8  # -; steps beyond it are of rounded or broken readings, own choice
NORMAL_ROOT = gamma(0.75) ** 2 / np.sqrt(np.pi)  # -; <|d|^1/2>^2 / <|d|> of normal numbers
HERMITE = 6  # -; terms of the law's expansion, own choice
LAGS_H = 720  # h; of the correlations looked at, own choice
CLOUD_MEAN = 0.5  # -; where nothing is known, common practice, no source
SKY_MEMORIES_H = np.geomspace(1.0, 240.0, 100)  # h; tried for cloud, own choice


def fit_weather(record, *, cloud=CLOUD_MEAN, pressure_hPa=None, rime_share=0.05):
    """Return the :class:`~.weather.WeatherModel` of measured hours.

    Parameters
    ----------
    record : HourlyWeather
        With holes; half a year of hours with temperature and wind at least, every season.
    cloud : float
        Mean cover where it was not measured. Where it was, its law by season and its memory.
    pressure_hPa : float, optional
        Where it was not measured.
    rime_share : float
        Of the year; by season as often as it is damp, cold and calm enough, where humidity tells.

    Raises
    ------
    SettingsError
        For too few hours, a season without any, or no pressure at all.

    Notes
    -----
    Temperature: three waves a year taken off. Both: quantiles by twelve windows of 60 days, upper
    wind continued as a Weibull law and temperature as a normal one; normal scores; their daily
    course taken off; autocorrelations to 30 days as sums of exponentials (least squares, shares
    not negative), cross-correlation by what goes together in each.
    """
    time_ns = record.time_ns + HOUR_NS // 2
    both = np.isfinite(record.temperature_degC) & np.isfinite(record.wind_m_s)
    if both.sum() < LEAST_H:
        raise SettingsError(
            f"weather: {int(both.sum())} hours with temperature and wind; expected {LEAST_H} or "
            "more to tell seasons from spells: give numbers of the climate instead"
        )
    season = _season(time_ns, record.temperature_degC)
    parted = record.temperature_degC - season_mean(season, time_ns)
    tables = [_table("temperature", time_ns, parted), _table("wind", time_ns, record.wind_m_s)]
    scores = np.stack(
        [_scores(time_ns, x, t) for x, t in zip((parted, record.wind_m_s), tables, strict=True)]
    )
    daily, size = _daily(time_ns, scores)
    left = np.stack([_standard(time_ns, x) for x in (parted, record.wind_m_s)])
    shares = np.stack(
        [_shares(_of_scores(_correlation(x, x), t)) for x, t in zip(left, tables, strict=True)]
    )
    gusty = _gusty(scores[1], shares[1])
    joint = _joint(left, shares, gusty)
    used = (shares > 0.0).any(axis=0)
    cloud_law, memory, sky_notes = _cloud(time_ns, record.cloud, cloud)
    return WeatherModel(
        season=season,
        tables=np.stack([*tables, cloud_law]),
        daily=daily,
        size=size,
        memory_h=np.array(MEMORY_H)[used],
        smooth=np.array(SMOOTH)[used],
        shares=shares[:, used],
        joint=joint[used],
        pressure_hPa=_pressure(record.pressure_hPa, pressure_hPa),
        gusty=gusty,
        measured_at_m=record.measured_at_m,
        rime_share=_rime_of_season(time_ns, record, rime_share),
        cloud_memory_h=memory,
        notes=(*record.notes, *sky_notes),
    )


def _pressure(measured, given):
    if given is None and not np.isfinite(measured).any():
        raise SettingsError("weather: no pressure in the file; give pressure_hPa")
    return float(np.nanmean(measured)) if given is None else given


def _cloud(time_ns, measured, mean):
    """Return (cover by season and score (NODES, z), memory [h], sentences) of cloud.

    One law for the year where a season has too few hours, a beta law without any.
    """
    there = np.isfinite(measured)
    if there.sum() < LEAST_WINDOW_H:
        return cloud_table(mean), SKY_MEMORY_H, ()
    windows = [_window(time_ns, k) & there for k in range(NODES)]
    seasons = min(int(one.sum()) for one in windows) >= LEAST_WINDOW_H
    windows = windows if seasons else [there] * NODES
    table = np.array([np.quantile(measured[one], ndtr(SCORES)) for one in windows])
    node, share, _ = season_place(time_ns)
    middle = of_season(np.array([measured[one].mean() for one in windows]), node, share)
    memory = _memory_h(_correlation(measured - middle, measured - middle), table)
    words = "by season" if seasons else "the same all year, a season has too few hours"
    told = f"cloud: {int(there.sum())} hours, {words}, memory {memory:.0f} h"
    return table, memory, (told,)


def _memory_h(correlation, table):
    """Return the memory of the one course whose correlation is nearest to that measured. [h]"""
    if not correlation[0] > 0.0:
        return SKY_MEMORY_H
    _, weight = _basis()
    kept = np.exp(-np.arange(LAGS_H + 1) / SKY_MEMORIES_H[:, None])
    off = ((kept - _of_scores(correlation, table)) * weight) ** 2
    return float(SKY_MEMORIES_H[off.sum(axis=1).argmin()])


def _rime_of_season(time_ns, record, share):
    """Return the share of rime by season (NODES,), its mean as given; as it is where nothing tells.

    In proportion to the hours in which rime can grow, by :func:`~.rime.rime_grows`.
    """
    if record.humidity_percent is None or share == 0.0:
        return share
    seen = record.temperature_degC + record.wind_m_s + record.humidity_percent
    grows = rime_grows(record.temperature_degC, record.wind_m_s, record.humidity_percent)
    windows = [_window(time_ns, k) & np.isfinite(seen) for k in range(NODES)]
    if min(int(one.sum()) for one in windows) < LEAST_WINDOW_H or not grows.any():
        return share
    often = np.array([grows[one].mean() for one in windows])
    return np.minimum(share * often / often.mean(), 1.0)


def _season(time_ns, values):
    """Return mean and three waves a year by least squares (7,)."""
    there = np.isfinite(values)
    return np.linalg.lstsq(waves(time_ns[there]), values[there], rcond=None)[0]


def _window(time_ns, k):
    """Return the mask of hours within the window of a season's node."""
    node, share, _ = season_place(time_ns)
    place = (node + share) * YEAR_D / NODES
    apart = np.abs(place - k * YEAR_D / NODES)
    return np.minimum(apart, YEAR_D - apart) <= WINDOW_D


def _table(name, time_ns, values):
    """Return quantiles by season and score (NODES, z), tails continued."""
    rows = []
    for k in range(NODES):
        some = values[_window(time_ns, k) & np.isfinite(values)]
        if some.size < LEAST_WINDOW_H:
            raise SettingsError(
                f"weather: {some.size} hours of {name} in the two months about node {k + 1} of "
                f"{NODES} of the year; expected {LEAST_WINDOW_H}: give numbers of the climate"
            )
        row = np.quantile(some, ndtr(SCORES))
        rows.append(_wind_tail(row) if name == "wind" else _normal_tails(row))
    return np.array(rows)


def _wind_tail(row):
    """Return a row whose upper end goes on as a Weibull law through two of its quantiles."""
    depth = -np.log(ndtr(-SCORES))
    body, tail = (int(np.argmin(np.abs(SCORES - s))) for s in (BODY_SCORE, TAIL_SCORE))
    if not row[tail] > row[body] > 0.0:
        return row
    shape = np.log(depth[tail] / depth[body]) / np.log(row[tail] / row[body])
    further = row[tail] * (depth / depth[tail]) ** (1.0 / shape)
    return np.where(np.arange(SCORES.size) > tail, further, row)


def _normal_tails(row):
    """Return a row whose ends go on straight, by score."""
    out = row.copy()
    body, tail = (int(np.argmin(np.abs(SCORES - s))) for s in (BODY_SCORE, TAIL_SCORE))
    last = SCORES.size - 1
    for inner, outer, ends in (
        (body, tail, slice(tail + 1, None)),
        (last - body, last - tail, slice(0, last - tail)),
    ):
        slope = (row[outer] - row[inner]) / (SCORES[outer] - SCORES[inner])
        out[ends] = row[outer] + slope * (SCORES[ends] - SCORES[outer])
    return out


def _scores(time_ns, values, table):
    """Return the normal score of each hour by its season (n,), NaN where missing."""
    node, share, _ = season_place(time_ns)
    row = table[node] + share[:, None] * (table[(node + 1) % NODES] - table[node])
    below = (row < values[:, None]).sum(axis=1)
    upto = (row <= values[:, None]).sum(axis=1)
    index = np.clip(below - 1, 0, SCORES.size - 2)
    hours = np.arange(values.size)
    low, high = row[hours, index], row[hours, index + 1]
    rest = np.clip((values - low) / np.maximum(high - low, 1e-12), 0.0, 1.0)
    score = SCORES[index] + rest * (SCORES[index + 1] - SCORES[index])
    tied = upto > below + 1  # one value over several nodes, as calm: the middle of its share
    tied_score = ndtri(0.5 * (_share_at(below - 1) + _share_at(upto)))
    score = np.where(tied, tied_score, score)
    return np.where(np.isfinite(values), np.clip(score, SCORES[0], SCORES[-1]), np.nan)


def _share_at(index):
    """Return the normal probability of a node; 0 and 1 beyond the ends, kept inside."""
    inside = np.clip(index, 0, SCORES.size - 1)
    return np.where(index < 0, 0.0, np.where(index >= SCORES.size, 1.0, ndtr(SCORES[inside])))


def _daily(time_ns, scores):
    """Return mean score by season and hour (NODES, 24, 2), and the spread about it (NODES, 2)."""
    _, _, hour = season_place(time_ns)
    daily, size = np.zeros((NODES, 24, 2)), np.ones((NODES, 2))
    for k in range(NODES):
        inside = _window(time_ns, k)
        for j, score in enumerate(scores):
            there = inside & np.isfinite(score)
            number = np.maximum(np.bincount(hour[there], minlength=24), 1)
            daily[k, :, j] = np.bincount(hour[there], score[there], minlength=24) / number
            size[k, j] = (score[there] - daily[k, hour[there], j]).std()
    return daily, size


def _standard(time_ns, values):
    """Return values less their mean by season and hour of the day, by the season's spread (n,)."""
    daily, size = _daily(time_ns, np.stack([values, values]))
    node, share, hour = season_place(time_ns)
    other = (node + 1) % NODES
    mean, spread = daily[:, :, 0], size[:, 0]
    middle = mean[node, hour] + share * (mean[other, hour] - mean[node, hour])
    return (values - middle) / (spread[node] + share * (spread[other] - spread[node]))


def _of_scores(correlation, table):
    """Return the correlation of normal scores which gives that of values, by the mean law.

    Values' correlation is the sum of c_k^2 r^k, c_k the law's Hermite coefficients (Lancaster 1957,
    Biometrika 44, 289).
    """
    row = (table / table.std(axis=1, keepdims=True)).mean(axis=0)
    weight = np.exp(-0.5 * SCORES**2)
    weight /= weight.sum()
    polynomials = [np.ones_like(SCORES), SCORES]
    for k in range(2, HERMITE + 1):
        polynomials.append(SCORES * polynomials[-1] - (k - 1) * polynomials[-2])
    squares = np.array(
        [(row @ (weight * h)) ** 2 / gamma(k + 1) for k, h in enumerate(polynomials)][1:]
    )
    r = np.linspace(-1.0, 1.0, 401)
    of_values = np.sum(squares / squares.sum() * r[:, None] ** np.arange(1, HERMITE + 1), axis=1)
    return np.interp(correlation / correlation[0], of_values, r)


def _correlation(first, second):
    """Return the mean product of two series by lag 0 to ``LAGS_H``, over pairs that are there."""
    sums = []
    size = 1 << int(np.ceil(np.log2(2 * first.size)))
    masks = np.isfinite(first), np.isfinite(second)
    for a, b in ((np.nan_to_num(first), np.nan_to_num(second)), masks):
        turned = np.conj(np.fft.rfft(np.asarray(a, float), size))
        sums.append(np.fft.irfft(turned * np.fft.rfft(np.asarray(b, float), size), size))
    product, number = (both[: LAGS_H + 1] for both in sums)
    return product / np.maximum(number, 1.0)


def _gusty(score, shares):
    """Return how the brief courses of the wind vary: with its level, and besides.

    Hourly steps d of a size exp(w - b z) about the level z have <z |d|> = -b <|d|> (Stein 1981,
    Ann. Statist. 9, 1135), and <|d|^1/2>^2 / <|d|> less than that of normal numbers by the
    exponential of a quarter of the variance of the logarithm of the size. Both are more of the
    brief courses, which are ``part`` of the steps' variance.
    """
    brief = np.array(MEMORY_H) <= BRIEF_H
    steps = shares * (1.0 - course_correlation(MEMORY_H, SMOOTH, [1])[0])
    part = float(steps[brief].sum() / steps.sum())
    if not part > 0.0:
        return 0.0, 0.0
    step, level = np.abs(np.diff(score)), 0.5 * (score[1:] + score[:-1])
    there = np.isfinite(step)
    step, level = step[there], level[there] - level[there].mean()
    by_level = -float((step * level).mean() / step.mean())
    even = NORMAL_ROOT * step.mean() / np.sqrt(step).mean() ** 2
    rest = max(4.0 * float(np.log(even)) - by_level**2, 0.0)
    lasting = float(np.sqrt(max(1.0 - shares[brief].sum(), 1e-9)))
    return by_level / lasting / part, min(float(np.sqrt(rest)) / part, MOST_UNREST)


def _basis():
    """Return the correlations of the courses by lag, and the weight of each lag."""
    lags = np.arange(LAGS_H + 1)
    return course_correlation(MEMORY_H, SMOOTH, lags), 1.0 / np.sqrt(1.0 + lags)


def _shares(correlation):
    """Return the share of each course (c,), summing to 1."""
    basis, weight = _basis()
    whole = np.full((1, basis.shape[1]), 1e3)
    found, _ = nnls(
        np.vstack([basis * weight[:, None], whole]),
        np.append(correlation / correlation[0] * weight, 1e3),
    )
    return found / found.sum()


def _joint(left, shares, gusty):
    """Return the correlation within each course (c,); a restless one keeps less of its own."""
    basis, weight = _basis()
    both = 0.5 * (_correlation(left[0], left[1]) + _correlation(left[1], left[0]))
    most = np.sqrt(shares[0] * shares[1])
    found = lsq_linear(
        basis * weight[:, None], both * weight, (-most - 1e-9, most + 1e-9), method="bvls"
    )
    lost = np.exp(-0.5 * (gusty[0] ** 2 + gusty[1] ** 2))
    kept = most * np.where(np.array(MEMORY_H) <= BRIEF_H, lost, 1.0)
    return np.where(most > 0.0, np.clip(found.x / np.maximum(kept, 1e-12), -0.999, 0.999), 0.0)
