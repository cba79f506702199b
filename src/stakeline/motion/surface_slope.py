"""The slope under a station from a grid of the surface: what it does to the height on the way."""

import numpy as np
from scipy.interpolate import RectBivariateSpline
from scipy.ndimage import distance_transform_edt, maximum_filter

from ..earth.projection import projection
from ..errors import SolutionError
from .slopes import averaged, surface_term

GRID = "grid"
HOLE_CELLS = 3  # -, nearer to a hole a spline feels what fills it (0.27^3 = 2 %); our choice
LEAST_BASE_M = 10.0  # m, half the base of a slope where the path is shorter; our choice
LATTICE = 9  # -, points by points where the roughness of the surface is taken; our choice


def grid_term(surfaces, latitude_rad, longitude_rad, length_m, slope_sigma=0.0):
    """Return (name, Term): what the height loses on a path over the finest grid that covers it.

    Parameters
    ----------
    surfaces : sequence of SurfaceGrid
    latitude_rad, longitude_rad : array (n,)
        Path of the station, NaN in gaps. [rad]
    length_m : float
        The surface is averaged over a cross of this length, in true metres. [m]
    slope_sigma : float
        Of the grid's slope, beside what its roughness shows.

    Returns
    -------
    name : str
    term : Term
        Height of the surface less that at the first place. Its factor holds one slope for the whole
        path, whose sigma is :func:`roughness` with ``slope_sigma``: it does not know of errors of
        the grid that are even over more than the length.

    Raises
    ------
    SolutionError
        Where no grid covers the path, or all that do have holes there; the sentence says which.

    Notes
    -----
    Heights between the nodes by a bicubic spline. Map coordinates are made true metres by the scale
    factor of the map at the path's mean latitude: over 10 km it changes by 2e-4, no more than
    millimetres of height.
    """
    finest = sorted(surfaces, key=lambda grid: (_spacing(grid), grid.name))
    said = []
    for surface in finest:
        try:
            return surface.name, _term(surface, latitude_rad, longitude_rad, length_m, slope_sigma)
        except SolutionError as problem:
            said.append(str(problem))
    raise SolutionError("; ".join(said) if said else "there is no grid of the surface")


def _spacing(surface):
    """Return the larger distance of nodes. [m]"""
    return max(float(np.abs(np.diff(axis)).max()) for axis in (surface.x_m, surface.y_m))


def _term(surface, latitude, longitude, length_m, slope_sigma):
    """Return the Term of one grid; SolutionError where it does not cover the path."""
    chart = projection(surface.epsg)
    x, y = chart.forward(latitude, longitude)
    there = np.isfinite(x)
    if not there.any():
        raise SolutionError(f"{surface.name}: the path of the station holds no position")
    scale = float(chart.point_scale(np.mean(latitude[there])))
    way = float(np.hypot(np.ptp(x[there]), np.ptp(y[there])))
    spacing = _spacing(surface)
    reach = 1.5 * scale * max(length_m, spacing) + way + (HOLE_CELLS + 2) * spacing
    part = _cut(surface, x[there], y[there], reach)
    height_at = _heights(*part, scale)
    east, north = x / scale, y / scale
    rough = roughness(height_at, east[there], north[there], length_m, spacing / scale)
    term = surface_term(east, north, height_at, length_m, float(np.hypot(rough, slope_sigma)), GRID)
    missing = np.isnan(term.value_m[there])
    if missing.any():
        raise SolutionError(
            f"{surface.name}: the surface has holes within reach of {100.0 * missing.mean():.0f} % "
            "of the station's path"
        )
    return term


