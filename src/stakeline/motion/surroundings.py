"""What stands around a station and explains its height: the surface, the air, hands on its pole."""

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, eq=False)
class SurfaceGrid:
    """Heights of the surface on a map.

    Attributes
    ----------
    name : str
        What a reader knows it by, such as a file.
    epsg : int
        Code of the polar map; see :mod:`stakeline.earth.projection`.
    x_m, y_m : arrays, shapes (n,) and (m,)
        Map coordinates of columns and rows, each rising or falling. [m]
    height_m : array, shape (m, n)
        NaN is a hole. [m]
    """

    name: str
    epsg: int
    x_m: np.ndarray
    y_m: np.ndarray
    height_m: np.ndarray


@dataclass(frozen=True, eq=False)
class AirPressure:
    """Pressure of the air (n,) at GPS times (n,), NaN missing; ``name`` says from where."""

    name: str
    time_ns: np.ndarray
    pressure_hPa: np.ndarray


@dataclass(frozen=True)
class PoleVisit:
    """A visit of the station's history.

    Attributes
    ----------
    time_ns : int
        GPS time. [ns]
    pole_m : float
        From the foot to the antenna, from this visit on. [m]
    moved_m : tuple of 3 floats, or None
        By what the log says that the foot was moved, east, north, up; None where it says nothing.
    """

    time_ns: int
    pole_m: float
    moved_m: tuple | None = None


@dataclass(frozen=True, eq=False)
class Surroundings:
    """All that is known around a station; empty where nothing is.

    ``surfaces``: :class:`SurfaceGrid`, in any order. ``visits``: :class:`PoleVisit`, in order, the
    first being the set-up. ``notes``: sentences about what was looked for and not found.
    """

    surfaces: tuple = ()
    air: AirPressure | None = None
    visits: tuple = ()
    notes: tuple = ()
