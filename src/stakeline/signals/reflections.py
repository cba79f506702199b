"""Height of the antenna above the snow, from the swing of signal strengths at low elevation.

The wave from the snow travels 2 H sin(e) further than the direct one, so the strength swings with
2 H / wavelength cycles per unit of sin(e): Larson et al. (2009), Geophys. Res. Lett. 36, L17502.

What is found is the height of the antenna's phase centre over the mean reflecting surface some 5
to 30 m around. A slope of the snow is ignored: it makes passes of opposite sides disagree and
cancels where they are evenly spread. Waves that reach below the surface of dry snow make the
height some centimetres too large. Neither is in the uncertainty.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SettingsError
from ._reflection_kernels import (
    AT_EDGE,
    FACTS,
    FINE,
    SOUND,
    TOO_FEW,
    TOO_SHORT,
    TREND,
    arc_swings,
)

LOWEST_RAD = np.radians(5.0)  # rad; below, obstacles and bending; common practice, no source
HIGHEST_RAD = np.radians(30.0)  # rad; above, the reflection is too weak; common practice, no source
SHORTEST_M = 0.3  # m; lower, the swing is too slow to be told from the trend
TALLEST_M = 8.0  # m; no mast of a snow station is taller
_GAP_S = 600.0  # a longer gap ends an arc
_LEAST_SAMPLES = 20
_LEAST_CYCLES = 1.2  # fewer swings in an arc cannot be told from the trend
_CHANCE = 1e-3  # of a peak so high in white noise
_PEAK_RATIO = 2.5  # least amplitude of the peak over the rms of the rest of the spectrum
_OVERSAMPLING = 4  # trial heights per resolution cell
LEAST_PASSES = 4
_AGREEING = 0.6  # least share of a day's passes that must agree
_WIDEST_SCATTER_M = 0.15  # m; passes that scatter more agree on nothing
_TREND_ERROR_M = 0.02  # m; what the trend takes of few swings, at so many wavelengths: measured
_TREND_WAVES = 2.6  # of height (0.5 m at L1); on invented passes
_QUIET = AT_EDGE + 1
_REFUSED = {
    SOUND: "",
    TOO_FEW: "too few samples",
    TOO_SHORT: "too short for the heights that are possible",
    AT_EDGE: "the peak is at the edge of the possible heights",
    _QUIET: "no swing stands out of the noise",
}


@dataclass(frozen=True)
class ArcHeights:
    """One height for each arc and signal; arrays (k,), in order of time.

    Attributes
    ----------
    time_ns : int64
        Middle of the arc, GPS time. [ns]
    satellite : int
    wavelength_m, height_m, sigma_m : float
        Height is NaN where none is found; sigma from the noise about the fitted swing, some 20 %
        too small where the reflection fades across the arc. [m]
    amplitude : float
        Of the swing, relative to the direct wave.
    chance : float
        Probability of such a peak in white noise.
    refused : tuple of str
        Why there is no height; empty where there is one.
    """

    time_ns: np.ndarray
    satellite: np.ndarray
    wavelength_m: np.ndarray
    height_m: np.ndarray
    sigma_m: np.ndarray
    amplitude: np.ndarray
    chance: np.ndarray
    refused: tuple

    def __len__(self):
        return len(self.time_ns)


@dataclass(frozen=True)
class DailyHeights:
    """One height a day; arrays (d,); NaN where the passes do not agree on one.

    ``passes`` is how many arcs had a height, ``used`` how many agreed; ``sigma_m`` is the scatter
    of the passes over the root of their number and, below 0.6 m, what the trend may take of the
    few swings. Bands of one pass count as one.
    """

    time_ns: np.ndarray  # middle of the day, GPS time [ns]
    height_m: np.ndarray
    sigma_m: np.ndarray
    passes: np.ndarray
    used: np.ndarray


def swings_per_sine(height_m, wavelength_m):
    """Return cycles of strength per unit of sin(elevation), 2 H / wavelength; no unit.

    >>> round(swings_per_sine(2.0, 0.190293673), 3)
    21.02
    """
    return 2.0 * height_m / wavelength_m


def reflecting_distance_m(height_m, elevation_rad):
    """Return how far away the level snow reflects, H / tan(elevation). [m]"""
    return height_m / np.tan(elevation_rad)


def bent_elevation(elevation_rad, pressure_hPa=1010.0, temperature_degC=10.0):
    """Return the elevation at which a wave arrives after bending in the air. [rad]

    Bennett (1982), J. Navigation 35, 255, formula for the true elevation (Saemundsson 1986).
    Without it heights come out some 0.7 % too small (1.5 cm at 2 m): the strength swings with
    the sine of the bent elevation, which goes through less between 5 and 25 deg.
    """
    degrees = np.degrees(elevation_rad)
    bend_arcmin = 1.02 / np.tan(np.radians(degrees + 10.3 / (degrees + 5.11)))
    air = pressure_hPa / 1010.0 * 283.0 / (273.0 + temperature_degC)
    return elevation_rad + np.radians(bend_arcmin * air / 60.0)


def arc_heights(time_ns, satellite, elevation_rad, strength_dB_Hz, wavelength_m, **limits):
    """Return :class:`ArcHeights` of one station's signal.

    Parameters
    ----------
    time_ns : int64 array, shape (k,)
        GPS time, in any order. [ns]
    satellite : int array, shape (k,)
    elevation_rad : array, shape (k,)
        Best as the wave arrives: :func:`bent_elevation`.
    strength_dB_Hz : array, shape (k,)
        Carrier-to-noise density of one signal of each satellite; NaN is missing.
    wavelength_m : float or array, shape (k,)
    **limits : float
        ``shortest_m``, ``tallest_m``: heights between which the antenna can be; ``lowest_rad``,
        ``highest_rad``: elevations used.

    Notes
    -----
    An arc is a rise or a fall between two elevations. Its linear strength is fitted by a cubic in
    sin(e) (the direct wave) and a sine wave together, at each trial height: the periodogram by
    least squares with a floating trend (Lomb 1976; Zechmeister & Kuerster 2009), so the trend does
    not leak into it. A peak counts where white noise would show it once in 1000 arcs at most,
    where it stands 2.5 times over the rest of the spectrum, and where it is not at an edge.
    """
    low, high, elevations = _checked(**limits)
    columns = np.broadcast_arrays(time_ns, satellite, elevation_rad, strength_dB_Hz, wavelength_m)
    elevation, strength = columns[2], columns[3]
    with np.errstate(invalid="ignore"):
        used = np.isfinite(strength) & (elevation >= elevations[0]) & (elevation <= elevations[1])
    columns = [column[used] for column in columns]
    order = np.lexsort((columns[0], columns[1]))
    columns = [column[order] for column in columns]
    return _heights(columns, _starts(*columns[:3]), low, high)


def joined(*parts):
    """Return the :class:`ArcHeights` of several signals of one station as one."""
    names = ("time_ns", "satellite", "wavelength_m", "height_m", "sigma_m", "amplitude", "chance")
    values = [np.concatenate([getattr(part, name) for part in parts]) for name in names]
    order = np.argsort(values[0], kind="stable")
    refused = [reason for part in parts for reason in part.refused]
    return ArcHeights(*(value[order] for value in values), tuple(refused[k] for k in order))


def daily_heights(arcs, *, least_passes=LEAST_PASSES):
    """Return :class:`DailyHeights` of the arcs of one station.

    Median over the passes of a day, those beyond three robust deviations left out, then the mean.
    A day has a height only where at least ``least_passes`` agree, three in five of all, within
    0.15 m rms.
    """
    day = np.asarray(arcs.time_ns) // NS_PER_DAY
    if not day.size:
        return DailyHeights(*(np.empty(0, kind) for kind in (np.int64, float, float, int, int)))
    days = np.arange(day.min(), day.max() + 1)
    rows = [agreed_height(arcs, day == one, least_passes=least_passes) for one in days]
    height, sigma, passes, used = zip(*rows, strict=True)
    middle = days * NS_PER_DAY + NS_PER_DAY // 2
    return DailyHeights(
        middle, np.array(height), np.array(sigma), np.array(passes, int), np.array(used, int)
    )


def agreed_height(arcs, chosen, *, least_passes=LEAST_PASSES):
    """Return (height [m], sigma [m], passes, used) on which the chosen arcs (k,) agree.

    As a row of :class:`DailyHeights`.
    """
    found = np.asarray(chosen, bool) & np.isfinite(arcs.height_m)
    waves_m = float(np.mean(arcs.wavelength_m[found])) if found.any() else np.nan
    return _one_day(*_passes(arcs, found), waves_m, least_passes)


def _checked(
    shortest_m=SHORTEST_M, tallest_m=TALLEST_M, lowest_rad=LOWEST_RAD, highest_rad=HIGHEST_RAD
):
    """Return limits of heights and elevations; SettingsError where they are none."""
    if not (0.0 < shortest_m < tallest_m and 0.0 <= lowest_rad < highest_rad <= np.pi / 2):
        raise SettingsError(
            f"heights from {shortest_m} to {tallest_m} m, elevations from "
            f"{np.degrees(lowest_rad):.1f} to {np.degrees(highest_rad):.1f} deg: each must rise, "
            "from above 0 m and between 0 and 90 deg"
        )
    return shortest_m, tallest_m, (lowest_rad, highest_rad)


def _starts(time_ns, satellite, elevation_rad):
    """Return where arcs begin, and the end, in columns sorted by satellite and time."""
    if not time_ns.size:
        return np.zeros(1, np.int64)
    rise = np.sign(np.diff(elevation_rad))
    new = (np.diff(satellite) != 0) | (np.diff(time_ns) > _GAP_S * NS_PER_S)
    new[:-1] |= (rise[1:] * rise[:-1] < 0) & ~new[1:] & ~new[:-1]
    return np.concatenate([[0], np.flatnonzero(new) + 1, [time_ns.size]])


def _heights(columns, start, low, high):
    """Return :class:`ArcHeights` of arcs in sorted columns, in order of time."""
    time_ns, satellite, elevation, strength, wavelength = columns
    facts = np.empty((start.size - 1, FACTS))
    if len(facts):
        most = int((high - low) * 2.0 * _OVERSAMPLING / wavelength.min()) + FINE
        sizes = np.array([np.diff(start).max(), most])
        limits = np.array([_LEAST_SAMPLES, _LEAST_CYCLES, _OVERSAMPLING])
        between = np.array([low, high])
        arc_swings(np.sin(elevation), strength, wavelength, start, between, limits, sizes, facts)
    height, sigma, amplitude, share, ratio, cells, trouble = facts.T
    chance = np.where(np.isnan(share), 1.0, _chance(share, cells, np.diff(start)))
    with np.errstate(invalid="ignore"):
        quiet = (trouble != TOO_FEW) & (trouble != TOO_SHORT)
        quiet &= (chance > _CHANCE) | (ratio < _PEAK_RATIO)
    trouble = np.where(quiet, _QUIET, trouble).astype(int)
    found = np.where(trouble == SOUND, 1.0, np.nan)
    first, last = start[:-1], start[1:] - 1
    middle = time_ns[first] + (time_ns[last] - time_ns[first]) // 2
    order = np.argsort(middle, kind="stable")
    parts = (middle, satellite[first].astype(int), wavelength[first], height * found)
    parts += (sigma * found, amplitude, chance)
    return ArcHeights(*(p[order] for p in parts), tuple(_REFUSED[t] for t in trouble[order]))


def _chance(share, cells, samples):
    """Return the probability that white noise gives a peak with such a share of the squares."""
    free = samples - TREND - 2
    with np.errstate(invalid="ignore", divide="ignore", over="ignore"):
        single = np.minimum((1.0 - share) ** (0.5 * free), 1.0 - 1e-15)
        return -np.expm1(cells * np.log1p(-single))


def _passes(arcs, here):
    """Return heights and sigmas of passes: bands of one satellite at one time are one."""
    time_ns, satellite = arcs.time_ns[here], arcs.satellite[here]
    order = np.lexsort((time_ns, satellite))
    time_ns, satellite = time_ns[order], satellite[order]
    new = np.ones(time_ns.size, bool)
    new[1:] = (np.diff(satellite) != 0) | (np.diff(time_ns) > 2.0 * _GAP_S * NS_PER_S)
    group = np.cumsum(new) - 1
    weight = 1.0 / np.maximum(arcs.sigma_m[here][order], 1e-3) ** 2
    total = np.bincount(group, weight)
    return np.bincount(group, weight * arcs.height_m[here][order]) / total, 1.0 / np.sqrt(total)


def _one_day(height, sigma, wavelength_m, least):
    """Return (height, sigma, passes, used) of the passes of a day."""
    count = height.size
    if count < least:
        return np.nan, np.nan, count, 0
    middle = np.median(height)
    spread = max(1.4826 * np.median(np.abs(height - middle)), np.median(sigma))
    agree = np.abs(height - middle) <= 3.0 * spread
    used = int(agree.sum())
    scatter = max(float(np.std(height[agree], ddof=1)) if used > 1 else np.inf, np.median(sigma))
    if used < max(least, _AGREEING * count) or scatter > _WIDEST_SCATTER_M:
        return np.nan, np.nan, count, used
    mean = float(height[agree].mean())
    trend = _TREND_ERROR_M * (_TREND_WAVES * wavelength_m / mean) ** 4
    return mean, float(np.hypot(scatter / np.sqrt(used), trend)), count, used
