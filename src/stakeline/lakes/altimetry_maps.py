"""The level of a lake from maps of height change: mean inside the outline minus mean around it."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError, SolutionError

APART_M, OUTER_M = 2000.0, 10_000.0  # m, the ground around a lake; choice
CORRELATED_M = 5000.0  # m, over which errors of a map are alike; choice
LEAST_SHARE = 0.5  # -, of the cells of a lake that must be seen; choice


@dataclass(frozen=True, eq=False)
class MapLevels:
    """Means (t,) of height change over a lake.

    ``change_m``: inside minus around; ``inside_m``, ``around_m``; ``seen``: share of the
    lake's cells with a value; ``sigma_m`` holds for errors alike over a length; where the map tells
    none they are as large as the cells around scatter.
    """

    lake: str
    time_ns: np.ndarray
    change_m: np.ndarray
    sigma_m: np.ndarray
    inside_m: np.ndarray
    around_m: np.ndarray
    seen: np.ndarray

    def volume_m3(self, area_m2):
        """Return area times change (t,). [m3]"""
        return area_m2 * self.change_m


def map_levels(
    x_m, y_m, time_ns, change_m, outline, sigma_m=None, apart_m=APART_M, outer_m=OUTER_M
):
    """Return the :class:`MapLevels` of a lake.

    Parameters
    ----------
    x_m, y_m : arrays (columns,), (rows,)
        On the outline's map. [m]
    time_ns : int64 array (t,)
    change_m, sigma_m : arrays (t, rows, columns)
    outline : Outline
    apart_m, outer_m : float
        The ground around lies between these distances from the margin. [m]

    Raises
    ------
    SettingsError
        Where shapes do not fit, or cells are larger than the lake.
    SolutionError
        Where no cell lies over the lake or around it.
    """
    change = np.asarray(change_m, float)
    if change.shape != (len(time_ns), len(y_m), len(x_m)):
        raise SettingsError(
            f"height change {change.shape}; expected {(len(time_ns), len(y_m), len(x_m))}"
        )
    place = np.stack(np.meshgrid(x_m, y_m), axis=-1).reshape(-1, 2)
    margin = outline.margin_m(place)
    inside = np.flatnonzero(margin > 0.0)
    around = np.flatnonzero((margin < -apart_m) & (margin > -outer_m))
    if not inside.size or not around.size:
        raise SolutionError(
            f"lake {outline.name}: {inside.size} cells over it and {around.size} around it; the "
            "map must hold both"
        )
    flat = change.reshape(len(change), -1)
    means = [_mean(flat[:, cells]) for cells in (inside, around)]
    seen = np.isfinite(flat[:, inside]).mean(axis=1)
    levels = np.where(seen >= LEAST_SHARE, means[0] - means[1], np.nan)
    cell_m2 = abs((x_m[1] - x_m[0]) * (y_m[1] - y_m[0])) / outline.scale**2
    if sigma_m is None:
        spread = np.broadcast_to(_scatter(flat[:, around])[:, None], flat.shape)
    else:
        spread = np.asarray(sigma_m, float).reshape(len(change), -1)
    sigma = np.hypot(*(_spread(spread[:, cells], cell_m2) for cells in (inside, around)))
    return MapLevels(outline.name, np.asarray(time_ns, np.int64), levels, sigma, *means, seen)


def _mean(values):
    """Return means (t,) of finite values (t, n); NaN where there are none."""
    there = np.isfinite(values)
    number = there.sum(axis=1)
    total = np.where(there, values, 0.0).sum(axis=1)
    return np.where(number > 0, total / np.maximum(number, 1), np.nan)


def _scatter(values):
    """Return the standard deviation (t,) of finite values (t, n) about their mean."""
    return np.sqrt(_mean((values - _mean(values)[:, None]) ** 2))


def _spread(sigma, cell_m2):
    """Return the sigma of a mean (t,): as many independent values as patches in the area."""
    patches = max(1.0, sigma.shape[1] * cell_m2 / CORRELATED_M**2)
    return np.sqrt(_mean(sigma**2) / patches)
