"""What moves and what disturbs: the parameters of the smoother of one axis."""

from dataclasses import dataclass, replace

import numpy as np

from ..errors import SettingsError


@dataclass(frozen=True)
class MotionModel:
    """What moves and what disturbs, one axis.

    ``acceleration_m2_d3``: intensity q of the velocity's noise; a random walk's variance grows by
    q a day [(m/d)^2/d]. ``velocity_memory_d``: memory of the wandering velocity, infinite for a
    random walk; its variance is ``q memory / 2``. ``coloured_sigma_m``, ``coloured_memory_d``: up
    to two Gauss-Markov noises of the measurement. ``white_scale``: factor on the sigmas given.
    ``change_ns``, ``change_factor``: from each of these times on q is so many times
    ``acceleration_m2_d3``, before the first of them once; none: always once.
    """

    acceleration_m2_d3: float
    velocity_memory_d: float = np.inf
    coloured_sigma_m: tuple = ()
    coloured_memory_d: tuple = ()
    white_scale: float = 1.0
    change_ns: tuple = ()
    change_factor: tuple = ()

    def __post_init__(self):
        count = len(self.coloured_sigma_m)
        positive = (self.velocity_memory_d, *self.coloured_memory_d, self.white_scale)
        if count > 2 or len(self.coloured_memory_d) != count:
            raise SettingsError(
                f"{count} sigmas and {len(self.coloured_memory_d)} memories of coloured noise; "
                "expected as many of each, at most two"
            )
        least = (self.acceleration_m2_d3, *self.coloured_sigma_m)
        if not (all(v > 0.0 for v in positive) and all(0.0 <= v < np.inf for v in least)):
            raise SettingsError(
                f"{self}: expected positive memories and scale, and finite sigmas and intensity "
                "of at least 0"
            )
        if len(self.change_ns) != len(self.change_factor) or any(
            not 0.0 < factor < np.inf for factor in self.change_factor
        ):
            raise SettingsError(
                f"changes at {self.change_ns} by factors {self.change_factor}; expected a positive "
                "factor for each time"
            )

    @property
    def even(self):
        """The same model without its changes."""
        return replace(self, change_ns=(), change_factor=())

    @property
    def size(self):
        """Number of states."""
        return 2 + len(self.coloured_sigma_m)

    def parameters(self):
        """Return the row of numbers (6) that the kernels take."""
        row = np.zeros(6)
        row[:2] = self.acceleration_m2_d3, 1.0 / self.velocity_memory_d
        row[2 : 2 * self.size - 2 : 2] = self.coloured_sigma_m
        row[3 : 2 * self.size - 2 : 2] = 1.0 / np.array(self.coloured_memory_d)
        return row

    def start_covariance(self):
        """Return the covariance (size, size) of the state at the first epoch."""
        row = self.parameters()
        velocity = 0.5 * row[0] / row[1] if row[1] > 0.0 else 0.0
        return np.diag([0.0, velocity, *(row[2 : 2 * self.size - 2 : 2] ** 2)])
