"""Many years of hourly weather: temperature and wind together, with season, spells and storms.

Temperature and wind are normal scores by the season's own distribution. Each score is a sum of
courses that forget within hours to weeks, rough or smooth ones, in pairs that go together as
measured; cloud and rime have one of their own. Brief courses of the wind are smaller in strong
wind, and for some days on end.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import betaincinv, ndtr, ndtri

from ..constants import NS_PER_DAY
from ..errors import SettingsError
from ..time import day_of_year
from ._weather_kernels import CLOUD, RIME, SCORE_ENDS, SCORE_STEP, TEMPERATURE, WIND, courses
from .weather_record import HOUR_NS

NODES = 12  # -; of the season
YEAR_D = 365.25  # d; Julian year
SCORES = np.arange(-SCORE_ENDS, SCORE_ENDS + 0.5 * SCORE_STEP, SCORE_STEP)  # -; of the tables
MEMORY_H = (0.3, 2.0, 10.0, 480.0, 1.5, 4.0, 12.0, 36.0, 110.0)  # h; of courses fitted, own choice
SMOOTH = (False, False, False, False, True, True, True, True, True)  # own choice
SKY_MEMORY_H = 24.0  # h; of cloud, where it was not measured, and rime; common practice, no source
BRIEF_H = 10.0  # h; courses of the wind that forget within it are rougher or smoother, own choice
UNREST_H = 24.0  # h; for which they stay so, own choice
CLOUD_SPREAD = 1.0  # -; a + b of the beta law: mostly clear or covered, common practice, no source
WARMEST_DAY = {False: 200.0, True: 15.0}  # day of the year, by south; common practice, no source
# Where nothing was measured: means of own fits to four automatic weather stations at 67 to 89 S,
# 2010 to 2012 (AMRC quality-controlled hourly data), rounded.
USUAL_MEMORY_H = (0.3, 4.0, 12.0, 36.0, 110.0)  # h
USUAL_SMOOTH = (False, True, True, True, True)
USUAL_SHARES = ((0.0, 0.06, 0.40, 0.51, 0.03), (0.07, 0.13, 0.60, 0.15, 0.05))  # -
USUAL_GUSTY = (0.08, 0.6)  # -
USUAL_JOINT = (0.0, 0.0, 0.2, 0.4, 0.6)  # -
CHUNK = 50  # a; years drawn at once


@dataclass(frozen=True)
class WeatherModel:
    """What years of weather are drawn from.

    Attributes
    ----------
    season : array, shape (7,)
        Mean temperature: constant, then cosine and sine of one to three waves a year. [degC]
    tables : array, shape (3, NODES, z)
        Temperature less its season's mean [K], wind [m/s], cloud, by season and ``SCORES``.
    daily : array, shape (NODES, 24, 2)
        Mean score of temperature and wind by season and UTC hour.
    size : array, shape (NODES, 2)
        Spread of the scores about ``daily``.
    memory_h : array, shape (c,)
        Of each course.
    smooth : array of bool, shape (c,)
        Whether its correlation is (1 + t / memory) exp(-t / memory), or without the first factor.
    shares : array, shape (2, c)
        Of the variance of temperature's and wind's score; each row sums to 1.
    joint : array, shape (c,)
        Correlation of the two in each course.
    pressure_hPa : float
    gusty : tuple of two floats
        How the brief courses of the wind vary: by how much the logarithm of their size falls for
        each spread of the lasting ones, and its spread besides.
    measured_at_m : float
        Height of the wind.
    rime_share : float or array, shape (NODES,)
        Share of the time with rime; by season where it can be told.
    cloud_memory_h : float
        Of cloud's own course.
    notes : tuple of str
    """

    season: np.ndarray
    tables: np.ndarray
    daily: np.ndarray
    size: np.ndarray
    memory_h: np.ndarray
    smooth: np.ndarray
    shares: np.ndarray
    joint: np.ndarray
    pressure_hPa: float
    gusty: tuple = (0.0, 0.0)
    measured_at_m: float = 3.0
    rime_share: float | np.ndarray = 0.05
    cloud_memory_h: float = SKY_MEMORY_H
    notes: tuple = ()


@dataclass(frozen=True)
class WeatherYears:
    """Hourly weather of m years of n hours that begin at one date.

    ``temperature_degC``, ``wind_m_s``, ``cloud`` (0 to 1), ``rime`` (0 none to 1 thick), (m, n).
    """

    start_ns: int
    temperature_degC: np.ndarray
    wind_m_s: np.ndarray
    cloud: np.ndarray
    rime: np.ndarray
    pressure_hPa: float
    measured_at_m: float

    @property
    def time_ns(self):
        """GPS times of the middle of each hour, of the first year (n,). [ns]"""
        return self.start_ns + HOUR_NS // 2 + HOUR_NS * np.arange(self.cloud.shape[1])


def season_mean(season, time_ns):
    """Return the mean temperature of the season at times (n,). [degC]"""
    return _waves(_day(time_ns)) @ np.asarray(season)


def waves(time_ns):
    """Return the columns of ``season`` at times (n, 7)."""
    return _waves(_day(time_ns))


def season_place(time_ns):
    """Return (node before, share of the way to the next, hour of the day) at times, (n,) each."""
    place = (_day(time_ns) / YEAR_D * NODES - 0.5) % NODES
    node = np.minimum(place.astype(np.int64), NODES - 1)
    hour = (np.asarray(time_ns) % NS_PER_DAY) // HOUR_NS
    return node, place - node, hour


def _day(time_ns):
    """Return days since the year's beginning (n,)."""
    _, day = day_of_year(time_ns)
    return day - 1.0 + (np.asarray(time_ns, np.int64) % NS_PER_DAY) / NS_PER_DAY


