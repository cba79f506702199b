"""Wide lanes: whole cycles of the difference frequency, from codes and phases alone.

The wide-lane combination (Melbourne 1985, Wuebbena 1985) knows neither geometry nor clocks nor the
first order of the ionosphere; its wavelength is 0.75 to 0.86 m. Averaged over an arc it tells the
difference of the two integers, up to a bias that all arcs of a receiver and system share.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import SPEED_OF_LIGHT_M_S
from ..signals.slips import WIDE_LANE_SIGMA_CYCLES

MEMORY_S = 600.0  # s, after which the multipath of codes is another; from memory
NEAR_CYCLES = 0.25  # cycles, a fraction further off is not taken; common practice
SIGMAS = 3.0  # -, so far must the next integer be; our choice
FLOOR_CYCLES = 0.04  # cycles, no mean is taken as surer: biases of tracking; our choice


@dataclass(frozen=True)
class WideLanes:
    """By arc: ``cycles`` whole ones, ``fraction`` left (NaN without data), ``sigma``, ``fixed``."""

    cycles: np.ndarray
    fraction: np.ndarray
    sigma: np.ndarray
    fixed: np.ndarray


def fix_wide_lanes(lanes, elevation_rad, arc, family_of, interval_s):
    """Return :class:`WideLanes` of arcs.

    Parameters
    ----------
    lanes : array, shape (n, m)
        Wide-lane phase less narrow-lane code, satellite biases taken off. [cycles]
    elevation_rad : array, shape (n, m)
    arc : int array, shape (n, m)
        Number or -1.
    family_of : int array, shape (arcs,)
        Arcs that share a receiver bias.
    interval_s : float
    """
    count = len(family_of)
    mean, sigma = _means(lanes, elevation_rad, arc, count, interval_s)
    fraction, whole = np.full(count, np.nan), np.zeros(count)
    for family in np.unique(family_of):
        own = np.flatnonzero((family_of == family) & np.isfinite(mean))
        if own.size:
            bias = _common_fraction(mean[own], sigma[own] ** -2.0)
            whole[own] = np.round(mean[own] - bias)
            fraction[own] = mean[own] - bias - whole[own]
    with np.errstate(invalid="ignore"):
        size = np.abs(fraction)
        fixed = (size < NEAR_CYCLES) & (size + SIGMAS * sigma < 1.0 - SIGMAS * sigma)
        fixed &= size < SIGMAS * sigma + FLOOR_CYCLES
        fixed &= SIGMAS * sigma < 0.5
    return WideLanes(whole, fraction, sigma, fixed)


def _means(lanes, elevation_rad, arc, count, interval_s):
    """Return the weighted mean and its sigma of each arc, NaN where it has no lanes. [cycles]"""
    known = (arc >= 0) & np.isfinite(lanes)
    which, value = arc[known], lanes[known]
    weight = np.sin(np.nan_to_num(elevation_rad[known], nan=0.1)) ** 2
    for _ in range(3):  # outliers: three rounds about the mean
        total = np.bincount(which, weights=weight, minlength=count)
        with np.errstate(invalid="ignore", divide="ignore"):
            mean = np.bincount(which, weights=weight * value, minlength=count) / total
        wrong = np.abs(value - mean[which]) * np.sqrt(weight) > 4.0 * WIDE_LANE_SIGMA_CYCLES
        weight = np.where(wrong, 0.0, weight)
    square = np.bincount(which, weights=weight * (value - mean[which]) ** 2, minlength=count)
    with np.errstate(invalid="ignore", divide="ignore"):
        spread = np.sqrt(square / total)
        pieces = np.maximum(np.bincount(which, minlength=count) * interval_s / MEMORY_S, 1.0)
        sigma = np.maximum(spread, 0.5 * WIDE_LANE_SIGMA_CYCLES) / np.sqrt(pieces)
    return mean, np.hypot(sigma, FLOOR_CYCLES)


def _common_fraction(values, weight):
    """Return the fraction that values share: the direction of their weighted mean on the circle."""
    return float(np.angle(np.sum(weight * np.exp(2j * np.pi * values))) / (2.0 * np.pi))


def lane_lengths(frequency_hz):
    """Return (wide lane in the ionosphere-free phase, narrow lane), each (m,) [m per cycle].

    An ionosphere-free phase holds ``c f2 / (f1^2 - f2^2)`` for each wide-lane cycle and
    ``c / (f1 + f2)`` for each cycle of the first signal.
    """
    f1, f2 = frequency_hz.T
    return SPEED_OF_LIGHT_M_S * f2 / (f1**2 - f2**2), SPEED_OF_LIGHT_M_S / (f1 + f2)
