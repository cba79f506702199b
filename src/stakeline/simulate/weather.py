"""Weather of the invented glacier: one region's storms and spells, and what a station gets of them.

All numbers are invented for a glacier near 79 deg north unless a source stands beside them; hourly
values are means of the hour around the node.
"""

from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import PchipInterpolator
from scipy.signal import lfilter, lfiltic

from ..constants import NS_PER_S
from ..time import day_of_year
from .ground import Place
from .snow import snow_cover
from .sunlight import irradiance, sun_position

HOUR_S = 3600.0  # s/h; definition
YEAR_D = 365.25  # d/a; definition
WARMEST_DAY = 200.0  # day of the year, mid July; invented
SUMMER_SHARE = 0.4244  # -; mean of |cos|^3 over a year, 4 / (3 pi)
WINTER_DEGC, SUMMER_DEGC = -29.7, 1.0  # degC at REFERENCE_M; invented
REFERENCE_M = 100.0  # m; height of the low stations, invented
FOEHN_DEGC = 4.0  # degC at REFERENCE_M, of warm air from over the ice sheet; invented
LAPSE_K_M = 0.0060  # K/m; between dry adiabatic and inversion, common practice, no source
GAS_DRY_J_KG_K = 287.05  # J/(kg K), dry air; WMO No. 8, Guide to Instruments, from memory
GRAVITY_M_S2 = 9.81  # m/s2; handbook
LOWS_A, GREAT_A, SHOWERS_A = 26.0, 5.0, 45.0  # 1/a; invented
STORMS_A = LOWS_A + 2.0 * GREAT_A  # 1/a; a great storm brings twice the snow


@dataclass(frozen=True)
class Storm:
    """One storm of the region: its span, wind at its height, and snow by the mean storm's."""

    begin_s: float
    end_s: float
    peak_m_s: float
    snow: float


@dataclass(frozen=True)
class Region:
    """Weather that all stations have in common, at hourly nodes (n,).

    Attributes
    ----------
    start_ns : int
        GPS time of ``time_s = 0``.
    time_s : array
        Nodes. [s]
    summer : array
        0 in midwinter, 1 in midsummer.
    warmth, katabatic, pressing : array
        Persistent departures of temperature, wind and pressure; mean 0, sigma 1.
    cloud : array
        Share of the sky, 0 to 1.
    storms : tuple of Storm
    storm_m_s : array
        Wind of the storms alone. [m/s]
    snowing : array
        Snowfall by hour as a share of a mean year's.
    foehn : array
        Share of warm air from over the ice sheet, 0 to 1.
    """

    start_ns: int
    time_s: np.ndarray
    summer: np.ndarray
    warmth: np.ndarray
    katabatic: np.ndarray
    pressing: np.ndarray
    cloud: np.ndarray
    storms: tuple
    storm_m_s: np.ndarray
    snowing: np.ndarray
    foehn: np.ndarray


@dataclass(frozen=True)
class Weather:
    """Weather of one station at hourly nodes (n,); between nodes :meth:`at` is linear.

    Attributes
    ----------
    start_ns, place, time_s
        GPS time of ``time_s = 0``; the :class:`Place`; nodes. [s]
    temperature_degC, wind_m_s, pressure_Pa, humidity_percent : array
    cloud, rime : array
        Share of sky; rime on what stands there, 0 none to 1 thick.
    irradiance_W_m2, diffuse_W_m2 : array
        Short-wave on level ground, and its diffuse part.
    sun_elevation_rad, sun_azimuth_rad : array
    snowfall_m_h, melt_m_h : array
        Snow by hour in metres of fresh snow; melt in metres of water.
    """

    start_ns: int
    place: Place
    time_s: np.ndarray
    temperature_degC: np.ndarray
    wind_m_s: np.ndarray
    pressure_Pa: np.ndarray
    humidity_percent: np.ndarray
    cloud: np.ndarray
    rime: np.ndarray
    irradiance_W_m2: np.ndarray
    diffuse_W_m2: np.ndarray
    sun_elevation_rad: np.ndarray
    sun_azimuth_rad: np.ndarray
    snowfall_m_h: np.ndarray
    melt_m_h: np.ndarray
    _surface: PchipInterpolator = field(repr=False)

    def at(self, name, time_s):
        """Return a quantity by its name at times, linear between nodes."""
        return np.interp(time_s, self.time_s, getattr(self, name))

    def snow_surface_m(self, time_s):
        """Return the height of the surface above where it was at time 0, at any instant. [m]

        Monotone cubic pieces between hours (Fritsch & Carlson 1980, SIAM J. Numer. Anal. 17), so
        that a storm is a rise without ringing; constant outside the span.
        """
        return self._surface(np.clip(time_s, self.time_s[0], self.time_s[-1]))


