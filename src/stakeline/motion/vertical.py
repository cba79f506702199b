"""The height budget of a station on ice, closed exactly: measured = sum of terms + residual.

Terms: advection down the slope of the surface, vertical strain, settling of the pole in the firn,
tide with the inverse barometer, changes of the antenna. Each is optional, says where it comes
from, and carries two uncertainties: one independent from row to row, and factors of what is
common to all rows (a slope, a rate): ``covariance = diag(sigma^2) + factor factor'``. A slope
wrong by 1 % tilts the whole series; treated as white noise it would average away.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import INVERSE_BAROMETER_M_HPA, NS_PER_DAY
from ..errors import SettingsError
from .rows import checked_times

DAYS_A_YEAR = 365.25  # d/a, Julian year; definition


@dataclass(frozen=True)
class Term:
    """One term of the budget.

    ``value_m`` (n,); ``sigma_m`` (n,) independent between rows; ``factor_m`` (n, r): one column
    for each common parameter, what one sigma of it does to each row; ``parameters`` (r,) names of
    these, equal names in two terms being the same parameter; ``source`` in words.
    """

    name: str
    value_m: np.ndarray
    sigma_m: np.ndarray
    factor_m: np.ndarray
    parameters: tuple
    source: str


@dataclass(frozen=True)
class HeightBudget:
    """A height taken apart.

    ``measured_m`` equals the sum of the terms' values and ``residual_m`` (n,) to rounding.
    ``residual_sigma_m`` (n,) is independent between rows, ``residual_factor_m`` (n, r) common, one
    column for each of ``parameters``. Values are heights relative to the first row's terms: where
    a term is NaN, so is the residual.
    """

    time_ns: np.ndarray
    measured_m: np.ndarray
    terms: tuple
    residual_m: np.ndarray
    residual_sigma_m: np.ndarray
    residual_factor_m: np.ndarray
    parameters: tuple

    def total_sigma_m(self):
        """Return the whole sigma of the residual (n,): the two parts together. [m]"""
        return np.sqrt(self.residual_sigma_m**2 + (self.residual_factor_m**2).sum(axis=1))

    def change(self, first, last):
        """Return (change of the residual from row ``first`` to ``last``, its sigma). [m]

        What is common weighs by its change between the rows only.
        """
        common = self.residual_factor_m[last] - self.residual_factor_m[first]
        alone = self.residual_sigma_m[[first, last]]
        sigma = np.sqrt((alone**2).sum() + common @ common)
        return float(self.residual_m[last] - self.residual_m[first]), float(sigma)

    def rate(self, independent=None):
        """Return (rate of the residual, its sigma) by a straight line. [m/d]

        ``independent``: effective number of independent rows (default: all), as by
        :func:`stakeline.inference.memory.effective_size`. The common parameters enter in full.
        """
        whole = np.isfinite(self.residual_m) & np.isfinite(self.residual_sigma_m)
        time_d = (self.time_ns[whole] - self.time_ns[0]) / NS_PER_DAY
        if len(time_d) < 3:
            return np.nan, np.nan
        away = time_d - time_d.mean()
        weights = away / (away @ away)
        count = len(time_d) if independent is None else independent
        own = (weights * self.residual_sigma_m[whole]) @ (weights * self.residual_sigma_m[whole])
        common = weights @ self.residual_factor_m[whole]
        variance = own * len(time_d) / count + common @ common
        return float(weights @ self.residual_m[whole]), float(np.sqrt(variance))


def given_term(name, value_m, sigma_m=0.0, factor_m=None, parameters=(), source="given"):
    """Return a :class:`Term` of arrays.

    Raises SettingsError where shapes or the number of names do not fit.
    """
    value = np.asarray(value_m, float)
    sigma = np.broadcast_to(np.asarray(sigma_m, float), value.shape).copy()
    factor = np.zeros((len(value), 0)) if factor_m is None else np.asarray(factor_m, float)
    factor = factor[:, None] if factor.ndim == 1 else factor
    if factor.shape != (len(value), len(parameters)) or value.ndim != 1:
        raise SettingsError(
            f"term '{name}': values {value.shape}, factor {factor.shape}, "
            f"{len(parameters)} parameters; expected (n,), (n, r) and r names"
        )
    return Term(name, value, sigma, factor, tuple(parameters), source)


def slope_term(travel_m, slope, slope_sigma, source):
    """Return what the station loses by moving down a slope: ``slope * travel``.

    Parameters
    ----------
    travel_m : array (n,)
        Horizontal travel since the first row, along the flow. [m]
    slope : float
        Rise of the surface by metre of travel; negative downhill.
    slope_sigma : float
        Common to all rows.
    source : str
        Where the slope comes from; said in the budget.
    """
    travel = np.asarray(travel_m, float)
    return given_term(
        "slope", slope * travel, 0.0, slope_sigma * travel, (f"slope ({source})",), source
    )


def vertical_strain_term(time_ns, rate_m_a, rate_sigma_m_a, source="given"):
    """Return the rise of the surface by vertical strain at an even rate since the first row."""
    years = _days(time_ns) / DAYS_A_YEAR
    factor = rate_sigma_m_a * years
    return given_term("vertical strain", rate_m_a * years, 0.0, factor, ("strain rate",), source)


def vertical_strain_rate_m_a(thickness_m, divergence_per_a, shape=1.0):
    """Return (rate, sigma) of the surface's rise by horizontal divergence. [m/a]

    Incompressible ice, no sliding up or down at the bed: ``w = -H (exx + eyy) shape``, ``shape``
    the mean over depth of the strain rate over that of the surface. Each argument a number or
    (value, sigma), taken as independent. Cuffey & Paterson (2010), section 8.5.
    """
    pairs = [_pair(x) for x in (thickness_m, divergence_per_a, shape)]
    (h, _), (d, _), (f, _) = pairs
    partial = (d * f, h * f, h * d)
    sigma = np.sqrt(sum((p * s) ** 2 for p, (_, s) in zip(partial, pairs, strict=True)))
    return -h * d * f, float(sigma)


def settling_term(time_ns, rate_m_a, rate_sigma_m_a, source="given"):
    """Return the sinking of the pole in firn and snow at an even rate since the first row.

    ``rate_m_a`` positive downward; firn below compacts and the pole with it. [m/a]
    """
    years = _days(time_ns) / DAYS_A_YEAR
    factor = rate_sigma_m_a * years
    return given_term("settling", -rate_m_a * years, 0.0, factor, ("settling rate",), source)


def tide_term(tide_m, sigma_m=0.0, admittance_sigma=0.0, source="given"):
    """Return the tide at the station; ``admittance_sigma`` is a common relative uncertainty."""
    tide = np.asarray(tide_m, float)
    if admittance_sigma == 0.0:
        return given_term("tide", tide, sigma_m, source=source)
    factor = admittance_sigma * tide
    return given_term("tide", tide, sigma_m, factor, ("tidal admittance",), source)


def inverse_barometer_term(
    pressure_hPa, share=1.0, share_sigma=0.0, source="station pressure", mean_hPa=None
):
    """Return how floating ice answers to air pressure: 1 cm down for 1 hPa up.

    Departure from ``mean_hPa``, without it from the mean of what is there. ``share``: 1 afloat, 0
    grounded; its sigma is common.
    """
    pressure = np.asarray(pressure_hPa, float)
    mean = np.nanmean(pressure) if mean_hPa is None else mean_hPa
    answer = -INVERSE_BAROMETER_M_HPA * (pressure - mean)
    factor, name = share_sigma * answer, ("barometer share",)
    return given_term("inverse barometer", share * answer, 0.0, factor, name, source)


def antenna_term(time_ns, change_ns, rise_m, rise_sigma_m, source="station history"):
    """Return changes of the antenna's height over the ice.

    Parameters
    ----------
    time_ns : array (n,)
    change_ns : array (k,)
        From this time on the antenna is higher by ``rise_m`` (k,) with ``rise_sigma_m`` (k,).
    """
    after = np.asarray(time_ns, np.int64)[:, None] >= np.asarray(change_ns, np.int64)
    rise, sigma = np.asarray(rise_m, float), np.asarray(rise_sigma_m, float)
    names = tuple(f"antenna change {j + 1}" for j in range(len(rise)))
    return given_term("antenna", after @ rise, 0.0, after * sigma, names, source)


def close_budget(time_ns, measured_m, sigma_m, terms):
    """Take a measured height apart into the terms given and what is left.

    Parameters
    ----------
    time_ns : array (n,)
        Strictly ascending. [ns]
    measured_m, sigma_m : array (n,)
        Height relative to that of the first row or to any other origin: the residual keeps it; and
        its independent sigma. [m]
    terms : sequence of Term

    Returns
    -------
    HeightBudget
        Its residual is ``measured - sum``: bed, lake, and all that is in no term. Honest as far as
        the sigmas of the terms are; coloured noise of the heights belongs into a rate's
        ``independent``.
    """
    time_ns = checked_times(time_ns)
    measured = np.asarray(measured_m, float)
    sigma = np.broadcast_to(np.asarray(sigma_m, float), measured.shape)
    wrong = [t.name for t in terms if t.value_m.shape != measured.shape]
    if wrong or measured.shape != time_ns.shape:
        raise SettingsError(
            f"{len(time_ns)} times, heights {measured.shape}; terms of another length: {wrong}"
        )
    residual = measured - sum((t.value_m for t in terms), np.zeros_like(measured))
    variance = sigma**2 + sum((t.sigma_m**2 for t in terms), np.zeros_like(measured))
    names = list(dict.fromkeys(name for t in terms for name in t.parameters))
    factor = np.zeros((len(measured), len(names)))
    for term in terms:
        for j, name in enumerate(term.parameters):
            factor[:, names.index(name)] -= term.factor_m[:, j]
    return HeightBudget(
        time_ns, measured, tuple(terms), residual, np.sqrt(variance), factor, tuple(names)
    )


def _days(time_ns):
    time_ns = checked_times(time_ns)
    return (time_ns - time_ns[0]) / NS_PER_DAY if len(time_ns) else np.zeros(0)


def _pair(given):
    return (float(given), 0.0) if np.ndim(given) == 0 else (float(given[0]), float(given[1]))
