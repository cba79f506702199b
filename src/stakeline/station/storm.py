"""Air and wind of the worst hour: density, profile, gusts, and what comes once in n years."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError

DRY_AIR_J_KG_K = 287.05287  # J/(kg K), gas constant of dry air; ISO 2533, table 1
GRAVITY_M_S2 = 9.80665  # m/s2; ISO 2533, table 1
ZERO_DEGC_K = 273.15  # K; BIPM SI Brochure
SNOW_ROUGHNESS_M = 1e-3  # m, rough end of snow and ice; Cuffey & Paterson (2010), from memory
PEAK_SHARE = 7.0  # -, twice a peak factor of 3.5; EN 1991-1-4:2005, equation 4.8, from memory
EULER = 0.5772156649015329  # -, Euler's constant; Abramowitz & Stegun (1964), equation 6.1.3
LEAST_YEARS = 5  # a, fewer maxima carry no scale; common practice, no source


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

    ``mode``, ``scale`` in the unit of the maxima [m/s]; ``years`` fitted, 0 where given by hand.
    """

    mode_m_s: float
    scale_m_s: float
    years: int = 0

    def once_in(self, return_period_a):
        """Return the speed exceeded in a year with probability 1 / return period. [m/s]"""
        return self.mode_m_s + self.scale_m_s * _reduced(return_period_a)

    def sigma_once_in(self, return_period_a):
        """Return the standard error of :meth:`once_in` from the few years alone. [m/s]

        scale sqrt((1.1128 + 0.4574 y + 0.8046 y^2) / n), y = -ln(-ln(1 - 1/T)): Phien (1987, J.
        Hydrol. 90, 61), from memory, good to a tenth from ten years on. NaN without years.
        """
        if self.years == 0:
            return np.nan
        y = _reduced(return_period_a)
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