def _waves(day):
    angle = 2.0 * np.pi * np.asarray(day)[..., None] / YEAR_D * np.arange(1, 4)
    both = np.stack([np.cos(angle), np.sin(angle)], axis=-1).reshape(*angle.shape[:-1], 6)
    return np.concatenate([np.ones((*angle.shape[:-1], 1)), both], axis=-1)


def cloud_table(mean):
    """Return cloud cover by season and score (NODES, z) of a beta law with a mean. [-]

    a + b = 1, u-shaped: the sky is mostly clear or covered.
    """
    mean = float(np.clip(mean, 1e-3, 1.0 - 1e-3))
    row = betaincinv(mean * CLOUD_SPREAD, (1.0 - mean) * CLOUD_SPREAD, ndtr(SCORES))
    return np.tile(row, (NODES, 1))


def climate_weather(
    *,
    south,
    mean_degC,
    swing_K,
    spread_K,
    wind_m_s,
    wind_shape,
    wind_winter_share,
    cloud,
    pressure_hPa,
    measured_at_m=3.0,
    rime_share=0.05,
):
    """Return the :class:`WeatherModel` of numbers of a climate, where nothing was measured.

    Parameters
    ----------
    south : bool
    mean_degC, swing_K, spread_K : float
        Of the year; half of warmest less coldest; of hours about the season, normal.
    wind_m_s, wind_shape, wind_winter_share : float
        Mean of a Weibull law, its shape; midwinter is windier by this share, summer less.
    cloud, pressure_hPa, measured_at_m, rime_share : float

    Notes
    -----
    Persistence is the mean of four real weather stations (``USUAL_SHARES``). No daily course.
    """
    warmest = 2.0 * np.pi * WARMEST_DAY[south] / YEAR_D
    season = np.zeros(7)
    season[:3] = mean_degC, swing_K * np.cos(warmest), swing_K * np.sin(warmest)
    middle = 2.0 * np.pi * (np.arange(NODES) + 0.5) / NODES
    winter = 1.0 - wind_winter_share * np.cos(middle - warmest)
    quantile = (-np.log(np.maximum(ndtr(-SCORES), 1e-300))) ** (1.0 / wind_shape)
    quantile *= wind_m_s / _mean_of(quantile)
    tables = np.stack(
        [np.tile(spread_K * SCORES, (NODES, 1)), winter[:, None] * quantile, cloud_table(cloud)]
    )
    return WeatherModel(
        season=season,
        tables=tables,
        daily=np.zeros((NODES, 24, 2)),
        size=np.ones((NODES, 2)),
        memory_h=np.array(USUAL_MEMORY_H),
        smooth=np.array(USUAL_SMOOTH),
        shares=np.array(USUAL_SHARES),
        joint=np.array(USUAL_JOINT),
        pressure_hPa=pressure_hPa,
        gusty=USUAL_GUSTY,
        measured_at_m=measured_at_m,
        rime_share=rime_share,
        notes=("weather from numbers of the climate, persistence from other stations",),
    )


