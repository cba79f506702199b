"""Outlines as they stand in a file, and rings in degrees."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Outline:
    """A closed ring of longitude and latitude (n, 2), first point repeated at the end. [deg]"""

    name: str
    ring_deg: np.ndarray


@dataclass(frozen=True)
class Rings:
    """A polygon as it stands in a file: outer ring (n, 2) and holes, degrees or map metres.

    ``epsg``: the map that the file names; None where it names none. ``number`` counts features from
    1. ``metres``: what the file says that its numbers are; None where it does not say.
    """

    name: str
    outer: np.ndarray
    holes: tuple
    epsg: int | None
    number: int
    metres: bool | None = None

    @property
    def in_metres(self):
        """Say whether the numbers are map metres: as the file says, else by their size."""
        if self.metres is not None:
            return self.metres
        return bool(np.abs(self.outer[:, 1]).max() > 90.0)


def signed_area(ring):
    """Return the area of a closed ring (n, 2), positive where it runs counter-clockwise."""
    x, y = np.asarray(ring, float).T
    x, y = x - x[0], y - y[0]
    return 0.5 * float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
