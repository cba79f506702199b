"""Jumps between days: rows on both sides of midnight against rows elsewhere."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..time import iso
from .shocks import MAD_TO_SIGMA

LEAST_ROWS_A_DAY = 6  # our choice
FEWEST_MIDNIGHTS = 5  # our choice
LARGE_RMS = 1.5  # -, and three of its sigmas above 1: days that do not fit; our choice


@dataclass(frozen=True)
class Midnights:
    """Rows on both sides of midnight (GPS), one axis, against rows elsewhere.

    ``count`` midnights; ``rms`` and ``largest`` of their differences over the robust sigma of
    differences elsewhere; ``largest_ns`` when; 0 and NaN where rows are too far apart to tell.
    """

    count: int
    rms: float
    largest: float
    largest_ns: int


def midnights(rows_ns, residual_m):
    """Return the :class:`Midnights` of what smoothing leaves at rows (n,).

    Processing by days makes positions jump at midnight, by what orbits and clocks of two days
    disagree and by what is estimated anew each day.
    """
    apart, step = np.diff(rows_ns), np.diff(residual_m)
    day = rows_ns // NS_PER_DAY
    over = np.diff(day) > 0
    good = np.isfinite(step) & (apart <= 1.5 * np.median(apart))
    few = np.median(apart) * LEAST_ROWS_A_DAY > NS_PER_DAY
    if few or (good & over).sum() < FEWEST_MIDNIGHTS:
        return Midnights(0, np.nan, np.nan, 0)
    usual = MAD_TO_SIGMA * float(np.median(np.abs(step[good & ~over])))
    ratio = np.where(good & over, step / max(usual, 1e-9), 0.0)
    at = int(np.argmax(np.abs(ratio)))
    count = int((good & over).sum())
    rms = float(np.sqrt((ratio**2).sum() / count))
    return Midnights(count, rms, float(np.abs(ratio[at])), int(day[at + 1] * NS_PER_DAY))


def midnight_warnings(name, found):
    """Return the sentence on days of an axis that do not fit; none where they do."""
    if not found.count or found.rms < max(LARGE_RMS, 1.0 + 3.0 / np.sqrt(2.0 * found.count)):
        return ()
    return (
        f"{name}: positions jump at midnight: {found.rms:.1f} times as much as at other times "
        f"(rms of {found.count}), most at {iso(found.largest_ns)} ({found.largest:.1f} sigmas); "
        "solve days with overlap, and look at orbits and clocks",
    )
