"""Fields on one regular map grid, as they stand in a file."""

from dataclasses import dataclass, field

import numpy as np


@dataclass(frozen=True)
class Grids:
    """Fields on one regular map grid.

    ``x_m`` (columns,) and ``y_m`` (rows,) are map coordinates of EPSG code ``epsg``; ``fields``
    holds arrays (rows, columns) by name, ``units`` and ``words`` say what each is.
    """

    x_m: np.ndarray
    y_m: np.ndarray
    epsg: int
    fields: dict
    units: dict = field(default_factory=dict)
    words: dict = field(default_factory=dict)
