"""Compiled courses of changes: the ramp of :mod:`.curve` and its late copy, many at once."""

import numpy as np

from ..compiling import njit

CELLS = 64  # of the angle; Simpson's rule leaves 1e-6 of the change, the tests say
_ANGLE = np.linspace(0.0, 0.5 * np.pi, 2 * CELLS + 1)
LOG_SINE = np.log(np.maximum(np.sin(_ANGLE), 1e-30))
LOG_COSINE = np.log(np.maximum(np.cos(_ANGLE), 1e-30))
LOG_COSINE[-1] = np.log(1e-30)
WIDTH = 0.5 * np.pi / CELLS


@njit
def fill_courses(first, step, onset, length, rise, fall, at_once, memory, rows, found):
    """Fill found (r, w, k) with courses at the ``rows`` (r,) of an even grid.

    onset, length, rise, fall (w, k): of k changes in w draws; at_once, memory (w,). With x = sin^2
    of an angle the ramp is the integral of sin^(2 rise - 1) cos^(2 fall - 1), by Simpson's rule;
    between its nodes a cubic with the rates there.
    """
    rate, moved = np.empty(2 * CELLS + 1), np.empty(CELLS + 1)
    last = rows[rows.size - 1]
    for i in range(onset.shape[0]):
        x = step / memory[i]
        kept = np.exp(-x)
        newer = 1.0 - (1.0 - kept) / x
        older = 1.0 - kept - newer
        for k in range(onset.shape[1]):
            _fill_ramp(rise[i, k], fall[i, k], rate, moved)
            before = _ramp_at((first - onset[i, k]) / length[i, k], rate, moved)
            late, row = before, 0
            for j in range(last + 1):
                level = before
                if j > 0:
                    level = _ramp_at((first + j * step - onset[i, k]) / length[i, k], rate, moved)
                    late = kept * late + newer * level + older * before
                if j == rows[row]:
                    found[row, i, k] = at_once[i] * level + (1.0 - at_once[i]) * late
                    row += 1
                before = level


@njit
def _fill_ramp(rise, fall, rate, moved):
    """Fill the rates by angle at nodes and middles, and what is over at nodes, 1 in the end."""
    top = rise / (rise + fall)
    highest = rise * np.log(top) + fall * np.log(1.0 - top)  # about the greatest, against underflow
    for j in range(rate.size):
        log = (2.0 * rise - 1.0) * LOG_SINE[j] + (2.0 * fall - 1.0) * LOG_COSINE[j]
        rate[j] = np.exp(log - highest)
    moved[0] = 0.0
    for j in range(CELLS):
        cell = rate[2 * j] + 4.0 * rate[2 * j + 1] + rate[2 * j + 2]
        moved[j + 1] = moved[j] + WIDTH / 6.0 * cell
    whole = moved[CELLS]
    for j in range(CELLS + 1):
        moved[j] /= whole
    for j in range(rate.size):
        rate[j] /= whole


@njit
def _ramp_at(share, rate, moved):
    """Return what is over at a share of the length."""
    if share <= 0.0:
        return 0.0
    if share >= 1.0:
        return 1.0
    place = np.arcsin(np.sqrt(share)) / WIDTH
    j = min(int(place), CELLS - 1)
    y = place - j
    rest = 1.0 - y
    value = moved[j] * (1.0 + 2.0 * y) * rest * rest + moved[j + 1] * y * y * (3.0 - 2.0 * y)
    slopes = rate[2 * j] * y * rest * rest - rate[2 * j + 2] * y * y * rest
    return value + WIDTH * slopes
