"""Red noise of estimated positions, for series of any interval from 30 s to days, over years.

Within a day the noise has the error spectrum that kinematic positions of two real still antennas
have, at 55.5 N (2020-06-25) and 47.7 N (2025-01-01), of GPS and Galileo: the geometric mean of the
two from periods of 10 min to 12 h. East and north share their numbers; the two antennas gave
correlations of east, north and up of either sign and at most 0.27, so there are none. Beyond, it
goes on with the white noise that this spectrum leaves to daily means (1.5 mm level, 3.2 mm up) and
with flicker, most of which all stations of a region share: :func:`common_noise`.

All is built from Gauss-Markov processes that are taken exactly from one time to the next, whatever
the step, so that a thinned series has the statistics of one made at the coarser interval.
"""

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from ..constants import EARTH_ROTATION_RAD_S, NS_PER_DAY, NS_PER_S
from ..errors import SettingsError

KINDS = ("kinematic", "daily")
SIDEREAL_DAY_S = 2.0 * np.pi / EARTH_ROTATION_RAD_S  # s, after which directions come again
DRACONITIC_DAY = 351.4  # d, year of the GPS planes against the Sun; Ray et al. (2008), GPS Sol. 12
DAYS_PER_YEAR = 365.25  # d; definition

# Calibrated: density at the longest periods, memory, and memories of the estimator's smoothing.
LEVEL_MEMORIES_S = (3670.0, 295.0, 221.0, 163.0)  # s
UP_MEMORIES_S = (1080.0, 840.0, 720.0, 594.0)  # s
LEVEL_SIGMA_M, UP_SIGMA_M = 0.0048, 0.0128  # m, of the whole noise within a day

# mm/a^0.25 by daily positions: sizes of Williams et al. (2004), JGR 109, B03412, for solutions of
# the whole Earth (common) and after filtering by region (own), rounded, from memory
COMMON_FLICKER_M = (0.0065, 0.0065, 0.018)
OWN_FLICKER_M = (0.0025, 0.0025, 0.006)
SHORTEST_FLICKER_S = 2.0 * 86400.0  # s; below, noise within the day is far stronger
FLICKER_FACTOR, FLICKER_PARTS = 3.0, 8  # memories from 2 days to 12 years

SIDEREAL_M = np.array([[0.0015, 0.0015, 0.003], [0.0007, 0.0007, 0.0015]])  # m, K1, K2; invented
DRACONITIC_M = np.array([[0.001, 0.001, 0.002], [0.0007, 0.0007, 0.0015]])  # m; from memory
SNOW_TURNS_M = 3.6  # 1/m, 2 sin(20 deg) / wavelength of L1: how the reflected wave turns
SNOW_MEMORY_S = 60.0 * 86400.0  # s, of the snow's height where it is not given; invented

# Sigma of the logarithm of sigmas and its memories [s]: from day to day, invented; within a day, as
# measured (0.09 level on both antennas, correlation 0.6 to 0.7 after 30 min)
QUALITY = ((0.15, (4.3e5, 4.3e4, 3.4e4)), (0.09, (2400.0, 600.0, 450.0)))


@dataclass(frozen=True)
class Extras:
    """What troubles positions besides noise.

    Attributes
    ----------
    outlier_share : float
        Share of epochs with an outlier of 3 to 10 sigma. Invented: of the 5760 epochs of the two
        real antennas none is beyond 4 sigma; antennas on ice are known to have some.
    day_jump_m : tuple of float
        Sigma of a shift that holds through each GPS day, east, north, up, such as comes from
        orbits and ambiguities by the day.
    snow_m : array, shape (n,), or None
        Height of the antenna above the snow, which turns the daily multipath; None: it wanders.
    """

    outlier_share: float = 0.003
    day_jump_m: tuple = (0.0, 0.0, 0.0)
    snow_m: np.ndarray | None = None


