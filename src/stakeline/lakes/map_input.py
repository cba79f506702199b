"""Maps of surface and bed brought together: onto one grid, above the same, and looked through."""

import numpy as np
from scipy.interpolate import RegularGridInterpolator

from ..earth.projection import projection
from ..errors import SettingsError
from .grid import MapGrid, checked_field

ZERO_SHARE = 0.05  # of the cells at exactly 0, from which a bed that is never below looks like a
# thickness; choice
WATER_GAP_M = 5.0  # m, of surface less bed over the thickness, from which ice floats; choice
ELLIPSOID, GEOID = "ellipsoid", "geoid"
_WORDS = {ELLIPSOID: ("ellipsoid",), GEOID: ("geoid", "mean sea level", "orthometric")}


def brought_to(grid, x_m, y_m, epsg, values):
    """Return a field (m, n) on the cells of a grid, linear between the cells of its own.

    Parameters
    ----------
    grid : MapGrid
        With a map of its own where ``epsg`` differs.
    x_m, y_m : arrays, shapes (k,) and (l,)
        Axes of the field, on its own map. [m]
    epsg : int or None
    values : array, shape (l, k)

    Returns
    -------
    array
        NaN off the field, and beside its missing cells.
    """
    own = MapGrid(x_m, y_m, epsg)
    values = checked_field(own, values, "a map")
    east, north = np.meshgrid(grid.x_m, grid.y_m)
    if epsg != grid.epsg:
        place = projection(grid.epsg).inverse(east, north)
        east, north = projection(epsg).forward(*place)
    across, down = (np.argsort(axis) for axis in (own.x_m, own.y_m))
    read = RegularGridInterpolator(
        (own.y_m[down], own.x_m[across]), values[np.ix_(down, across)],
        bounds_error=False, fill_value=np.nan,
    )  # fmt: skip
    return read(np.stack([north, east], axis=-1))


def same_cells(grid, x_m, y_m, epsg):
    """Say whether axes are those of a grid."""
    return (
        epsg == grid.epsg
        and grid.shape == (len(y_m), len(x_m))
        and np.allclose(grid.x_m, x_m, rtol=0.0, atol=1e-3 * abs(grid.step_m[0]))
        and np.allclose(grid.y_m, y_m, rtol=0.0, atol=1e-3 * abs(grid.step_m[1]))
    )


def coarser(grid, fields, factor):
    """Return (grid, fields) with ``factor`` cells in each direction made one, the mean of them.

    A new cell is missing where more than half of its cells are. Rows and columns at the end that
    fill no cell are left out.
    """
    rows, columns = (size // factor for size in grid.shape)

    def blocks(axis, count):
        return axis[: count * factor].reshape(count, factor).mean(axis=1)

    made = []
    for values in fields:
        part = np.asarray(values, float)[: rows * factor, : columns * factor]
        part = part.reshape(rows, factor, columns, factor).swapaxes(1, 2)
        part = part.reshape(rows, columns, factor**2)
        there = np.isfinite(part)
        count = there.sum(axis=2)
        total = np.where(there, part, 0.0).sum(axis=2)
        made.append(np.where(2 * count >= factor**2, total / np.maximum(count, 1), np.nan))
    return MapGrid(blocks(grid.x_m, columns), blocks(grid.y_m, rows), grid.epsg), made


def heights_above(words):
    """Return what a map's words say its heights are above: ellipsoid, geoid, or '' for neither."""
    said = [name for name, keys in _WORDS.items() if any(key in words.lower() for key in keys)]
    return said[0] if len(said) == 1 else ""


def refuse_thickness(bed_m):
    """Raise SettingsError where a bed looks like a thickness.

    It is never below 0 and exactly 0 in many cells, as a thickness is on rock and sea.
    """
    there = np.asarray(bed_m, float)[np.isfinite(bed_m)]
    zero = np.count_nonzero(there == 0.0) / max(there.size, 1)
    if there.size and there.min() >= 0.0 and zero > ZERO_SHARE:
        raise SettingsError(
            f"the bed is exactly 0 in {zero:.0%} of the cells and nowhere below, at most "
            f"{there.max():.0f} m: it looks like a thickness; name it so, and the bed is the "
            "surface less it"
        )


def same_heights(surface_m, bed_m, said, geoid_m=None):
    """Return (surface, bed, what both are above, sentence) with heights above the same.

    Parameters
    ----------
    surface_m, bed_m : arrays, shape (m, n)
    said : tuple of str
        What each is above, of :func:`heights_above`.
    geoid_m : array, optional
        Height of the geoid above the ellipsoid. [m]

    Raises
    ------
    SettingsError
        Where they are above different things and no geoid is given.
    """
    surface_of, bed_of = said
    if not surface_of or not bed_of or surface_of == bed_of:
        return surface_m, bed_m, surface_of or bed_of, ""
    if geoid_m is None:
        raise SettingsError(
            f"the surface is above the {surface_of}, the bed above the {bed_of}: give the geoid's "
            "height above the ellipsoid as a map 'geoid', or bring both to the same"
        )
    sentence = f"heights above the geoid were brought to the ellipsoid ({surface_of} and {bed_of})"
    if surface_of == GEOID:
        return surface_m + geoid_m, bed_m, ELLIPSOID, sentence
    return surface_m, bed_m + geoid_m, ELLIPSOID, sentence


def water_below(surface_m, bed_m, thickness_m):
    """Return True (m, n) where ice floats or the sea is open: surface less bed is more than ice.

    There the water's way below the ice ends.
    """
    return np.nan_to_num(surface_m - bed_m - thickness_m, nan=0.0) > WATER_GAP_M


def bed_above_surface(surface_m, bed_m):
    """Return (number of cells, greatest height) where the bed lies above the surface. [m]"""
    above = np.nan_to_num(bed_m - surface_m, nan=0.0)
    return int(np.count_nonzero(above > 0.0)), float(max(above.max(), 0.0))