def persistent(rng, count, memory_h):
    """Return hourly values (count,) of sigma 1 with autocorrelation exp(-t / memory).

    Drawn from a child of ``rng``, so that a longer course begins as the shorter one.
    """
    child = rng.spawn(1)[0]
    kept = np.exp(-1.0 / memory_h)
    gain = np.sqrt(1.0 - kept**2)
    before = lfiltic([gain], [1.0, -kept], [child.standard_normal()])
    return lfilter([gain], [1.0, -kept], child.standard_normal(count), zi=before)[0]


def make_region(rng, start_ns, days, foehns=()):
    """Return the :class:`Region` of a campaign; a longer one begins as the shorter.

    Parameters
    ----------
    rng : numpy.random.Generator
    start_ns : int
        GPS time of the start. [ns]
    days : float
    foehns : tuple of callable
        Each gives the share of warm air at times (n,).
    """
    time_s = HOUR_S * np.arange(int(np.ceil(days * 24)) + 1)
    count = time_s.size
    summer = _summer(start_ns, time_s)
    storms = _storms(rng, start_ns, time_s)
    storm_m_s = np.zeros(count)
    snowing = _showers(rng, time_s)
    for storm in storms:
        shape = _shape(time_s, storm.begin_s, storm.end_s)
        storm_m_s = np.maximum(storm_m_s, storm.peak_m_s * shape)
        snowing += 0.7 / STORMS_A * storm.snow * shape / _hours(storm.begin_s, storm.end_s)
    cover = 0.9 * persistent(rng, count, 30.0) + 0.3 * (2.0 * summer - 0.6)
    cloud = np.maximum(1.0 / (1.0 + np.exp(-2.5 * cover)), np.minimum(storm_m_s / 15.0, 1.0))
    return Region(
        start_ns=int(start_ns),
        time_s=time_s,
        summer=summer,
        warmth=persistent(rng, count, 96.0),
        katabatic=persistent(rng, count, 40.0),
        pressing=persistent(rng, count, 60.0),
        cloud=cloud,
        storms=storms,
        storm_m_s=storm_m_s,
        snowing=snowing,
        foehn=np.max([np.zeros(count), *(foehn(time_s) for foehn in foehns)], axis=0),
    )


def _summer(start_ns, time_s):
    """Return 0 in midwinter to 1 in midsummer: |cos|^3 of half the year's angle."""
    day = day_of_year(start_ns)[1] + time_s / 86400.0
    return np.abs(np.cos(np.pi * (day - WARMEST_DAY) / YEAR_D)) ** 3


def _storms(rng, start_ns, time_s):
    """Draw lows and great storms, denser in winter; a quarter of the lows' rate is left in July."""
    found = []
    for rate_a, floor, low_m_s, high_m_s, snow in (
        (LOWS_A, 0.25, 13.0, 27.0, 1.0),
        (GREAT_A, 0.0, 34.0, 43.0, 2.0),
    ):
        child = rng.spawn(1)[0]
        densest_a = rate_a / (floor + (1.0 - floor) * (1.0 - SUMMER_SHARE))
        for begin_s in _arrivals(child, densest_a, time_s[-1]):
            end_s = begin_s + 86400.0 * child.uniform(1.0, 3.0)
            storm = Storm(
                begin_s, end_s, child.uniform(low_m_s, high_m_s), snow * child.gamma(2.0, 0.5)
            )
            if child.uniform() < 1.0 - (1.0 - floor) * _summer(start_ns, begin_s):
                found.append(storm)
    return tuple(sorted(found, key=lambda storm: storm.begin_s))


def _arrivals(rng, rate_a, last_s):
    """Yield the times of events that know nothing of each other, from three days before 0. [s]"""
    begin_s = -3.0 * 86400.0
    while True:
        begin_s += rng.exponential(YEAR_D * 86400.0 / rate_a)
        if begin_s > last_s:
            return
        yield begin_s


def _shape(time_s, begin_s, end_s):
    """Return 0 outside, 1 inside, with smooth rise and fall in a quarter of the span each."""
    edge = (end_s - begin_s) / 4.0
    ramp = np.clip(np.minimum(time_s - begin_s, end_s - time_s) / edge, 0.0, 1.0)
    return ramp**2 * (3.0 - 2.0 * ramp)


def _hours(begin_s, end_s):
    """Return the sum over hours of :func:`_shape`: two quarters count half. [h]"""
    return 0.75 * (end_s - begin_s) / HOUR_S


def _showers(rng, time_s):
    """Return snowfall between storms by hour as a share of a mean year's: 0.3 in all."""
    snowing = np.zeros(time_s.size)
    child = rng.spawn(1)[0]
    for begin_s in _arrivals(child, SHOWERS_A, time_s[-1]):
        end_s = begin_s + HOUR_S * child.uniform(6.0, 20.0)
        share = 0.3 / SHOWERS_A * child.gamma(2.0, 0.5)
        snowing += share * _shape(time_s, begin_s, end_s) / _hours(begin_s, end_s)
    return snowing