def noise_of_positions(rng, time_ns, kind="kinematic", extras=None):
    """Return (error, sigma) of the positions of one station, each (n, 3) east, north, up. [m]

    Parameters
    ----------
    rng : numpy.random.Generator
        The same state gives the same bytes.
    time_ns : array of int64, shape (n,)
        GPS times, increasing; gaps and uneven steps are allowed. [ns]
    kind : str
        ``kinematic``: epoch by epoch; ``daily``: means over a day, white within, with flicker.
    extras : Extras, optional

    Returns
    -------
    error_m, sigma_m : arrays, shape (n, 3)
        Sigmas tell of the noise within a day, as the estimator's do: not of flicker, multipath
        and outliers.

    Raises
    ------
    SettingsError
        Where times do not increase or the kind is unknown.
    """
    extras, time_ns = extras or Extras(), np.asarray(time_ns)
    if kind not in KINDS:
        raise SettingsError(f"no kind of positions '{kind}'; there are {', '.join(KINDS)}")
    if time_ns.ndim != 1 or (np.diff(time_ns) <= 0).any():
        raise SettingsError("times of positions do not increase; give each time once, in order")
    by_noise, by_quality, by_path, by_outlier, by_day = rng.spawn(5)
    time_s = _seconds(time_ns)
    sigma = _quality(by_quality, time_s)[:, None] * np.array([LEVEL_SIGMA_M] * 2 + [UP_SIGMA_M])
    if kind == "daily":
        sigma = sigma * daily_share()
        error = sigma * by_noise.standard_normal(sigma.shape)
    else:
        error = within_a_day(by_noise, time_s)
        error *= sigma / [LEVEL_SIGMA_M, LEVEL_SIGMA_M, UP_SIGMA_M]
        error += _daily_multipath(by_path, time_ns, extras.snow_m)
    error += flicker(by_noise, time_s, OWN_FLICKER_M)
    error += _outliers(by_outlier, sigma, extras.outlier_share)
    return error + _day_jumps(by_day, time_ns, extras.day_jump_m), sigma


def common_noise(rng, time_ns):
    """Return the error (n, 3) that all stations of a region share. [m]

    From satellites' orbits and clocks and the frame: flicker of 2 to 3 mm level and 6 mm up, and
    two waves of the draconitic year. It is a function of absolute time (lines of chance at periods
    from 8 h to 8 years): a fresh generator of the same seed gives the same error at a time,
    whichever other times are asked for.
    """
    factor = 1.25
    period_s = 8.0 * 3600.0 * factor ** np.arange(41)
    period_s = period_s * factor ** rng.uniform(-0.5, 0.5, period_s.size)
    level = flicker_level_m2(np.array(COMMON_FLICKER_M)) * np.log(factor)
    size = np.repeat(np.sqrt(level)[None], period_s.size, axis=0)
    period_s = np.concatenate([period_s, DRACONITIC_DAY * 86400.0 / np.array([1.0, 2.0])])
    size = np.vstack([size, DRACONITIC_M / np.sqrt(2.0)])
    cosine, sine = rng.standard_normal((2, *size.shape)) * size
    turn = _seconds(time_ns)[:, None] / period_s
    turn = 2.0 * np.pi * (turn - np.floor(turn))
    return np.cos(turn) @ cosine + np.sin(turn) @ sine


def flicker_level_m2(amplitude_m):
    """Return c of the one-sided spectrum c / f of flicker noise. [m2]

    ``amplitude_m`` [m/a^0.25] is that of fractional differences at daily positions: innovations of
    sigma b dt^(1/4), so that c = b2 sqrt(dt) / pi with dt in years (Williams 2003, J. Geod. 76,
    483, equations 7 and 10). The b of logarithmic covariances [m] is another number.
    """
    return np.asarray(amplitude_m) ** 2 * np.sqrt(1.0 / DAYS_PER_YEAR) / np.pi


