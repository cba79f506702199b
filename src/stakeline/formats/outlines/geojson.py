"""Read and write outlines as GeoJSON polygons."""

import json
import re
from pathlib import Path

import numpy as np

from ...errors import FormatError
from .record import Rings, signed_area


def write_outlines(outlines):
    """Return the bytes of a FeatureCollection of :class:`Outline`, positions to 0.1 m."""
    features = [
        {
            "type": "Feature",
            "properties": {"name": outline.name},
            "geometry": {"type": "Polygon", "coordinates": [_ring(outline.ring_deg)]},
        }
        for outline in outlines
    ]
    content = {"type": "FeatureCollection", "features": features}
    return (json.dumps(content, indent=1) + "\n").encode("utf-8")


def _ring(ring_deg):
    """Return the ring counter-clockwise (RFC 7946, section 3.1.6) and closed, rounded."""
    ring = np.round(np.asarray(ring_deg, float), 6)
    ring = ring if np.array_equal(ring[0], ring[-1]) else np.vstack([ring, ring[:1]])
    return (ring if signed_area(ring) > 0.0 else ring[::-1]).tolist()


def read_geojson(path):
    """Return the tuple of :class:`Rings` of a GeoJSON file; what the numbers are is left open.

    Raises
    ------
    FormatError
        For text that is no GeoJSON, another geometry, or an open or short ring.
    """
    try:
        content = json.loads(Path(path).read_text(encoding="utf-8"))
        features = content["features"]
        kinds = [feature["geometry"]["type"] for feature in features]
    except (ValueError, KeyError, TypeError) as problem:
        raise FormatError(path, None, repr(problem), "a GeoJSON FeatureCollection") from None
    for number, kind in enumerate(kinds, 1):
        if kind != "Polygon":
            raise FormatError(
                *(path, None, f"feature {number}: a {kind}", "a Polygon"),
                "give the parts of a MultiPolygon as features of their own, each with its name",
            )
    epsg = _named_map(content)
    return tuple(_rings(path, number, one, epsg) for number, one in enumerate(features, 1))


def _named_map(content):
    """Return the EPSG code of a member ``crs`` (GeoJSON of 2008, section 3.1); None without."""
    crs = content.get("crs")
    properties = crs.get("properties") if isinstance(crs, dict) else None
    name = str(properties.get("name", "")) if isinstance(properties, dict) else ""
    code = re.search(r"EPSG:+(\d+)$", name)
    return int(code[1]) if code else None


def _rings(path, number, feature, epsg):
    name = str((feature.get("properties") or {}).get("name") or f"outline {number}")
    where = f"feature {number} ({name})"
    try:
        rings = [
            np.array([position[:2] for position in ring], float)
            for ring in feature["geometry"]["coordinates"]
        ]
    except (KeyError, IndexError, TypeError, ValueError):
        raise FormatError(path, None, f"{where}: no ring of numbers", "a ring") from None
    for ring in rings or [np.empty((0, 2))]:
        if ring.ndim != 2 or len(ring) < 4 or not np.array_equal(ring[0], ring[-1]):
            raise FormatError(
                path, None, f"{where}: {len(ring)} points", "a closed ring of 4 points or more"
            )
    return Rings(name, rings[0], tuple(rings[1:]), epsg, number)