def _cut(surface, x, y, reach):
    """Return rising x, rising y and heights of the part of a grid around places. [m]"""
    axes, height = [], np.asarray(surface.height_m, float)
    for k, (axis, at) in enumerate(((surface.y_m, y), (surface.x_m, x))):
        nodes = np.asarray(axis, float)
        order = np.argsort(nodes)
        nodes, height = nodes[order], height.take(order, axis=k)
        if at.min() < nodes[0] or at.max() > nodes[-1]:
            raise SolutionError(f"{surface.name}: the grid does not reach the station's path")
        inside = np.flatnonzero((nodes >= at.min() - reach) & (nodes <= at.max() + reach))
        axes.append(nodes[inside])
        height = height.take(inside, axis=k)
    rows, columns = height.shape
    if min(rows, columns) < 4:
        raise SolutionError(
            f"{surface.name}: {rows} by {columns} nodes around the station's path; a slope needs "
            "4 by 4"
        )
    return axes[1], axes[0], height


def _heights(x_m, y_m, height_m, scale):
    """Return ``height_at(east_m, north_m)``, true metres along the map; NaN near holes, outside."""
    hole = ~np.isfinite(height_m)
    near = maximum_filter(hole, 2 * HOLE_CELLS + 1)
    if hole.any():
        nearest = distance_transform_edt(hole, return_distances=False, return_indices=True)
        height_m = np.where(near.all(), 0.0, height_m[tuple(nearest)])
    spline = RectBivariateSpline(y_m, x_m, height_m)

    def height_at(east_m, north_m):
        x, y = np.asarray(east_m) * scale, np.asarray(north_m) * scale
        inside = (x >= x_m[0]) & (x <= x_m[-1]) & (y >= y_m[0]) & (y <= y_m[-1])
        at_x, at_y = np.where(inside, x, x_m[0]), np.where(inside, y, y_m[0])
        cell = _nearest(y_m, at_y), _nearest(x_m, at_x)
        return np.where(inside & ~near[cell], spline.ev(at_y, at_x), np.nan)

    return height_at


def _nearest(nodes, at):
    """Return the numbers of the nearest nodes."""
    after = np.clip(np.searchsorted(nodes, at), 1, len(nodes) - 1)
    return after - (at - nodes[after - 1] < nodes[after] - at)


def roughness(height_at, east_m, north_m, length_m, spacing_m):
    """Return what the averaging leaves uncertain in the slope around a path: one component.

    Parameters
    ----------
    height_at : callable
        As for :func:`~stakeline.motion.slopes.surface_term`.
    east_m, north_m : array (n,)
        The path. [m]
    length_m, spacing_m : float
        Of averaging, and of the nodes. [m]

    Returns
    -------
    float
        The larger of two: a third of the difference to twice the length (what averaging takes away
        grows with the square of the length, so that twice takes away four times as much), and the
        difference to half the length (what noise of the nodes leaves). Root mean squares, of slopes
        over as much way as the path has, over a lattice around it; points without heights are left
        out; NaN where all are. 0 for a plane or a bowl.
    """
    length = max(length_m, spacing_m)
    side = [
        np.linspace(at.min() - 0.5 * length, at.max() + 0.5 * length, LATTICE)
        for at in (east_m, north_m)
    ]
    east, north = (part.ravel() for part in np.meshgrid(*side))
    base = max(LEAST_BASE_M, 0.5 * float(np.hypot(np.ptp(east_m), np.ptp(north_m))))
    half, whole, twice = (
        _gradient(height_at, east, north, base, x) for x in (0.5 * length_m, length_m, 2.0 * length)
    )
    return float(np.maximum(_rms(twice - whole) / 3.0, _rms(half - whole)))


def _rms(values):
    """Return the root mean square of what is there; NaN where nothing is."""
    there = values[np.isfinite(values)]
    return np.sqrt(np.mean(there**2)) if there.size else np.nan


def _gradient(height_at, east, north, base_m, length_m):
    """Return slopes to east, then to north, of the surface averaged over a cross (2n,)."""
    rise = []
    for a, b in ((base_m, 0.0), (0.0, base_m)):
        after = averaged(height_at, east + a, north + b, length_m)
        before = averaged(height_at, east - a, north - b, length_m)
        rise.append((after - before) / (2.0 * base_m))
    return np.concatenate(rise)
