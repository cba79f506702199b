"""Multipath that repeats when a satellite returns to its place in the sky: found and taken out.

Reflections around a still antenna depend on where a satellite stands. Its track over the ground
repeats, so residuals of earlier days, moved by the satellite's own repeat time, foretell today's.
The idea: Genrich & Bock 1992, J. Geophys. Res. 97(B3); repeat times of each satellite's own: Choi
et al. 2004, Geophys. Res. Lett. 31; Agnew & Larson 2007, GPS Solutions 11 (all from memory). Here
the time is the one at which directions seen from the station match best. How much of the foretold
is found again today is learnt by system and band, from quick to slow; where nothing repeats,
nothing is taken off.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import EARTH_ROTATION_RAD_S, NS_PER_S
from ..tables import SYSTEMS

TURN_S = 2.0 * np.pi / EARTH_ROTATION_RAD_S  # s, of the Earth: repeats are near whole multiples
SEARCH_S, STEP_S = 300.0, 10.0  # s, about each multiple and between trials; our choice
NEAR_RAD = np.radians(0.5)  # rad, within which directions count as the same; our choice
BELLS_S = (60.0, 300.0, 1200.0)  # s, widths of averaging, from quick to slow; our choice
GAP_S = 600.0  # s, the longest over which directions are interpolated; our choice
TRIED, ENOUGH = 60, 5  # epochs that a repeat time is looked for with, and the least; our choice
LEAST_S = 1800.0  # s, of both tracks that must lie over each other; our choice


@dataclass(frozen=True)
class Residuals:
    """What a solution left, NaN where unused, and where satellites stood, NaN where unseen."""

    time_ns: np.ndarray  # (n,)
    satellites: np.ndarray  # (m,)
    direction: np.ndarray  # (n, m, 3) unit vectors, Earth-fixed or of the horizon
    phase_m: np.ndarray  # (n, m)
    code_m: np.ndarray


@dataclass(frozen=True)
class Repeats:
    """What earlier days foretell (bands, n, m) [m], NaN where nothing; shares by system letter."""

    phase_m: np.ndarray
    code_m: np.ndarray
    repeat_s: dict  # satellite -> repeat times that were found [s]
    phase_share: dict  # letter -> (bands,) shares of it that were found again
    code_share: dict

    @property
    def words(self):
        """Return one sentence of what was found."""
        if not self.repeat_s:
            return "multipath of earlier days: no satellite is back within the data before"
        parts = []
        for letter in self.phase_share:
            times = [t[0] for s, t in self.repeat_s.items() if SYSTEMS[s // 100] == letter]
            phases, codes = (share.get(letter, ()) for share in (self.phase_share, self.code_share))
            parts.append(
                f"{letter} after {np.median(times):.0f} s, {_percent(phases)} % of phases, "
                f"{_percent(codes)} % of codes came again (from quick to slow)"
            )
        return f"multipath of earlier days: {'; '.join(parts)}"


def repeat_time_s(seconds, direction, earlier_s, earlier, near_s):
    """Return (time after which one satellite is back, rms distance then [rad]); NaN where none.

    Parameters
    ----------
    seconds, earlier_s : array, shape (n,), (k,)
        Times on one scale. [s]
    direction, earlier : array, shape (n, 3), (k, 3)
        Unit vectors to the satellite, from the station or from the Earth's centre, in axes that
        turn with the Earth; NaN where unseen.
    near_s : float
        Looked for within :data:`SEARCH_S` of it. [s]

    The mean square of the distance is a parabola of the time near its least value.
    """
    known, before = np.isfinite(direction[:, 0]), np.isfinite(earlier[:, 0])
    seconds, direction = seconds[known], direction[known]
    earlier_s, earlier = earlier_s[before], earlier[before]
    if min(len(seconds), len(earlier_s)) < ENOUGH:
        return np.nan, np.nan
    overlap = (seconds > earlier_s[0] + near_s) & (seconds < earlier_s[-1] + near_s)
    some = np.flatnonzero(overlap)[:: max(1, overlap.sum() // TRIED)]
    if len(some) < ENOUGH or seconds[some[-1]] - seconds[some[0]] < LEAST_S:
        return np.nan, np.nan
    lags = near_s + np.arange(-SEARCH_S, SEARCH_S + STEP_S / 2, STEP_S)
    square = np.array(
        [_mean_square(seconds[some] - lag, direction[some], earlier_s, earlier) for lag in lags]
    )
    best = int(np.argmin(square))
    if not 0 < best < len(lags) - 1 or not np.isfinite(square[best - 1 : best + 2]).all():
        return np.nan, np.nan
    left, middle, right = square[best - 1 : best + 2]
    bend = left - 2.0 * middle + right
    shift = 0.5 * (left - right) / bend if bend > 0.0 else 0.0
    least = max(middle - 0.125 * (left - right) ** 2 / bend, 0.0) if bend > 0.0 else middle
    return lags[best] + shift * STEP_S, float(np.sqrt(least))


def _mean_square(time_s, direction, earlier_s, earlier):
    """Return the mean square distance to the earlier track at times; infinite where it has none."""
    after = np.clip(np.searchsorted(earlier_s, time_s), 1, len(earlier_s) - 1)
    inside = (time_s >= earlier_s[0]) & (time_s <= earlier_s[-1])
    inside &= earlier_s[after] - earlier_s[after - 1] <= GAP_S
    if inside.sum() < ENOUGH:
        return np.inf
    then = np.stack([np.interp(time_s[inside], earlier_s, axis) for axis in earlier.T], axis=1)
    return float(np.mean(((then - direction[inside]) ** 2).sum(axis=1)))


def smoothed(time_s, seconds, values, width_s):
    """Return residuals (q,) averaged with a bell about times; NaN where none is near.

    Parameters
    ----------
    time_s : array, shape (q,)
    seconds, values : array, shape (k,)
        In order of time; NaN where unused.
    width_s : float
        Standard deviation of the bell, no less than half the usual step. [s]
    """
    known = np.isfinite(values)
    seconds, values = seconds[known], values[known]
    if len(seconds) < ENOUGH:
        return np.full(len(time_s), np.nan)
    step = float(np.median(np.diff(seconds)))
    width = max(width_s, step / 2.0)
    reach = int(np.ceil(4.0 * width / step))
    bell = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / width) ** 2)
    cell = np.round((seconds - seconds[0]) / step).astype(np.intp)
    count, total = np.bincount(cell).astype(float), np.bincount(cell, weights=values)
    at = (time_s - seconds[0]) / step
    weight, summed = (
        np.interp(at, np.arange(len(part)), np.convolve(part, bell)[reach : reach + len(part)])
        for part in (count, total)
    )
    after = np.clip(np.searchsorted(seconds, time_s), 1, len(seconds) - 1)
    nearest = np.minimum(np.abs(seconds[after] - time_s), np.abs(seconds[after - 1] - time_s))
    return np.where(nearest <= 1.5 * step, summed / np.maximum(weight, 1e-300), np.nan)


def in_bands(time_s, seconds, values):
    """Return smoothed residuals (bands, q) from quick to slow; their sum is of the narrowest bell.

    Quick multipath comes again more surely than what is slow, which weather and orbits also do.
    """
    levels = np.array([smoothed(time_s, seconds, values, width) for width in BELLS_S])
    levels[:-1] -= levels[1:]
    return levels


def find_repeats(today, earlier, phase_sigma_m, code_sigma_m):
    """Return the :class:`Repeats` that earlier residuals foretell of today's.

    Parameters
    ----------
    today, earlier : Residuals
        Directions in the same axes. Several repeats in the earlier ones are averaged.
    phase_sigma_m, code_sigma_m : array, shape (n, m)
        What today's count by.
    """
    origin = int(today.time_ns[0])
    now_s, then_s = ((r.time_ns - origin) / NS_PER_S for r in (today, earlier))
    foretold, repeat_s = np.full((2, len(BELLS_S), *today.phase_m.shape), np.nan), {}
    for j, satellite in enumerate(today.satellites.tolist()):
        columns = np.flatnonzero(earlier.satellites == satellite)
        if not columns.size:
            continue
        column, found = columns[0], []
        for lag in _repeat_times(
            now_s, today.direction[:, j], then_s, earlier.direction[:, column]
        ):
            series = (earlier.phase_m[:, column], earlier.code_m[:, column])
            found.append([in_bands(now_s - lag, then_s, values) for values in series])
            repeat_s.setdefault(satellite, []).append(lag)
        if found:
            foretold[..., j] = _mean_of_known(np.array(found))
    shares = [
        _share(today.satellites, residual / sigma, told / sigma)
        for residual, sigma, told in (
            (today.phase_m, phase_sigma_m, foretold[0]),
            (today.code_m, code_sigma_m, foretold[1]),
        )
    ]
    return Repeats(*foretold, repeat_s, *shares)


def _repeat_times(now_s, direction, then_s, earlier):
    """Return every time after which one satellite is back within :data:`NEAR_RAD`. [s]"""
    turns = int((now_s[-1] - then_s[0] + SEARCH_S) / TURN_S)
    found = (
        repeat_time_s(now_s, direction, then_s, earlier, k * TURN_S) for k in range(1, turns + 1)
    )
    return [lag for lag, apart in found if apart < NEAR_RAD]


def _mean_of_known(values):
    """Return the mean over the first axis of what is known; NaN where nothing is."""
    known = np.isfinite(values)
    count = known.sum(axis=0)
    mean = np.where(known, values, 0.0).sum(axis=0) / np.maximum(count, 1)
    return np.where(count > 0, mean, np.nan)


def _share(satellites, found, foretold):
    """Return {system letter: shares (bands,) that were found again}, 0 to 1, by least squares."""
    shares, system = {}, satellites // 100
    for number in np.unique(system).tolist():
        here = system == number
        r, s = found[:, here], foretold[:, :, here]
        known = np.isfinite(r) & np.isfinite(s).all(axis=0)
        if known.any():
            r, s = r[known], s[:, known]
            share = np.linalg.lstsq(s.T, r, rcond=None)[0]
            shares[SYSTEMS[number]] = np.clip(share, 0.0, 1.0)
    return shares


def taken_off(foretold, share, satellites):
    """Return what is taken off (n, m): the shares of each band; 0 where nothing is foretold. [m]"""
    none = np.zeros(len(foretold))
    factor = np.array([share.get(SYSTEMS[s // 100], none) for s in satellites])
    return np.einsum("bnm,mb->nm", np.nan_to_num(foretold), factor)


def without_repeats(problem, model, epochs, satellites, repeats):
    """Return (problem, model) with what came again taken off phases and codes.

    Parameters
    ----------
    problem : Problem
    model : Model
        Of all epochs; those that the problem holds are changed alike.
    epochs : int array, shape (n,)
    satellites : int array, shape (m,)
    repeats : Repeats
    """
    off = {
        "phase_m": taken_off(repeats.phase_m, repeats.phase_share, satellites),
        "code_m": taken_off(repeats.code_m, repeats.code_share, satellites),
    }
    of_model = {name: getattr(model, name).copy() for name in off}
    for name, values in off.items():
        of_model[name][epochs] -= values
    of_problem = {name: getattr(problem, name) - values for name, values in off.items()}
    return replace(problem, **of_problem), replace(model, **of_model)


def _percent(shares):
    """Return shares in words, quick to slow."""
    return "/".join(f"{100 * share:.0f}" for share in shares) or "0"
