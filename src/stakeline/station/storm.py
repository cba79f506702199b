"""Air and wind of the worst hour: density, profile, gusts, and what comes once in n years."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.ndimage import maximum_filter1d

from ..errors import SettingsError

DRY_AIR_J_KG_K = 287.05287  # J/(kg K), gas constant of dry air; ISO 2533, table 1
GRAVITY_M_S2 = 9.80665  # m/s2; ISO 2533, table 1
ZERO_DEGC_K = 273.15  # K; BIPM SI Brochure
SNOW_ROUGHNESS_M = 1e-3  # m, rough end of snow and ice; Cuffey & Paterson (2010), from memory
PEAK_SHARE = 7.0  # -, twice a peak factor of 3.5; EN 1991-1-4:2005, equation 4.8, from memory
EULER = 0.5772156649015329  # -, Euler's constant; Abramowitz & Stegun (1964), equation 6.1.3
LEAST_YEARS = 5  # a, fewer maxima carry no scale; common practice, no source
YEAR_H = 8766.0  # h; Julian year
KNOWN_SHARE = 0.9  # -, of a year's hours, for its maximum to count; own choice
APART_H = 48  # h, between storms that count as two; two to four days, Cook (1985), from memory
STORMS_A = 10.0  # 1/a, strongest ones fitted; own choice


def air_density(pressure_hPa, temperature_degC):
    """Return the density of dry air, p / (R T). [kg/m3]

    ISO 2533, equation 3. Vapour would make cold air lighter by less than 0.1 %.

    Parameters
    ----------
    pressure_hPa, temperature_degC : float or array
        At the station [hPa], [degC].

    Examples
    --------
    >>> round(float(air_density(1013.25, 15.0)), 4)
    1.225
    """
    pressure, kelvin = np.asarray(pressure_hPa, float), np.asarray(temperature_degC) + ZERO_DEGC_K
    if not (np.all(pressure > 0.0) and np.all(kelvin > 0.0)):
        raise SettingsError(
            f"pressure {pressure_hPa} hPa and temperature {temperature_degC} degC: expected a "
            "positive pressure and a temperature above -273.15 degC"
        )
    return 100.0 * pressure / (DRY_AIR_J_KG_K * kelvin)


def pressure_at(elevation_m, temperature_degC, sea_level_hPa=1013.25):
    """Return the pressure at an elevation under an air column of one temperature. [hPa]

    p = p0 exp(-g z / (R T)); ISO 2533, equation 13. Over Antarctica the sea-level pressure is
    rather 985 hPa: give the station's own pressure where it is known.
    """
    kelvin = np.asarray(temperature_degC) + ZERO_DEGC_K
    fall = GRAVITY_M_S2 * np.asarray(elevation_m, float) / (DRY_AIR_J_KG_K * kelvin)
    return sea_level_hPa * np.exp(-fall)


def speed_at_height(speed_m_s, measured_at_m, height_m, roughness_m=SNOW_ROUGHNESS_M):
    """Return the wind speed at another height by the logarithmic law. [m/s]

    U(z) = U(z0) ln(z/r) / ln(z0/r), neutral air, which a storm is (Stull 1988, equation 9.7.5).

    Raises
    ------
    SettingsError
        For heights not above the roughness length.
    """
    heights = np.asarray(height_m, float)
    if not (roughness_m > 0.0 and measured_at_m > roughness_m and np.all(heights > roughness_m)):
        raise SettingsError(
            f"heights {measured_at_m} and {height_m} m over a roughness of {roughness_m} m: "
            "expected heights above the roughness length; measure both from the snow"
        )
    ratio = np.log(heights / roughness_m) / np.log(measured_at_m / roughness_m)
    return np.asarray(speed_m_s) * ratio


def gust_factor(height_m, roughness_m=SNOW_ROUGHNESS_M):
    """Return the speed of a gust over the ten-minute mean; no unit.

    sqrt(1 + 7 I) with the intensity of turbulence I = 1 / ln(z/r): EN 1991-1-4:2005, equations
    4.7 and 4.8, from memory. Falling winds in valleys can gust harder: give a measured factor then.
    """
    height = np.asarray(height_m, float)
    if not np.all(height > np.e * roughness_m):
        raise SettingsError(
            f"height {height_m} m over a roughness of {roughness_m} m: expected a height of more "
            "than three times the roughness length"
        )
    return np.sqrt(1.0 + PEAK_SHARE / np.log(height / roughness_m))


def dynamic_pressure(speed_m_s, density_kg_m3):
    """Return rho v^2 / 2. [Pa]"""
    return 0.5 * np.asarray(density_kg_m3) * np.asarray(speed_m_s) ** 2


@dataclass(frozen=True)
class Extremes:
    """A Gumbel law of yearly maxima: P(no more than x in a year) = exp(-exp(-(x - mode) / scale)).

    ``mode``, ``scale`` in the unit of the maxima [m/s]; ``years`` fitted, 0 where given by hand;
    ``storms``: so many of them were fitted in these years, 0 for yearly maxima.
    """

    mode_m_s: float
    scale_m_s: float
    years: float = 0.0
    storms: int = 0

    def once_in(self, return_period_a):
        """Return the speed exceeded in a year with probability 1 / return period. [m/s]"""
        return self.mode_m_s + self.scale_m_s * _reduced(return_period_a)

    def sigma_once_in(self, return_period_a):
        """Return the standard error of :meth:`once_in` from the few years alone. [m/s]

        With y = -ln(-ln(1 - 1/T)), of n years: scale sqrt((1.1128 + 0.4574 y + 0.8046 y^2) / n),
        Phien (1987, J. Hydrol. 90, 61), from memory, good to a tenth from ten years on. Of n
        storms, r a year: scale sqrt((1 + (ln r + y)^2) / n), by the errors of scale and rate
        (derived here). NaN without years.
        """
        if self.years == 0:
            return np.nan
        y = _reduced(return_period_a)
        if self.storms:
            rise = np.log(self.storms / self.years) + y
            return self.scale_m_s * np.sqrt((1.0 + rise**2) / self.storms)
        return self.scale_m_s * np.sqrt((1.1128 + 0.4574 * y + 0.8046 * y**2) / self.years)

    def chance_of(self, speed_m_s, years=1.0):
        """Return the probability that the speed is exceeded within so many years."""
        quiet = np.exp(-(np.asarray(speed_m_s) - self.mode_m_s) / self.scale_m_s)
        return -np.expm1(-years * quiet)


def _reduced(return_period_a):
    period = np.asarray(return_period_a, float)
    if not np.all(period > 1.0):
        raise SettingsError(
            f"a return period of {return_period_a} years: expected more than 1, such as 50"
        )
    return -np.log(-np.log1p(-1.0 / period))


def fit_extremes(yearly_maxima_m_s):
    """Return the Gumbel law of yearly maxima by L-moments.

    scale = L2 / ln 2, mode = mean - Euler scale (Hosking 1990, J. R. Stat. Soc. B 52, 105).
    Ten-minute means and gusts must not be mixed; NaN are years without a maximum.

    Raises
    ------
    SettingsError
        For fewer than five years, or years that are all alike.
    """
    maxima = np.asarray(yearly_maxima_m_s, float).ravel()
    maxima = np.sort(maxima[np.isfinite(maxima)])
    n = maxima.size
    if n < LEAST_YEARS or maxima[0] == maxima[-1] or maxima[0] < 0.0:
        raise SettingsError(
            f"{n} yearly maxima of wind: expected at least {LEAST_YEARS} that differ, none "
            "negative; with fewer give the design speed by hand"
        )
    second = 2.0 * np.sum(np.arange(n) * maxima) / (n * (n - 1)) - maxima.mean()
    scale = second / np.log(2.0)
    return Extremes(float(maxima.mean() - EULER * scale), float(scale), n)


def yearly_maxima(speed_m_s):
    """Return the largest of each year of hours (n,) from the first on, (years,). [m/s]

    NaN where more than a tenth of the year is missing; what is left over at the end is no year.
    """
    years = int(len(speed_m_s) / YEAR_H)
    ends = np.round(YEAR_H * np.arange(years + 1)).astype(int)
    rows = [np.asarray(speed_m_s, float)[a:b] for a, b in pairwise(ends)]
    there = [np.isfinite(row) for row in rows]
    enough = [known.mean() >= KNOWN_SHARE for known in there]
    return np.array([row[known].max() if good else np.nan
                     for row, known, good in zip(rows, there, enough, strict=True)])  # fmt: skip


def storm_peaks(speed_m_s):
    """Return the largest of each storm in hours of wind (n,), NaN where missing, in order. [m/s]

    Storms are :data:`APART_H` apart: an hour counts that is the largest of as many before and
    after it (Cook 1985, The designer's guide to wind loading, has two to four days; from memory).
    """
    speed = np.nan_to_num(np.asarray(speed_m_s, float), nan=-1.0)
    around = maximum_filter1d(speed, 2 * APART_H + 1, mode="constant", cval=-1.0)
    top = np.flatnonzero((speed == around) & (speed > 0.0))
    first = np.diff(top, prepend=-2 * APART_H) > APART_H  # equal hours of one storm count once
    return speed[top[first]]


def fit_storms(peaks_m_s, years):
    """Return the Gumbel law of yearly maxima by the :data:`STORMS_A` strongest storms a year.

    Storms above a speed come at random, their excess is exponential: mode = that speed + scale
    ln(storms a year), scale = mean excess (Davison & Smith 1990, J. R. Stat. Soc. B 52, 393, with
    a shape of 0).

    Raises
    ------
    SettingsError
        For less than a year, fewer storms, or storms that are all alike.
    """
    peaks = np.sort(np.asarray(peaks_m_s, float))[::-1]
    count = int(STORMS_A * years)
    if years < 1.0 or peaks.size <= count or peaks[0] == peaks[count]:
        raise SettingsError(
            f"{peaks.size} storms of {years:.1f} years: expected a year at least, more than "
            f"{STORMS_A:g} storms in each that differ; with fewer give the design speed by hand"
        )
    scale = float((peaks[:count] - peaks[count]).mean())
    return Extremes(float(peaks[count] + scale * np.log(count / years)), scale, years, count)
