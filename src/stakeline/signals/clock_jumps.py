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
    n, m = difference.shape
    last = np.full(m, np.nan)
    change = np.zeros(n)
    for k in range(n):
        here = np.isfinite(difference[k])
        both = here & np.isfinite(last)
        if both.any():
            change[k] = np.median(difference[k, both] - last[both])
        last[here] = difference[k, here]
    return change