def _mean_of(quantile):
    """Return the mean of a law given at ``SCORES``."""
    weight = np.exp(-0.5 * SCORES**2)
    return float(quantile @ weight / weight.sum())


@dataclass(frozen=True)
class Chance:
    """Normal numbers that years are made of: ``courses`` (m, n + 2, 2, c), ``unrest`` (m, n)."""

    courses: np.ndarray
    unrest: np.ndarray

    def pieces(self, chunk):
        """Yield copies of so many years at once: the kernel uses up what it is given."""
        for begin in range(0, len(self.unrest), chunk):
            some = slice(begin, begin + chunk)
            yield Chance(self.courses[some].copy(), self.unrest[some])


def draw_chance(years, parts, generator, hours=8760):
    """Return the :class:`Chance` of years, for any model of ``parts`` courses, the sky's counted.

    It holds 70 kB for each year and course. :func:`draw_weather` draws the same numbers from the
    same generator.
    """
    return next(_chances(years, parts, generator, hours, years))


def _chances(years, parts, generator, hours, chunk):
    """Yield :class:`Chance` of so many years at once, the same numbers however they are cut."""
    apart = generator.spawn(1)[0]
    each = (hours + 2, 2, parts)
    for begin in range(0, years, chunk):
        some = min(chunk, years - begin)
        drawn = generator.standard_normal((some, *each), dtype=np.float32)
        yield Chance(drawn, apart.standard_normal((some, hours), dtype=np.float32))


def draw_weather(model, start_ns, years, generator, hours=8760, *, chance=None):
    """Return the :class:`WeatherYears` of a model.

    Parameters
    ----------
    model : WeatherModel
    start_ns : int
        GPS time of the first hour's beginning, in any year: the season counts. [ns]
    years, hours : int
        More years begin with the same ones.
    generator : numpy.random.Generator or None
        None where ``chance`` is given.
    chance : Chance, optional
        Of as many years and hours, drawn before: most of the time that years take.

    Raises
    ------
    SettingsError
        For fewer than one year or hour, or a ``chance`` of others.
    """
    if years < 1 or hours < 1:
        raise SettingsError(f"weather of {years} years of {hours} h: expected at least one of each")
    time_ns = start_ns + HOUR_NS // 2 + HOUR_NS * np.arange(hours)
    node, share, hour = season_place(time_ns)
    steps = _steps_of(model)
    mean = season_mean(model.season, time_ns)
    brief, gusty, even = gusts(model)
    out = np.empty((4, years, hours))
    shape, begin = (years, hours + 2, 2, steps[0].shape[1]), 0
    if chance is None:
        drawn = _chances(years, shape[3], generator, hours, CHUNK)
    elif chance.courses.shape == shape:
        drawn = chance.pieces(CHUNK)
    else:
        raise SettingsError(f"chance of {chance.courses.shape}: expected {shape}")
    for one in drawn:
        end = begin + one.unrest.shape[0]
        courses(one.courses, one.unrest, *steps, np.sqrt(model.shares), model.joint, brief, gusty,
                even, model.daily, model.size, node, share, hour, model.tables, mean,
                out[:, begin:end])  # fmt: skip
        begin = end
    return WeatherYears(
        start_ns=int(start_ns),
        temperature_degC=out[TEMPERATURE],
        wind_m_s=out[WIND],
        cloud=out[CLOUD],
        rime=_rime(out[RIME], of_season(np.asarray(model.rime_share), node, share)),
        pressure_hPa=model.pressure_hPa,
        measured_at_m=model.measured_at_m,
    )


