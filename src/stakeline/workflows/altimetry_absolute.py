"""Points of altimetry as heights above the ellipsoid, tide-free, on one map; what each step did."""

from dataclasses import dataclass

import numpy as np

from ..earth.projection import projection
from ..errors import FormatError, SettingsError
from ..formats.altimetry import Datum, joined_points
from ..lakes.altimetry import SurfacePoints
from ..lakes.datum import ELLIPSOID, GEOID, TIDE_FREE, above_ellipsoid, in_tide_system


@dataclass(frozen=True, eq=False)
class AbsolutePoints:
    """Points above the ellipsoid, tide-free.

    ``points``: :class:`SurfacePoints` in order of time; ``geoid_m``, ``tide_m`` (n,): what was
    added to the heights of the files; ``frames``: of the files; ``notes``: of files left out.
    """

    points: SurfacePoints
    geoid_m: np.ndarray
    tide_m: np.ndarray
    frames: tuple
    notes: tuple


def absolute_points(parts, epsg):
    """Return (:class:`AbsolutePoints` or None, notes) of AltimetryPoints of files, on a map.

    Files that do not say their datum are left out, and told.
    """
    kept, geoid, tide, notes = [], [], [], []
    for part in parts:
        try:
            moved, *steps, lost = ellipsoidal(part)
        except SettingsError as problem:
            notes.append(f"no absolute heights: {problem}")
            continue
        if lost:
            notes.append(f"{part.file}: points without a height of the geoid: {lost}")
        kept.append(placed(moved, epsg))
        geoid.append(steps[0])
        tide.append(steps[1])
    if not kept:
        return None, tuple(notes)
    frames = tuple(sorted({part.datum.frame or "not said" for part in kept}))
    whole = joined_points([part.with_heights(part.height_m, _DATUM) for part in kept])
    order = np.argsort(np.concatenate([part.time_ns for part in kept]), kind="stable")
    steps = (np.concatenate(one)[order] for one in (geoid, tide))
    return AbsolutePoints(surface_points(whole, epsg), *steps, frames, tuple(notes)), tuple(notes)


_DATUM = Datum(ELLIPSOID, TIDE_FREE)


def surface_points(points, epsg):
    """Return the :class:`SurfacePoints` of AltimetryPoints on a map."""
    return SurfacePoints(
        points.time_ns, points.place, points.height_m, points.sigma_m, points.track, points.cycle,
        epsg,
    )  # fmt: skip


def ellipsoidal(part):
    """Return (points above the ellipsoid and tide-free, geoid added, tide added, points lost).

    Raises SettingsError where the datum is not said, or no height of the geoid is given.
    """
    datum, height = part.datum, part.height_m
    if datum.missing:
        raise SettingsError(
            f"{part.file}: does not say its {' and '.join(datum.missing)}; say it in a file of its "
            "name ending in .toml, [datum]"
        )
    if datum.height_above == GEOID:
        height = above_ellipsoid(height, part.geoid_m)
    geoid = height - part.height_m
    free = in_tide_system(height, latitude_of(part), datum.tide_system, TIDE_FREE)
    good = np.isfinite(free)
    moved = part.with_heights(free, Datum(ELLIPSOID, TIDE_FREE, datum.frame)).chosen(good)
    return moved, geoid[good], (free - height)[good], int((~good).sum())


def latitude_of(part):
    """Return latitudes of points (n,). [rad]"""
    if part.epsg is None:
        return np.radians(part.place[:, 0])
    return projection(part.epsg).inverse(*part.place.T)[0]


def placed(part, epsg):
    """Return points on the map of the lakes."""
    if part.epsg == epsg:
        return part
    latitude = latitude_of(part)
    longitude = (
        np.radians(part.place[:, 1])
        if part.epsg is None
        else projection(part.epsg).inverse(*part.place.T)[1]
    )
    chart = projection(epsg)
    if (chart.pole * latitude < np.radians(45.0)).any():
        raise FormatError(
            part.file, None, f"latitude {np.degrees(latitude.min()):.2f}",
            f"places that the lakes' map EPSG:{epsg} holds",
        )  # fmt: skip
    return part.with_places(np.stack(chart.forward(latitude, longitude), axis=1), epsg)
