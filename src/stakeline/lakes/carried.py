"""Where the ice carries a station: out of the lake, and to where a map's strain opens crevasses.

A place is followed along a map of velocity, which is taken to stay as it is. Strain rates are those
of the map's cells: real crevasses are narrower than cells, may be older, and are bridged by snow.
"""

from dataclasses import dataclass

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from ..constants import DAYS_PER_YEAR
from ..errors import SettingsError

STEP_CELLS = 0.25  # -, of a cell, between two looks; choice
MOST_STEPS = 4000  # looks along one way; choice
LEFT, OFF_MAP, TIME = "out of the lake", "edge of the map", "time"  # what ends a way


@dataclass(frozen=True, eq=False)
class IceField:
    """Motion of the ice on a map.

    Attributes
    ----------
    x_m, y_m : arrays, shapes (n,) and (m,)
        Map coordinates of columns and rows, rising. [m]
    velocity_m_d : array, shape (m, n, 2)
        True metres a day along the axes of the map; NaN where not known. [m/d]
    strain_per_a : array, shape (m, n)
        Larger principal strain rate, extension positive. [1/a]
    scale : float
        Map metres of a true metre about the place.
    """

    x_m: np.ndarray
    y_m: np.ndarray
    velocity_m_d: np.ndarray
    strain_per_a: np.ndarray
    scale: float = 1.0

    def __post_init__(self):
        shape = (len(self.y_m), len(self.x_m))
        axes = (np.asarray(self.x_m, float), np.asarray(self.y_m, float))
        if min(shape) < 2 or not all((np.diff(axis) > 0.0).all() for axis in axes):
            raise SettingsError("a map of motion: expected two or more rising coordinates an axis")
        found = np.shape(self.velocity_m_d), np.shape(self.strain_per_a)
        if found != ((*shape, 2), shape):
            raise SettingsError(f"a map of {shape} cells with fields of {found[0]} and {found[1]}")

    @property
    def cell_m(self):
        """True length of a cell's shorter side. [m]"""
        return float(min(np.diff(self.x_m).min(), np.diff(self.y_m).min()) / self.scale)


@dataclass(frozen=True, eq=False)
class Carried:
    """Where a place goes.

    Attributes
    ----------
    limit_d : float
        Days until the strain rate passes the limit; 0 where it does at once, infinite where it
        does not on the way. [d]
    left_d : float
        Days until it is out of the lake; 0 outside, infinite where it stays. [d]
    known_d : float
        Days of the way that are known. [d]
    end : str
        What ends it: ``OFF_MAP``, or ``TIME``.
    here_per_a, most_per_a : float
        Strain rate at the beginning, and the greatest on the way. [1/a]
    limit_m : float
        True length of the way to the limit; NaN where it is not met. [m]
    path_m : array, shape (k, 2)
        On the map. [m]
    """

    limit_d: float
    left_d: float
    known_d: float
    end: str
    here_per_a: float
    most_per_a: float
    limit_m: float
    path_m: np.ndarray


def principal_strain_per_a(x_m, y_m, velocity_m_d, scale=1.0):
    """Return the larger principal strain rate (m, n) of a map of velocity. [1/a]

    (exx + eyy) / 2 + sqrt(((exx - eyy) / 2)^2 + exy^2) with differences between neighbours (Nye
    1959, J. Glaciol. 3, 409: strain rate by components).

    Parameters
    ----------
    x_m, y_m, velocity_m_d, scale
        As of :class:`IceField`.
    """
    along_y, along_x = np.gradient(
        np.asarray(velocity_m_d, float), np.asarray(y_m) / scale, np.asarray(x_m) / scale,
        axis=(0, 1),
    )  # fmt: skip
    xx, yy = along_x[..., 0], along_y[..., 1]
    shear = 0.5 * (along_x[..., 1] + along_y[..., 0])
    return DAYS_PER_YEAR * (0.5 * (xx + yy) + np.hypot(0.5 * (xx - yy), shear))


def carried(field, map_m, limit_per_a, most_d, outline=None):
    """Return the :class:`Carried` of a place.

    Parameters
    ----------
    field : IceField
    map_m : array, shape (2,)
        The place on the map. [m]
    limit_per_a : float
        Strain rate from which crevasses may open. [1/a]
    most_d : float
        How long it is followed. [d]
    outline : Outline, optional
        Of the lake; without it no place is inside.

    Raises
    ------
    SettingsError
        For a limit or a time that is not positive, or a place off the map.

    Notes
    -----
    Midpoint rule (textbook), a quarter of a cell at a time; times between looks are straight.
    """
    if not (limit_per_a > 0.0 and most_d > 0.0):
        raise SettingsError(f"limit {limit_per_a:g} 1/a, {most_d:g} d: expected both above 0")
    path, days, strain, end = _way(field, np.asarray(map_m, float), most_d)
    if not len(days):
        raise SettingsError("the place lies off the map of the ice's motion")
    inside = np.zeros(len(days), bool) if outline is None else outline.contains(path)
    limit_d = _first(days, strain - limit_per_a)
    way = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))]) / field.scale
    return Carried(
        limit_d, _first(days, 0.5 - inside), float(days[-1]), end, float(strain[0]),
        float(strain.max()), float(np.interp(limit_d, days, way)) if limit_d < np.inf else np.nan,
        path,
    )  # fmt: skip


def _first(days, excess):
    """Return when a course first rises above 0, straight between looks; infinite where never."""
    above = excess > 0.0
    if not above.any():
        return np.inf
    k = int(above.argmax())
    if k == 0:
        return 0.0
    part = -excess[k - 1] / (excess[k] - excess[k - 1])
    return float(days[k - 1] + part * (days[k] - days[k - 1]))


def _way(field, place, most_d):
    """Return (path (k, 2), days (k,), strain rates (k,), what ended it)."""
    known = np.concatenate([field.velocity_m_d, field.strain_per_a[..., None]], axis=-1)
    read = RegularGridInterpolator(
        (field.y_m, field.x_m), known, bounds_error=False, fill_value=np.nan
    )
    path, days, strain, now = [], [], [], 0.0
    stride = STEP_CELLS * field.cell_m
    for _ in range(MOST_STEPS):
        *velocity, rate = read(place[::-1])[0]
        if not np.isfinite([*velocity, rate]).all():
            return np.array(path).reshape(-1, 2), np.array(days), np.array(strain), OFF_MAP
        path.append(place), days.append(now), strain.append(rate)
        if now >= most_d:
            break
        step = min(stride / max(np.hypot(*velocity), 1e-9), most_d - now)
        middle = read((place + 0.5 * step * field.scale * np.array(velocity))[::-1])[0][:2]
        place, now = place + step * field.scale * middle, now + step
    return np.array(path), np.array(days), np.array(strain), TIME