def flicker(rng, time_s, amplitude_m):
    """Return flicker noise (n, k) of k amplitudes [m/a^0.25, see :func:`flicker_level_m2`]. [m]

    A sum of Gauss-Markov processes of equal variance v whose memories grow by a factor r has the
    one-sided spectrum v / (ln r f) between the inverse of the longest and the shortest memory.
    """
    sigma = np.sqrt(flicker_level_m2(amplitude_m) * np.log(FLICKER_FACTOR))
    parts = SHORTEST_FLICKER_S * FLICKER_FACTOR ** np.arange(FLICKER_PARTS)
    return sum(smoothed_markov(rng, time_s, (part,), sigma) for part in parts)


def within_a_day(rng, time_s):
    """Return the noise (n, 3) that was calibrated from 10 min to 12 h. [m]"""
    level = smoothed_markov(rng, time_s, LEVEL_MEMORIES_S, np.full(2, LEVEL_SIGMA_M))
    up = smoothed_markov(rng, time_s, UP_MEMORIES_S, np.array([UP_SIGMA_M]))
    return np.hstack([level, up])


def daily_share():
    """Return what a mean over a day leaves of the sigma within a day, level, level, up (3,)."""
    shares = [mean_share(memories, 86400.0) for memories in (LEVEL_MEMORIES_S, UP_MEMORIES_S)]
    return np.array([shares[0], shares[0], shares[1]])


def mean_share(memories_s, span_s):
    """Return sigma of means over a span, as a share of the sigma of :func:`smoothed_markov`.

    The mean of exp(-p |t|) over pairs of times in a span T is 2 (pT - 1 + exp(-pT)) / (pT)2.
    """
    rate, covariance = modes(memories_s)
    turn = rate * span_s
    kept = 2.0 * (turn - 1.0 + np.exp(-turn)) / turn**2
    return float(np.sqrt(covariance.sum(axis=1) @ kept))


def modes(memories_s):
    """Return (rates (k,) [1/s], covariance (k, k)) of white noise smoothed by k exponentials.

    The smoothed noise of unit variance is the sum of k Gauss-Markov processes driven by the same
    white noise: partial fractions of the product of 1 / (1 + memory s). Its autocorrelation is
    ``sum_i (sum_j covariance_ij) exp(-rate_i t)``, its spectrum goes as the product of
    1 / (1 + (2 pi f memory)2). Gelb (1974), Applied Optimal Estimation, section 3.6.
    """
    rate = 1.0 / np.asarray(memories_s, float)
    apart = rate[None, :] - rate[:, None]
    np.fill_diagonal(apart, 1.0)
    gain = np.prod(rate) / np.prod(apart, axis=1)
    covariance = np.outer(gain, gain) / (rate[:, None] + rate[None, :])
    return rate, covariance / covariance.sum()


def smoothed_markov(rng, time_s, memories_s, sigma):
    """Return stationary noise (n, m) of white noise smoothed by exponentials, exact at any step.

    Parameters
    ----------
    rng : numpy.random.Generator
    time_s : array, shape (n,)
        Increasing. Times on a grid of the smallest step, most of it used, are cut from that grid.
    memories_s : sequence of k floats
        Different from each other; one gives a Gauss-Markov process. [s]
    sigma : array, shape (m,)
        Of the noise.
    """
    time_s, sigma = np.asarray(time_s, float), np.asarray(sigma, float)
    rate, covariance = modes(memories_s)
    start = _root(covariance) @ rng.standard_normal((rate.size, sigma.size))
    if time_s.size < 2:
        return (start.sum(axis=0) * sigma)[None].repeat(time_s.size, axis=0)
    gap_s = np.diff(time_s)
    grid = (time_s - time_s[0]) / gap_s.min()
    place = np.round(grid).astype(np.int64)
    if np.abs(grid - place).max() < 1e-3 and place[-1] < 3 * time_s.size:
        return _even(rng, gap_s.min(), place[-1] + 1, rate, covariance, start)[place] * sigma
    return _uneven(rng, gap_s, rate, covariance, start) * sigma


