"""How a receiver's clock behaves: steered, or free and put back by whole milliseconds.

Clocks are what codes and orbits tell of each epoch: bias = time on the receiver less true time.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_S

MILLISECOND_S = 1e-3  # s; definition
LEAST_EPOCHS, LEAST_S = 10, 3600.0  # -, s; of shorter files nothing is said, own choice
STEERED_S = 1e-6  # s; a free quartz of 1e-9 leaves it within a quarter of an hour, own choice
STEERED, FREE, PUT_BACK = "steered", "free", "free, put back by whole milliseconds"


@dataclass(frozen=True)
class ReceiverClock:
    """What a file tells of its clock; NaN where it is too short.

    Attributes
    ----------
    kind : str
        :data:`STEERED`, where the bias stays within 1 us for an hour and more (a very steady
        frequency from outside looks the same); :data:`FREE`; :data:`PUT_BACK`; or why not.
    drift : float
        Slope of a line through the bias, freed of whole milliseconds; positive: it gains. [s/s]
    noise_s : float
        Root mean square about that line: code noise, and the oscillator's wander. [s]
    resets : int
        Whole milliseconds by which it was put back or forth.
    """

    kind: str
    drift: float = np.nan
    noise_s: float = np.nan
    resets: int = 0


def clock_behaviour(time_ns, bias_s):
    """Return the :class:`ReceiverClock` of biases of the clock.

    Between two epochs the drift may change the bias by less than half a millisecond.

    Parameters
    ----------
    time_ns : int64 array, shape (n,)
    bias_s : array, shape (n,)
    """
    seconds = (time_ns - time_ns[:1]) / NS_PER_S
    if seconds.size < LEAST_EPOCHS or seconds[-1] < LEAST_S:
        return ReceiverClock("too short a file")
    step, wait = np.diff(bias_s), np.diff(seconds)
    usual = np.median(step / wait)
    jumps = np.round((step - usual * wait) / MILLISECOND_S)
    whole = bias_s - np.append(0.0, np.cumsum(jumps)) * MILLISECOND_S
    middle = seconds - seconds.mean()
    slope, level = np.polyfit(middle, whole, 1)
    noise = float(np.sqrt(np.mean((whole - level - slope * middle) ** 2)))
    resets = int(np.abs(jumps).sum())
    free = PUT_BACK if resets else FREE
    kind = STEERED if not resets and np.ptp(whole) < STEERED_S else free
    return ReceiverClock(kind, float(slope), noise, resets)
