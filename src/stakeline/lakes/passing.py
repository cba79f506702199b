"""When the water of a dated draining passes a place: onset and peak, distance, range of speeds."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SettingsError

DAY_S = NS_PER_DAY / NS_PER_S  # s/d; definition
KNOWN = (0.05, 0.5, 0.95)  # -, quantiles by which a distance is told
SOONEST_D = 0.01  # d, of the time between two lakes, below which no speed is told; choice


@dataclass(frozen=True, eq=False)
class Passing:
    """Samples (s,) of one draining at one place. [d]

    ``front_d``: when its water comes; ``peak_d``: when most of it passes; ``delay_d``: behind the
    onset. Days count as those of the event.
    """

    front_d: np.ndarray
    peak_d: np.ndarray
    delay_d: np.ndarray


def passing(onset_d, peak_d, along_m, speed_m_s, rng):
    """Return the :class:`Passing` of a place downstream.

    Parameters
    ----------
    onset_d, peak_d : arrays (s,)
        Samples of one posterior: when the draining begins and when it is fastest. [d]
    along_m : tuple of float
        Distance from the lake's outlet: quantiles :data:`KNOWN`. [m]
    speed_m_s : tuple of float
        Least and greatest speed of the water; even in the logarithm between them, since its order
        of size is what is not known (choice). Equal: that speed. [m/s]
    rng : numpy.random.Generator

    Notes
    -----
    Front and peak of a sample go the same way at the same speed: what spreads a flood on its way,
    and lakes that must first fill, are not in it.
    """
    least, most = speed_m_s
    if not 0.0 < least <= most:
        raise SettingsError(f"speeds {speed_m_s} m/s; give the least, more than 0, then the most")
    count = len(onset_d)
    along = drawn_along_m(along_m, rng.uniform(size=count))
    speed = np.exp(rng.uniform(np.log(least), np.log(most), count)) if least < most else least
    delay = along / speed / DAY_S
    return Passing(onset_d + delay, peak_d + delay, delay)


def drawn_along_m(along_m, share):
    """Return distances at shares (n,) of their distribution, straight between quantiles. [m]

    Beyond the outer quantiles the lines go on, not below 0.
    """
    low, middle, high = along_m
    inner = np.interp(share, KNOWN, along_m)
    below = low - (KNOWN[0] - share) * (middle - low) / (KNOWN[1] - KNOWN[0])
    above = high + (share - KNOWN[2]) * (high - middle) / (KNOWN[2] - KNOWN[1])
    found = np.where(share < KNOWN[0], below, np.where(share > KNOWN[2], above, inner))
    return np.maximum(found, 0.0)


def speed_between(onset_d, later_d, along_m):
    """Return (samples of the time between two onsets [d], samples of the water's speed [m/s]).

    Speeds are NaN where the later onset is not later.

    Parameters
    ----------
    onset_d, later_d : arrays (s,) and (t,)
        Samples of the onset of a draining and of what its water began below; taken as apart.
    along_m : float
        Between both. [m]
    """
    count = min(len(onset_d), len(later_d))
    delay = _thinned(later_d, count)[::-1] - _thinned(onset_d, count)  # not paired: apart
    later = delay >= SOONEST_D
    return delay, np.where(later, along_m / DAY_S / np.where(later, delay, 1.0), np.nan)


def _thinned(samples, count):
    return np.asarray(samples, float)[np.linspace(0, len(samples) - 1, count).astype(int)]
