"""Observations in use, packed epoch by epoch for the compiled elimination."""

from dataclasses import dataclass

import numpy as np

from ._kernels import LOCAL


@dataclass(frozen=True)
class Packed:
    """Where packed observations stand in dense arrays (n, m), and what kernels know of them.

    ``seen`` is described in ``_absolute_kernels``.
    """

    place: tuple  # rows and columns
    shape: tuple
    seen: tuple

    def pack(self, values):
        """Return the packed (N,) of dense values (n, m)."""
        return values[self.place]

    def spread(self, values, fill):
        """Return dense values (n, m) of packed ones, ``fill`` elsewhere."""
        dense = np.full(self.shape, fill)
        dense[self.place] = values
        return dense


def packed(problem, arcs, biases):
    """Return the :class:`Packed` of a problem's arcs; ``biases`` is the number of them."""
    place = epoch, column = np.nonzero(arcs.slot >= 0)
    epochs = np.arange(len(arcs.slot) + 1)
    slot = arcs.slot[place] + LOCAL + biases
    bias = problem.bias[column]
    partial = np.zeros((len(slot), LOCAL))
    partial[:, 0] = 1.0
    partial[:, 1:4] = problem.unit[place]
    partial[:, 7] = problem.wet[place]
    gradient, azimuth = problem.gradient[place], problem.azimuth_rad[place]
    partial[:, 8] = gradient * np.cos(azimuth)
    partial[:, 9] = gradient * np.sin(azimuth)
    ends = np.nonzero(arcs.ending)
    end_slot = arcs.slot[ends] + LOCAL + biases
    seen = (
        np.searchsorted(epoch, epochs),
        slot,
        np.where(bias >= 0, LOCAL + bias, -1),
        partial,
        np.searchsorted(ends[0], epochs),
        end_slot,
    )
    return Packed(place, arcs.slot.shape, seen)
