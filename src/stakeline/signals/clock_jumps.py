"""Receiver clock jumps of whole milliseconds that the code shows and the phase does not."""

import numpy as np

from ..constants import SPEED_OF_LIGHT_M_S

MILLISECOND_M = 1e-3 * SPEED_OF_LIGHT_M_S  # m; definition
TOLERANCE_M = 30.0  # m, code noise and ionosphere between epochs; common practice, no source


def repair_clock_jumps(tracks):
    """Return (phase_m with the jumps of the code put in, list of (epoch index, milliseconds)).

    Between two epochs code minus phase changes by metres at most. Where the median over the
    satellites changes by a whole number of milliseconds instead, the receiver has moved its clock
    in the code alone; the same step is added to all phases from there on. Jumps in code and phase
    alike need no repair: the clock of each epoch is free.
    """
    difference = tracks.code_m[0] - tracks.phase_m[0]
    change = _median_change(difference)
    count = np.round(change / MILLISECOND_M)
    jump = (count != 0.0) & (np.abs(change - count * MILLISECOND_M) < TOLERANCE_M)
    if not jump.any():
        return tracks.phase_m, []
    steps = np.where(jump, count, 0.0)
    phase = tracks.phase_m + (np.cumsum(steps) * MILLISECOND_M)[None, :, None]
    return phase, [(int(k), int(count[k])) for k in np.flatnonzero(jump)]


def _median_change(difference):
    """Return the median change over satellites since each one's last epoch, (n,); 0 where none."""
    known = np.isfinite(difference)
    index = np.where(known, np.arange(len(difference))[:, None], -1)
    last = np.maximum.accumulate(index, axis=0)[:-1]
    before = np.take_along_axis(difference, np.maximum(last, 0), axis=0)
    step = np.sort(np.where(last >= 0, difference[1:] - before, np.nan), axis=1)  # NaN go last
    count = np.isfinite(step).sum(axis=1)
    middle = np.take_along_axis(step, (np.maximum(count, 1)[:, None] - 1) // 2, axis=1)[:, 0]
    return np.append(0.0, np.where(count > 0, middle, 0.0))