def _even(rng, step_s, count, rate, covariance, start):
    """Return the sum of modes (count, m) at an even step."""
    kept = np.exp(-rate * step_s)
    root = _root(covariance * (1.0 - np.outer(kept, kept)))
    fresh = rng.standard_normal((count, start.shape[1], rate.size)) @ root.T
    fresh[0] = start.T
    return sum(lfilter([1.0], [1.0, -kept[k]], fresh[..., k], axis=0) for k in range(rate.size))


def _uneven(rng, gap_s, rate, covariance, start):
    """Return the sum of modes (n, m) with a step of its own to each time."""
    kept = np.exp(-rate * gap_s[:, None])
    root = _root(covariance * (1.0 - kept[:, :, None] * kept[:, None, :]))
    fresh = root @ rng.standard_normal((gap_s.size, rate.size, start.shape[1]))
    state, total = start, np.empty((gap_s.size + 1, start.shape[1]))
    total[0] = state.sum(axis=0)
    for k in range(gap_s.size):
        state = kept[k, :, None] * state + fresh[k]
        total[k + 1] = state.sum(axis=0)
    return total


def _root(covariance):
    """Return R with R R' the covariance (..., k, k), which may be close to singular."""
    value, vector = np.linalg.eigh(covariance)
    return vector * np.sqrt(np.maximum(value, 0.0))[..., None, :]


def _seconds(time_ns):
    """Return seconds (n,) since the beginning of GPS time in this house's count."""
    return np.asarray(time_ns) / NS_PER_S


def _quality(rng, time_s):
    """Return factors (n,) of the noise and its sigmas, mean square 1."""
    total = sum(smoothed_markov(rng, time_s, parts, [size])[:, 0] for size, parts in QUALITY)
    return np.exp(total - sum(size**2 for size, _ in QUALITY))


def _daily_multipath(rng, time_ns, snow_m):
    """Return reflections (n, 3) that come again after a sidereal day and half of it. [m]

    Each direction of a satellite comes again, but the detour changes with the height above snow.
    """
    time_s = _seconds(time_ns)
    if snow_m is None:
        snow_m = smoothed_markov(rng, time_s, (SNOW_MEMORY_S,), [0.1])[:, 0]
    turn = 2.0 * np.pi * SNOW_TURNS_M * np.asarray(snow_m, float)
    day = 2.0 * np.pi * time_s / SIDEREAL_DAY_S
    first = rng.uniform(0.0, 2.0 * np.pi, (2, 2, 3))
    error = np.zeros((time_s.size, 3))
    for k in (0, 1):
        for i, size in enumerate(SIDEREAL_M[k]):
            swing = np.cos(turn + first[k, 0, i])  # two waves: one turns with the snow
            error[:, i] += size * swing * np.cos((k + 1) * day + first[k, 1, i])
            error[:, i] += 0.5 * size * np.cos((k + 1) * day + first[k, 0, i])
    return error


def _outliers(rng, sigma_m, share):
    """Return outliers (n, 3) of 3 to 10 sigma in all directions, 0 elsewhere. [m]"""
    hit = rng.random(len(sigma_m)) < share
    direction = rng.standard_normal(sigma_m.shape)
    direction /= np.linalg.norm(direction, axis=1, keepdims=True)
    size = rng.uniform(3.0, 10.0, len(sigma_m))
    return np.where(hit, size, 0.0)[:, None] * direction * sigma_m


def _day_jumps(rng, time_ns, size_m):
    """Return a shift (n, 3) that is constant through each GPS day. [m]"""
    day = np.asarray(time_ns) // NS_PER_DAY
    number = day - day[:1]
    shifts = rng.standard_normal((int(number[-1]) + 1 if number.size else 0, 3))
    return shifts[number] * np.asarray(size_m)
