"""Outliers of a moving station: rows that fit neither what came before nor what came after.

A robust local line on each side of a row, each from the nearest rows that no long gap parts from
it. Ice that slips, a lake that drains, a pole that is reset all leave rows that fit one of the
sides, or lie between them: such rows are kept. A row is put aside only where it stands off both.
Nothing is deleted: the result is a mask with a reason for each row.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError
from . import _outlier_kernels
from .rows import checked_times

REASONS = ("kept", "missing", "uncertain", "spike", "edge", "alone", "protected")
KEPT, MISSING, UNCERTAIN, SPIKE, EDGE, ALONE, PROTECTED = range(len(REASONS))
ROWS_A_SIDE = 9  # our choice: withstands two wild rows of nine on a side
LEAST_A_SIDE = 5  # our choice
THRESHOLD = 5.0  # -, robust sigmas of the prediction by a side; measured false rate in the tests
EDGE_FACTOR = 2.0  # -, a row judged by one side alone must stand off this much more; our choice
MAD_TO_SIGMA = 1.4826  # -, Gaussian sigma over median absolute deviation; 1 / 0.6745
ROUNDS = 2  # the second one judges without what the first one found


@dataclass(frozen=True)
class Cleaned:
    """What was kept and why not.

    ``keep`` (n,) bool; ``reason`` (n,) index into :data:`REASONS`; ``counts`` rows by reason;
    ``axis_spikes`` (a,) rows put aside by each axis; ``scale_m`` (a,) median scale of the misfit
    ``alone`` rows are kept, but had too few neighbours to be judged.
    """

    keep: np.ndarray
    reason: np.ndarray
    counts: dict
    axis_spikes: np.ndarray
    scale_m: np.ndarray


def find_outliers(
    time_ns,
    position_m,
    sigma_m=None,
    *,
    longest_gap_d=0.25,
    threshold=THRESHOLD,
    largest_sigma_m=np.inf,
    protect=None,
    dense=None,
    rows_a_side=ROWS_A_SIDE,
):
    """Tell which rows are outliers against the motion just before and just after.

    Parameters
    ----------
    time_ns : array (n,)
        GPS time, strictly ascending, evenly spaced or not. [ns]
    position_m : array (n,) or (n, a)
        One column for each axis, such as along, across, up; a row is judged by all. [m]
    sigma_m : array like ``position_m``, optional
        Formal sigmas; rows above ``largest_sigma_m`` on any axis are put aside as uncertain. [m]
    longest_gap_d : float
        No neighbour beyond a gap longer than this is asked. [d]
    threshold : float
        Misfit to the nearer side, in robust local sigmas, above which a row is put aside.
    protect : array (n,) of bool, optional
        Rows of an event that must stay whatever they look like.
    dense : array (n,) of bool, optional
        Rows taken much more often than the rest: they and the rest each know their own scale.
    rows_a_side : int
        Neighbours on each side, 5 to 30.

    Returns
    -------
    Cleaned

    Raises
    ------
    SettingsError, SolutionError
        Shapes that do not fit, times that do not ascend, impossible options.

    Notes
    -----
    Slope and level of a side are medians over pairs half a side apart and over rows: the
    incomplete method of Theil (1950), Proc. K. Ned. Akad. Wet. 53, 386. The scale is the median
    absolute deviation (Hampel 1974, J. Am. Stat. Assoc. 69, 383), local, never below that of the
    whole series. Linear in n. A burst of more than a quarter of ``rows_a_side`` wild rows is
    taken for motion, and so is a step: see :mod:`stakeline.motion.steps`.
    """
    time_ns, position, sigma, protect = _checked(
        time_ns, position_m, sigma_m, protect, threshold, longest_gap_d, rows_a_side
    )
    reason = np.full(len(time_ns), KEPT)
    reason[~np.isfinite(position).all(axis=1)] = MISSING
    if sigma is not None:
        wide = ~(sigma <= largest_sigma_m).all(axis=1)
        reason[wide & (reason == KEPT)] = UNCERTAIN
    time_d = (time_ns - time_ns[0]) / NS_PER_DAY if len(time_ns) else np.zeros(0)
    spikes, scale = np.zeros(position.shape[1], int), np.full(position.shape[1], np.nan)
    kinds = np.zeros(len(time_ns), bool) if dense is None else np.asarray(dense, bool)
    options = longest_gap_d, threshold, rows_a_side
    for _ in range(ROUNDS):
        before = spikes.sum()
        _one_round(time_d, position, reason, options, kinds, spikes, scale)
        if spikes.sum() == before:
            break
    keep = np.isin(reason, (KEPT, ALONE))
    if protect is not None:
        saved = protect & np.isin(reason, (SPIKE, EDGE))
        reason[saved], keep[saved] = PROTECTED, True
    counts = {name: int((reason == code).sum()) for code, name in enumerate(REASONS)}
    return Cleaned(keep, reason, counts, spikes, scale)


def _one_round(time_d, position, reason, options, dense, spikes, scale):
    """Judge all rows not yet put aside, axis by axis; change reason, spikes and scale in place."""
    longest_gap_d, threshold, rows_a_side = options
    usable = np.isin(reason, (KEPT, ALONE))
    verdict = np.full(len(time_d), KEPT)
    for axis in range(position.shape[1]):
        values = np.where(usable, position[:, axis], np.nan)
        found = _misfits(time_d, values, longest_gap_d, rows_a_side)
        own, scale[axis] = _judge(found, usable, threshold, dense)
        spikes[axis] += int(np.isin(own, (SPIKE, EDGE)).sum())
        worse = np.isin(own, (SPIKE, EDGE)) | ((own == ALONE) & (verdict == KEPT))
        verdict = np.where(worse & (verdict != SPIKE), own, verdict)
    reason[usable] = verdict[usable]


def _misfits(time_d, values, longest_gap_d, rows_a_side):
    """Return (n, 4): misfits to both sides [m], scale of the rows about their lines, sides."""
    found = np.empty((len(time_d), 4))
    _outlier_kernels.both_sides(
        time_d,
        np.ascontiguousarray(values),
        rows_a_side,
        LEAST_A_SIDE,
        float(longest_gap_d),
        np.empty(rows_a_side),
        np.empty(rows_a_side),
        np.empty(rows_a_side + 1),
        np.empty(2 * rows_a_side),
        found,
    )
    return found


def _judge(found, usable, threshold, dense):
    """Return (verdict (n,), median scale) of one axis; dense rows and others by their own scale."""
    verdict, scale = np.full(len(found), KEPT), np.nan
    for kind in np.unique(dense)[::-1]:  # the scale told is that of the others
        mine = dense == kind
        verdict[mine], scale = _judge_kind(found[mine], usable[mine], threshold)
    return verdict, scale


def _judge_kind(found, usable, threshold):
    """Return (verdict (n,), median scale) of rows of one kind."""
    before, after, local, sides = found.T
    both, one = sides == 2, sides == 1
    misfit = np.fmin(np.abs(before), np.abs(after))
    between = both & (before * after < 0.0)  # a ramp under way
    misfit = np.where(between, 0.0, misfit)
    known = np.isfinite(local)
    if not known.any():
        return np.where(usable, ALONE, KEPT), np.nan
    typical = np.median(local[known])
    one_sided = np.concatenate([before[known & np.isfinite(before)], after[np.isfinite(after)]])
    # What a side predicts is noisier than the rows about their line: by how much, the data say.
    ratio = np.median(np.abs(one_sided)) / typical if typical > 0.0 else 1.0
    scale = MAD_TO_SIGMA * ratio * np.maximum(local, typical)
    scale = np.maximum(scale, np.finfo(float).eps * 1e3)
    verdict = np.where(usable & (sides == 0), ALONE, KEPT)
    verdict[both & (misfit > threshold * scale)] = SPIKE
    verdict[one & (misfit > EDGE_FACTOR * threshold * scale)] = EDGE
    return verdict, float(MAD_TO_SIGMA * ratio * typical)


def _checked(time_ns, position_m, sigma_m, protect, threshold, longest_gap_d, rows_a_side):
    """Return times, positions (n, a), sigmas or None, protected rows or None."""
    time_ns = checked_times(time_ns)
    position = np.asarray(position_m, float)
    position = position[:, None] if position.ndim == 1 else position
    if position.ndim != 2 or len(position) != len(time_ns):
        raise SettingsError(f"{len(time_ns)} times, positions of shape {position.shape}")
    if not (threshold > 0.0 and longest_gap_d > 0.0 and LEAST_A_SIDE <= rows_a_side <= 30):
        raise SettingsError(
            f"threshold {threshold}, longest gap {longest_gap_d} d, {rows_a_side} rows a side; "
            f"expected positive numbers and {LEAST_A_SIDE} to 30 rows"
        )
    sigma = None
    if sigma_m is not None:
        sigma = np.asarray(sigma_m, float)
        sigma = sigma[:, None] if sigma.ndim == 1 else sigma
        if sigma.shape != position.shape:
            raise SettingsError(f"positions {position.shape}, sigmas {sigma.shape}: must agree")
    if protect is not None:
        protect = np.asarray(protect, bool)
        if protect.shape != time_ns.shape:
            raise SettingsError(f"{len(time_ns)} times, {protect.shape} protected rows")
    return time_ns, position, sigma, protect
