"""What a series must be before its motion is estimated, and where it has gaps."""

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError, SolutionError
from ..time import iso


def checked_times(time_ns):
    """Return times as int64 (n,), refused where they are no ascending row. [ns]"""
    time_ns = np.asarray(time_ns)
    if time_ns.dtype.kind not in "iu" or time_ns.ndim != 1:
        raise SettingsError(
            f"times are {time_ns.dtype} of shape {time_ns.shape}; expected one row of int64 "
            "nanoseconds"
        )
    time_ns = time_ns.astype(np.int64)
    wrong = np.flatnonzero(np.diff(time_ns) <= 0)
    if wrong.size:
        before, after = time_ns[wrong[0]], time_ns[wrong[0] + 1]
        what = f"repeats {iso(after)}" if before == after else f"{iso(after)} after {iso(before)}"
        raise SolutionError(
            f"row {wrong[0] + 1}: time {what} ({wrong.size} such rows); sort the rows by time and "
            "keep one for each"
        )
    return time_ns


def checked_rows(time_ns, position_m, sigma_m, design=None):
    """Return (time, position, sigma, design (n, p)) of one axis as arrays that fit together.

    Raises SettingsError for shapes that do not fit, a sigma that is not positive or a design that
    is not finite where the position is measured; SolutionError for times that do not ascend.
    """
    time_ns = checked_times(time_ns)
    position, sigma = np.asarray(position_m, float), np.asarray(sigma_m, float)
    n = len(time_ns)
    sigma = np.full(n, sigma) if sigma.ndim == 0 else sigma
    if position.shape != (n,) or sigma.shape != (n,):
        raise SettingsError(
            f"{n} times, positions of shape {position.shape}, sigmas of shape {sigma.shape}; "
            "expected one of each for every time"
        )
    measured = np.isfinite(position) & np.isfinite(sigma)
    if (sigma[measured] <= 0.0).any():
        row = np.flatnonzero(measured & (sigma <= 0.0))[0]
        raise SettingsError(f"row {row}: sigma is {sigma[row]} m; expected more than 0")
    design = np.zeros((n, 0)) if design is None else np.asarray(design, float)
    if design.ndim != 2 or len(design) != n or not np.isfinite(design[measured]).all():
        raise SettingsError(f"design of shape {design.shape}; expected finite ({n}, p)")
    return time_ns, position, sigma, np.where(measured[:, None], design, 0.0)


def covered_d(time_ns, longest_d=3.0):
    """Return how long a series lasts without its gaps longer than a limit, or 3 intervals. [d]"""
    apart = np.diff(np.asarray(time_ns, np.int64)) / NS_PER_DAY
    if not apart.size:
        return 0.0
    return float(apart[apart <= max(longest_d, 3.0 * np.median(apart))].sum())


def in_gap(time_ns, at_ns, longest_d, *, causal=False):
    """Tell for each time (m,) whether it lies in a gap of the measured times longer than a limit.

    A time is inside where its neighbours before and after are more than ``longest_d`` apart, or
    where there is none on one side. ``causal``: where the last measured time is longer ago.
    """
    time_ns, at_ns = np.asarray(time_ns, np.int64), np.asarray(at_ns, np.int64)
    longest = longest_d * NS_PER_DAY
    if not time_ns.size:
        return np.ones(at_ns.shape, bool)
    before = np.searchsorted(time_ns, at_ns, side="right") - 1
    none_before = before < 0
    last = time_ns[np.maximum(before, 0)]
    if causal:
        return none_before | (at_ns - last > longest)
    after = np.searchsorted(time_ns, at_ns, side="left")
    none_after = after >= len(time_ns)
    following = time_ns[np.minimum(after, len(time_ns) - 1)]
    return none_before | none_after | (following - last > longest)