def make_weather(region, rng, place, accumulation_m_a=0.6):
    """Return the :class:`Weather` of one station.

    Parameters
    ----------
    region : Region
    rng : numpy.random.Generator
        The station's own.
    place : Place
    accumulation_m_a : float
        Snow that falls in a mean year. [m of snow/a]
    """
    count = region.time_s.size
    elevation, azimuth = sun_position(
        region.start_ns + (region.time_s * NS_PER_S).astype(np.int64),
        place.latitude_rad,
        place.longitude_rad,
    )
    cloud = np.clip(region.cloud + 0.06 * persistent(rng, count, 12.0), 0.0, 1.0)
    total, diffuse = irradiance(elevation, cloud)
    wind = _wind(region, rng)
    own = 0.8 * persistent(rng, count, 8.0)
    temperature = air_temperature(region, place, cloud, elevation) + own
    humidity = 58.0 + 30.0 * cloud + 6.0 * persistent(rng, count, 10.0)
    humidity = np.clip(humidity, 20.0, 100.0)
    snowfall = region.snowing * accumulation_m_a * rng.uniform(0.9, 1.1)
    surface, melt = snow_cover(rng, temperature, wind, snowfall)
    return Weather(
        start_ns=region.start_ns,
        place=place,
        time_s=region.time_s,
        temperature_degC=temperature,
        wind_m_s=wind,
        pressure_Pa=_pressure(region, place, temperature),
        humidity_percent=humidity,
        cloud=cloud,
        rime=_rime(temperature, wind, humidity, total),
        irradiance_W_m2=total,
        diffuse_W_m2=diffuse,
        sun_elevation_rad=elevation,
        sun_azimuth_rad=azimuth,
        snowfall_m_h=snowfall,
        melt_m_h=melt,
        _surface=PchipInterpolator(region.time_s, surface),
    )


def _wind(region, rng):
    """Return the wind: katabatic, stronger in winter, and storms; each with the place's share."""
    count = region.time_s.size
    own = 0.8 * region.katabatic + 0.6 * persistent(rng, count, 20.0)
    katabatic = (6.0 - 2.5 * region.summer) * rng.uniform(0.8, 1.25) * np.exp(0.4 * own)
    stormy = region.storm_m_s * rng.uniform(0.92, 1.03)
    both = (katabatic**4 + stormy**4) ** 0.25
    return both * np.exp(0.03 * persistent(rng, count, 3.0))


def air_temperature(region, place, cloud, elevation_rad):
    """Return the temperature of the region's air at a place, its own departures left out. [degC]

    Season, spells, clear nights, storms, day, height; a foehn mixes warm air in.

    Parameters
    ----------
    region : Region
    place : Place
        Its height counts.
    cloud, elevation_rad : array, shape (n,)
        Share of the sky and elevation of the Sun at the region's nodes.
    """
    winter = 1.0 - region.summer
    seasonal = WINTER_DEGC + (SUMMER_DEGC - WINTER_DEGC) * region.summer
    spell = (1.6 + 5.9 * winter) * 3.0 * np.tanh(region.warmth / 2.6)
    clear = -7.0 * winter * (0.55 - cloud)
    storm = 5.0 * winter * np.minimum(region.storm_m_s / 20.0, 1.0)
    day = 6.0 * np.maximum(np.sin(elevation_rad), 0.0) - 2.0 * region.summer  # about 0 on average
    height = -LAPSE_K_M * (place.height_m - REFERENCE_M)
    air = seasonal + spell + clear + storm + day + height
    return air + region.foehn * np.maximum(FOEHN_DEGC + height - air, 0.0)


def _pressure(region, place, temperature_degC):
    """Return the pressure by the law of heights of an even column, with weather. [Pa]"""
    scale_m = GAS_DRY_J_KG_K * (temperature_degC + 273.15) / GRAVITY_M_S2
    level = 101300.0 + 1100.0 * region.pressing - 60.0 * region.storm_m_s
    return level * np.exp(-place.height_m / scale_m)


def _rime(temperature_degC, wind_m_s, humidity_percent, total_W_m2):
    """Return rime, 0 to 1: grows in damp air below freezing, goes with sun, warmth and storm.

    Exact step of d rime/dt = growth (1 - rime) - loss rime with hourly rates.
    """
    damp = (humidity_percent > 86.0) & (temperature_degC < -1.0) & (temperature_degC > -30.0)
    growth = 0.03 * damp * np.minimum(wind_m_s / 6.0, 1.0) * (wind_m_s < 18.0)
    loss = 0.002 + 2e-4 * total_W_m2 + 0.1 * (temperature_degC > 0.0) + 0.03 * (wind_m_s > 20.0)
    kept = np.exp(-(growth + loss))
    target = growth / (growth + loss)
    rime, now = np.empty(kept.size), 0.0
    for k, (keep, toward) in enumerate(zip(kept.tolist(), target.tolist(), strict=True)):
        now = toward + (now - toward) * keep
        rime[k] = now
    return rime
