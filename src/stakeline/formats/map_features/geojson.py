"""Write lines, areas and places as GeoJSON."""

import json
import math
from dataclasses import dataclass, field

import numpy as np

from ...errors import FormatError

_DECIMALS = 6  # of a degree: 0.1 m
KINDS = ("Point", "LineString", "Polygon")


@dataclass(frozen=True)
class Feature:
    """One thing on the map.

    ``kind``: of :data:`KINDS`. ``parts_deg``: arrays (n, 2) of longitude and latitude: the place or
    the line alone, or the outer ring of an area and its holes, closed or open. [deg]
    """

    kind: str
    parts_deg: tuple
    properties: dict = field(default_factory=dict)


def write_features(features):
    """Return the bytes of a FeatureCollection.

    Raises
    ------
    FormatError
        For another kind, too few points, numbers that are no degrees, or an area across the
        antimeridian.
    """
    content = {"type": "FeatureCollection", "features": [_feature(one) for one in features]}
    return (json.dumps(content, indent=1, allow_nan=False) + "\n").encode("utf-8")


def _feature(one):
    parts = [_checked(one, part) for part in one.parts_deg]
    if one.kind not in KINDS or not parts or (one.kind != "Polygon" and len(parts) > 1):
        raise FormatError(
            "features", None, f"a {one.kind} of {len(parts)} parts", f"{', '.join(KINDS)}"
        )
    return {
        "type": "Feature",
        "properties": {name: _plain(value) for name, value in one.properties.items()},
        "geometry": _geometry(one.kind, parts),
    }


def _checked(one, part):
    """Return positions (n, 2), longitude within 180 deg."""
    part = np.atleast_2d(np.asarray(part, float))
    least = {"Point": 1, "LineString": 2}.get(one.kind, 3)
    if part.shape[1] != 2 or len(part) < least or not np.isfinite(part).all():
        raise FormatError(
            "features", None, f"a {one.kind} of shape {part.shape}", f"finite (n >= {least}, 2)"
        )
    if np.abs(part[:, 1]).max() > 90.0 or np.abs(part[:, 0]).max() > 360.0:
        raise FormatError("features", None, f"{part[0].tolist()}", "longitude, latitude in degrees")
    longitude = (part[:, 0] + 180.0) % 360.0 - 180.0
    return np.column_stack([longitude, part[:, 1]])


def _geometry(kind, parts):
    if kind == "Polygon":
        rings = [_ring(part, outer=k == 0) for k, part in enumerate(parts)]
        return {"type": kind, "coordinates": rings}
    positions = parts[0]
    if kind == "Point":
        return {"type": kind, "coordinates": _rounded(positions)[0]}
    pieces = [_rounded(piece) for piece in _cut(positions)]
    if len(pieces) > 1:
        return {"type": "MultiLineString", "coordinates": pieces}
    return {"type": kind, "coordinates": pieces[0]}


def _ring(part, outer):
    """Return a closed ring, outer ones counter-clockwise, holes clockwise (section 3.1.6)."""
    ring = part if np.array_equal(part[0], part[-1]) else np.vstack([part, part[:1]])
    x, y = ring.T
    if np.abs(np.diff(x)).max() > 180.0:
        raise FormatError(
            *("features", None, f"an area across the antimeridian near {ring[0].tolist()}"),
            "areas on one side of it (RFC 7946, section 3.1.9)",
        )
    turns = np.sum((x[:-1] - x[0]) * (y[1:] - y[0]) - (x[1:] - x[0]) * (y[:-1] - y[0]))
    return _rounded(ring if (turns > 0.0) == outer else ring[::-1])


def _cut(line):
    """Return the pieces of a line, cut where it crosses the antimeridian (section 3.1.9)."""
    pieces, rest = [], line
    while True:
        jump = np.flatnonzero(np.abs(np.diff(rest[:, 0])) > 180.0)
        if not jump.size:
            return [*pieces, rest]
        k = jump[0]
        side = math.copysign(180.0, rest[k, 0])
        ahead = rest[k + 1, 0] + 2.0 * side
        share = 0.0 if ahead == rest[k, 0] else (side - rest[k, 0]) / (ahead - rest[k, 0])
        latitude = rest[k, 1] + share * (rest[k + 1, 1] - rest[k, 1])
        pieces.append(np.vstack([rest[: k + 1], [side, latitude]]))
        rest = np.vstack([[-side, latitude], rest[k + 1 :]])


def _rounded(positions):
    return np.round(positions, _DECIMALS).tolist()


def _plain(value):
    """Return a property as JSON holds it; a number that is not finite as null."""
    value = value.item() if isinstance(value, np.generic) else value
    return None if isinstance(value, float) and not math.isfinite(value) else value
