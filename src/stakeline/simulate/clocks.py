"""Clocks of the satellites: offset, drift and noise, known at every instant."""

from dataclasses import dataclass

import numpy as np

from ..tables import SYSTEMS
from .smooth import Smooth, random_walk

WALK_S = {"G": 1.5e-12, "E": 5e-13}  # s after 1 s; 1e-11 s and 4e-12 s after 30 s, from memory
_NODE_S = 10.0  # s, noise below this span is smooth


@dataclass(frozen=True)
class SatelliteClocks:
    """Clock biases without the effect of eccentricity, as precise clock tables hold them."""

    offset_s: np.ndarray  # (m,)
    drift: np.ndarray  # (m,) s/s
    noise_s: Smooth

    def bias_s(self, time_s):
        """Return biases (n, m) at times (n, m) or (n,). [s]"""
        time_s = np.asarray(time_s, float)
        column = time_s[:, None] if time_s.ndim == 1 else time_s
        return self.offset_s + self.drift * column + self.noise_s(time_s)

    def bias_at_s(self, time_s, column):
        """Return biases (k,) at times (k,), each of the satellite of one column. [s]"""
        return self.offset_s[column] + self.drift[column] * time_s + self.noise_s.at(time_s, column)


def make_clocks(rng, satellites, duration_s):
    """Return :class:`SatelliteClocks` of satellites (m,) for a span from ``time_s = 0``."""
    count = len(satellites)
    rate = np.array([WALK_S[SYSTEMS[int(s) // 100]] for s in satellites])
    noise = random_walk(rng, -600.0, duration_s + 600.0, _NODE_S, count, rate)
    return SatelliteClocks(rng.uniform(-3e-4, 3e-4, count), rng.normal(0.0, 2e-12, count), noise)
