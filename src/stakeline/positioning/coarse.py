"""Where the antenna is to some metres, and its clock: from codes alone, from nothing known."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_S, SPEED_OF_LIGHT_M_S
from ..earth.ellipsoid import geodetic_from_xyz
from ..errors import SolutionError
from ..satellites.states import satellite_states
from ..tables import SYSTEMS
from ._coarse_kernels import fit_epochs

SAMPLE_EPOCHS = 240  # epochs that the first position is taken from; our choice
MOVING_M = 100.0  # m, beyond it the model is linearised along the coarse path; d2/(2 rho) is 0.2 mm
ZENITH_DELAY_M, SCALE_HEIGHT_M = 2.4, 8e3  # m, air at sea level and its decrease; from memory
TURNS = 7  # Gauss-Newton from the Earth's centre; five reach metres; our choice
CLOCK_TURNS, CLOCK_ENOUGH_M = 3, 300.0  # m: what is left is 3e-6 of a change, by range rates
GOOD_RMS_M = 60.0  # m, an epoch that fits worse says nothing; common practice, no source


@dataclass(frozen=True)
class Coarse:
    """Approximate reference point (n, 3) [m], clock (n,) [s], code residual rms [m]."""

    position_m: np.ndarray
    clock_s: np.ndarray
    rms_m: float


def combine(coefficients, values_m):
    """Return the combination (n, m) of two-signal values (2, n, m) with coefficients (m, 2)."""
    return coefficients[:, 0] * values_m[0] + coefficients[:, 1] * values_m[1]


def locate(tracks, products):
    """Return :class:`Coarse`: position and clock of every epoch, robust, from no prior knowledge.

    Raises
    ------
    SolutionError
        Where no epoch shows five satellites of one system with orbits.
    """
    one = _fullest_system(tracks)
    code = combine(one.ionosphere_free, one.code_m)
    step = max(1, len(one.time_ns) // SAMPLE_EPOCHS)
    sample = np.arange(0, len(one.time_ns), step)
    track, clock, seen = _positions(one.select(sample), code[sample], products)
    if not seen.any():
        raise SolutionError(
            "no position: not one epoch shows five satellites of one system with code, orbit and "
            "clock; check that orbits and clocks are of the observations' day"
        )
    centre = np.median(track[seen], axis=0)
    spread = np.percentile(np.linalg.norm(track[seen] - centre, axis=1), 90)
    if spread > MOVING_M:
        position = _smooth_path(one.time_ns, one.time_ns[sample][seen], track[seen])
    else:
        position = np.tile(centre, (len(one.time_ns), 1))
    begin = np.interp(one.time_ns, one.time_ns[sample][seen], clock[seen])
    clock, rms = _clocks(one, code, products, position, begin)
    return Coarse(position, clock, rms)


def _fullest_system(tracks):
    """Return the tracks of the system with most observations: no inter-system bias to solve."""
    letters = np.array([SYSTEMS[s // 100] for s in tracks.satellites])
    count = {
        letter: np.isfinite(tracks.code_m[0][:, letters == letter]).sum() for letter in set(letters)
    }
    if not count:
        raise SolutionError("no satellite has code and phase on two bands")
    best = max(sorted(count), key=lambda letter: count[letter])
    return tracks.select(satellites=np.flatnonzero(letters == best))


def _rough_air(position, direction):
    """Return elevations (n, m) [rad] and a rough slant delay (n, m) [m] of directions (n, m, 3)."""
    radius = np.maximum(np.linalg.norm(position, axis=1), 1.0)
    sine = (direction @ (position / radius[:, None])[:, :, None])[..., 0]
    height = np.clip(geodetic_from_xyz(position)[2], -500.0, 9e3)
    delay = ZENITH_DELAY_M * np.exp(-height / SCALE_HEIGHT_M)
    return np.arcsin(np.clip(sine, -1.0, 1.0)), delay[:, None] / np.maximum(sine, 0.1)


def _positions(tracks, code, products):
    """Return per-epoch positions (n, 3) and clocks (n,), and which hold.

    By Gauss-Newton from the Earth's centre.
    """
    n = len(tracks.time_ns)
    position, clock = np.zeros((n, 3)), np.zeros(n)
    for turn in range(TURNS):
        states = satellite_states(products, tracks.satellites, tracks.time_ns, position, clock)
        corrected = code + SPEED_OF_LIGHT_M_S * states.clock_s
        delta = states.position_m - position[:, None, :]
        distance = np.linalg.norm(delta, axis=2)
        misfit = corrected - distance - SPEED_OF_LIGHT_M_S * clock[:, None]
        usable = np.isfinite(misfit)
        if turn > 3:  # the place is known: air, and nothing below 10 deg
            elevation, delay = _rough_air(position, delta / distance[..., None])
            misfit -= delay
            usable &= elevation > np.radians(10.0)
        shift = np.zeros((n, 4))
        scatter = np.empty(n)
        fit_epochs(-delta / distance[..., None], misfit, usable, turn > 3, shift, scatter)
        position += shift[:, :3]
        clock += shift[:, 3] / SPEED_OF_LIGHT_M_S
        good = (scatter < GOOD_RMS_M) & (np.linalg.norm(shift[:, :3], axis=1) < 1e3)
    radius = np.linalg.norm(position, axis=1)
    return position, clock, good & (radius > 6.3e6) & (radius < 6.5e6)


def _smooth_path(time_ns, at_ns, track):
    """Return running medians (five points) of a coarse path, interpolated to all epochs."""
    padded = np.pad(track, ((2, 2), (0, 0)), mode="edge")
    smooth = np.median([padded[i : i + len(track)] for i in range(5)], axis=0)
    seconds = (time_ns - at_ns[0]) / NS_PER_S
    at = (at_ns - at_ns[0]) / NS_PER_S
    return np.column_stack([np.interp(seconds, at, smooth[:, i]) for i in range(3)])


def _clocks(tracks, code, products, position, clock):
    """Return the receiver clock of every epoch (median over satellites) and the code rms.

    ``clock`` (n,) is one to begin with. [s]
    """
    for _ in range(CLOCK_TURNS):
        states = satellite_states(products, tracks.satellites, tracks.time_ns, position, clock)
        delta = states.position_m - position[:, None, :]
        distance = np.linalg.norm(delta, axis=2)
        elevation, delay = _rough_air(position, delta / distance[..., None])
        misfit = code + SPEED_OF_LIGHT_M_S * (states.clock_s - clock[:, None]) - distance - delay
        misfit[elevation < np.radians(5.0)] = np.nan
        seen = np.isfinite(misfit).any(axis=1)
        change = np.zeros(len(clock))
        change[seen] = np.nanmedian(misfit[seen], axis=1)
        clock = clock + change / SPEED_OF_LIGHT_M_S
        if np.abs(change).max() < CLOCK_ENOUGH_M:
            break
    rest = misfit - change[:, None]
    clock = _fill_gaps(clock, seen)
    return clock, float(1.4826 * np.nanmedian(np.abs(rest)))


def _fill_gaps(clock, seen):
    """Put the neighbours' clock where an epoch has none; it only times the satellites."""
    if seen.all():
        return clock
    index = np.arange(len(clock))
    return np.interp(index, index[seen], clock[seen])
