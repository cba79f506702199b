"""Ice that sticks to its bed and slips, many times a week."""

from dataclasses import dataclass

import numpy as np

DAY_S = 86400.0  # s/d; definition


@dataclass(frozen=True, eq=False)
class Slips:
    """Ice that sticks and slips: it lags, then makes up for it within minutes.

    Attributes
    ----------
    onset_s, last_s, size_m : arrays, shape (k,)
        Each slip's begin, length and size; between slips the ice lags evenly by what the next slip
        makes up for, so that the mean speed stays.
    """

    onset_s: np.ndarray
    last_s: np.ndarray
    size_m: np.ndarray

    def moved_m(self, time_s):
        """Return what slips have added to the even flow at times (n,); never above 0. [m]"""
        time_s = np.asarray(time_s, float)
        k, lag, x = self._locate(time_s)
        moved = self.size_m[k] * (x * x * (3.0 - 2.0 * x) - np.clip(lag, 0.0, 1.0))
        return np.where(time_s > self.onset_s[-1] + self.last_s[-1], 0.0, moved)

    def speed_m_s(self, time_s):
        """Return the derivative of :meth:`moved_m` at times (n,). [m/s]"""
        time_s = np.asarray(time_s, float)
        k, lag, x = self._locate(time_s)
        speed = self.size_m[k] * 6.0 * x * (1.0 - x) / self.last_s[k]
        lagging = (lag > 0.0) & (lag < 1.0)
        speed = speed - np.where(lagging, self.size_m[k] / self._gap_s()[1][k], 0.0)
        return np.where(time_s > self.onset_s[-1] + self.last_s[-1], 0.0, speed)

    def _gap_s(self):
        begin = np.concatenate([[0.0], (self.onset_s + self.last_s)[:-1]])
        return begin, self.onset_s - begin

    def _locate(self, time_s):
        """Return the slip under way or next, the shares of its lag and of itself that are over."""
        begin, gap = self._gap_s()
        k = np.clip(np.searchsorted(begin, time_s, side="right") - 1, 0, len(begin) - 1)
        slip = np.clip((time_s - self.onset_s[k]) / self.last_s[k], 0.0, 1.0)
        return k, (time_s - begin[k]) / gap[k], slip


def make_slips(rng, speed_m_d, days):
    """Return :class:`Slips`: 2 to 7 cm within 10 to 30 minutes, every half to four days."""
    count = int(np.ceil(days / 0.5)) + 20
    gap = rng.uniform(0.5, 4.0, count) * DAY_S
    last = rng.uniform(600.0, 1800.0, count)
    size = np.minimum(rng.uniform(0.02, 0.07, count), 0.3 * speed_m_d * gap / DAY_S)
    onset = np.cumsum(gap) + np.concatenate([[0.0], np.cumsum(last)[:-1]])
    return Slips(onset, last, size)
