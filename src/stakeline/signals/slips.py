"""Cycle slips: three tests that see different things.

* The epoch difference of the ionosphere-free phase, freed of the clock and the motion common to
  all satellites, sees every slip that matters to an ionosphere-free position, such as (4, 3) or
  (9, 7) cycles, which the two classical tests miss.
* The wide lane of phase minus narrow lane of code sees slips that differ on the two signals.
* The geometry-free phase sees small slips in a quiet ionosphere.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import SPEED_OF_LIGHT_M_S
from ._kernels import epoch_differences, running_jumps

MAX_GAP_S = 180.0  # s, a longer gap starts a new arc; common practice, no source
MOTION_SIGMA_M = 0.03  # m per epoch, prior of antenna motion: ice moves 1 mm in 30 s; our choice
DIFFERENCE_SIGMA_M = 0.004  # m, of an epoch difference at the zenith; measured
FLOOR_M = 0.05  # m, half the smallest ionosphere-free slip (1, 1) of 0.107 m
SIGMAS = 4.5  # -, common practice, no source
WIDE_LANE_SIGMAS = 6.0  # -, common practice, no source
WIDE_LANE_SIGMA_CYCLES = 0.35  # cycles at the zenith, from memory of geodetic receivers
GEOMETRY_FREE_LIMIT_M = 0.15  # m in 30 s, above storm-time ionosphere rates; common practice


@dataclass(frozen=True)
class Slips:
    """Where phases slipped, (n, m) bool: an arc starts at each True; and the common motion."""

    slip: np.ndarray
    by_difference: np.ndarray
    by_wide_lane: np.ndarray
    by_geometry_free: np.ndarray
    by_flag: np.ndarray
    present: np.ndarray  # (n, m) where there is a phase
    motion_m: np.ndarray  # (n, 3) east, north, up of each step


def wide_lane_cycles(tracks):
    """Return the wide-lane phase minus narrow-lane code, (n, m) [cycles] (Melbourne 1985)."""
    f1, f2 = tracks.frequency_hz.T
    phase = (f1 * tracks.phase_m[0] - f2 * tracks.phase_m[1]) / (f1 - f2)
    code = (f1 * tracks.code_m[0] + f2 * tracks.code_m[1]) / (f1 + f2)
    return (phase - code) * (f1 - f2) / SPEED_OF_LIGHT_M_S


def find_slips(tracks, residual_m, unit, elevation_rad):
    """Return :class:`Slips` of all tracks.

    Parameters
    ----------
    tracks : Tracks
        Phases with clock jumps repaired.
    residual_m : float64, shape (n, m)
        Ionosphere-free phase, observed minus computed. [m]
    unit : float64, shape (n, m, 3)
        Partials by east, north, up.
    elevation_rad : float64, shape (n, m)
    """
    interval_s = (
        float(np.median(np.diff(tracks.time_ns))) / 1e9 if len(tracks.time_ns) > 1 else 30.0
    )
    max_gap = max(1, round(MAX_GAP_S / interval_s))
    low = _lowness(elevation_rad)
    sigma = DIFFERENCE_SIGMA_M * np.sqrt(1.0 + low**2)
    residual = np.ascontiguousarray(residual_m)
    excess = np.empty_like(residual)
    motion = np.zeros((len(residual), 3))
    epoch_differences(residual, unit, sigma, max_gap, MOTION_SIGMA_M, 6, excess, motion)
    with np.errstate(invalid="ignore"):
        by_difference = np.abs(excess) > np.maximum(FLOOR_M, SIGMAS * sigma)
    usable = np.isfinite(residual)
    parts = _by_signals(tracks, usable, max_gap, low)
    slip = by_difference | parts[0] | parts[1] | parts[2]
    return Slips(slip, by_difference, *parts, usable, motion)


def slips_by_signals(tracks, phase_m, elevation_rad):
    """Return :class:`Slips` by the two classical tests and the receiver's flags alone.

    No orbits are needed and no motion is told; slips such as (4, 3) cycles are missed.

    Parameters
    ----------
    tracks : Tracks
    phase_m : float64, shape (2, n, m)
        With clock jumps repaired. [m]
    elevation_rad : float64, shape (n, m)
        NaN counts as high.
    """
    tracks = replace(tracks, phase_m=phase_m)
    step_s = float(np.median(np.diff(tracks.time_ns))) / 1e9 if len(tracks.time_ns) > 1 else 30.0
    usable = np.isfinite(phase_m).all(axis=0)
    max_gap = max(1, round(MAX_GAP_S / step_s))
    parts = _by_signals(tracks, usable, max_gap, _lowness(elevation_rad))
    none = np.zeros(usable.shape, bool)
    slip = parts[0] | parts[1] | parts[2]
    return Slips(slip, none, *parts, usable, np.zeros((len(usable), 3)))


def _lowness(elevation_rad):
    """Return one over the sine of elevation, 20 at most."""
    return 1.0 / np.maximum(np.sin(np.nan_to_num(elevation_rad, nan=1.0)), 0.05)


def _by_signals(tracks, usable, max_gap, low):
    """Return what wide lane, geometry-free phase and flags mark, each (n, m)."""
    by_wide_lane = np.zeros(usable.shape, bool)
    lanes = np.where(usable, wide_lane_cycles(tracks), np.nan)
    running_jumps(lanes, WIDE_LANE_SIGMA_CYCLES * low, max_gap, 40, WIDE_LANE_SIGMAS, by_wide_lane)
    by_geometry_free = _geometry_free_jumps(tracks, usable, max_gap, low)
    by_flag = usable & (((tracks.lock & 1) == 1) | _half_cycle_changes(tracks.lock, usable))
    return by_wide_lane, by_geometry_free, by_flag


def _half_cycle_changes(lock, usable):
    """Mark where the half-cycle ambiguity bit is not what it was at the satellite's last epoch.

    While the bit is set the phase may be half a cycle off; when the receiver resolves it, or loses
    it, the phase may jump by half a cycle (RINEX 3.05, section 5.7, bit 1 of the indicator).
    """
    half = (lock & 2) > 0
    index = np.where(usable, np.arange(len(lock))[:, None], -1)
    last = np.vstack([np.full(lock.shape[1], -1), np.maximum.accumulate(index, axis=0)[:-1]])
    before = np.take_along_axis(half, np.maximum(last, 0), axis=0)
    return usable & (last >= 0) & (half != before)


def _geometry_free_jumps(tracks, usable, max_gap, low):
    """Mark where the ionospheric phase moves faster than any ionosphere at that elevation."""
    free = np.where(usable, tracks.phase_m[0] - tracks.phase_m[1], np.nan)
    jumps = np.zeros(free.shape, bool)
    running_jumps(free, GEOMETRY_FREE_LIMIT_M * low, max_gap, 1, 1.0 / np.sqrt(2.0), jumps)
    return jumps