def of_season(values, node, share):
    """Return what is given by season (NODES,) at times, (n,); one value as it is."""
    if values.ndim == 0:
        return values
    return values[node] + share * (values[(node + 1) % NODES] - values[node])


def _steps_of(model):
    """Return the steps of all courses, the last cloud's and rime's, (2, c + 1) each."""
    smooth = np.append(np.asarray(model.smooth, bool), False)
    each = [
        course_steps(np.append(model.memory_h, sky), smooth)
        for sky in (model.cloud_memory_h, SKY_MEMORY_H)
    ]
    return tuple(np.stack(pair) for pair in zip(*each, strict=True))


def gusts(model):
    """Return (brief (c,), gusty (4,), even (z,)) of a model, as the kernel takes them.

    Lasting courses S and brief ones R together are S + R exp(u - <u^2>), u = w - b S / spread of S:
    R keeps its variance, and is smaller in strong wind and for days on end. That is no normal
    number: ``even`` turns it into one, by its law on a grid of S and w.
    """
    brief = np.asarray(model.memory_h) <= BRIEF_H
    short = float(model.shares[1] @ brief)
    by_level, spread = model.gusty
    lasting = float(np.sqrt(max(1.0 - short, 1e-9)))
    gusty = np.array([by_level, spread, np.exp(-1.0 / UNREST_H), lasting])
    if short <= 0.0 or not (by_level or spread):
        return brief, gusty, SCORES
    size = np.exp(spread * SCORES - by_level * SCORES[:, None] - by_level**2 - spread**2)
    apart = (SCORES[:, None, None] - lasting * SCORES[:, None]) / (np.sqrt(short) * size)
    weight = np.exp(-0.5 * SCORES**2)
    below = ndtr(apart) @ weight @ weight / weight.sum() ** 2
    return brief, gusty, ndtri(np.clip(below, 1e-8, 1.0 - 1e-8))


def course_steps(memory_h, smooth):
    """Return (first, second, gain), each (c,), with x = first x' + second x'' + gain e of spread 1.

    Rough: r x' + sqrt(1 - r^2) e, r = exp(-1 / memory). Smooth: both roots at r, so that the
    correlation is (1 + t (1 - r^2) / (1 + r^2)) r^t (Box & Jenkins 1976, Time Series Analysis,
    section 3.2.4).
    """
    r = np.exp(-1.0 / np.asarray(memory_h, float))
    first, second = np.where(smooth, 2.0 * r, r), np.where(smooth, -r * r, 0.0)
    near = first / (1.0 - second)
    gain = np.sqrt(1.0 - first * near - second * (first * near + second))
    return first, second, gain


def course_correlation(memory_h, smooth, lags_h):
    """Return the correlation of each course by lag (l, c)."""
    lags = np.asarray(lags_h, float)[:, None]
    r = np.exp(-1.0 / np.asarray(memory_h, float))
    bend = np.where(smooth, (1.0 - r * r) / (1.0 + r * r), 0.0)
    return (1.0 + lags * bend) * r**lags


def _rime(score, share):
    """Return rime by its score: none but for a share of the time, evenly thick then."""
    out = np.zeros_like(score)
    some = score > ndtri(1.0 - share)  # nothing where the share is 0
    there = np.broadcast_to(share, score.shape)[some]
    out[some] = np.maximum(ndtr(score[some]) - (1.0 - there), 0.0) / there
    return out
