"""Heights and height changes from satellites; see SPEC.md beside this file."""

from .hdf5_points import read_altimetry_hdf5
from .height_change import HeightChange, read_height_change
from .record import AltimetryPoints, Datum, checked_points, joined_points
from .tables import read_altimetry_table

__all__ = [
    "AltimetryPoints",
    "Datum",
    "HeightChange",
    "checked_points",
    "joined_points",
    "read_altimetry_hdf5",
    "read_altimetry_table",
    "read_height_change",
]
