"""One door to outlines: the reader that a file's ending asks for."""

from pathlib import Path

from ...errors import FormatError
from .geojson import read_geojson
from .record import Outline
from .shapefile import SHAPEFILE, read_shapefile, shapefile_parts

GEOJSON = (".geojson",)
OUTLINE_SUFFIXES = (*GEOJSON, SHAPEFILE)
"""Endings of files that :func:`read_rings` reads."""


def read_rings(path):
    """Return the tuple of :class:`~.record.Rings` of a GeoJSON file or a shapefile.

    Raises
    ------
    FormatError
        For damage, another geometry, an open or short ring, or a shapefile without its library.
    """
    return read_shapefile(path) if Path(path).suffix.lower() == SHAPEFILE else read_geojson(path)


def read_outlines(path):
    """Return the tuple of :class:`~.record.Outline` of a file in degrees, outer rings alone.

    Raises
    ------
    FormatError
        As :func:`read_rings`, and for metres.
    """
    found = read_rings(path)
    for rings in found:
        far = abs(rings.outer).max(axis=0)
        if rings.in_metres or far[0] > 360.0 or far[1] > 90.0:
            raise FormatError(
                *(path, None, f"feature {rings.number} ({rings.name}): {rings.outer[0].tolist()}"),
                "longitude and latitude in degrees (RFC 7946, section 4)",
                "convert projected metres first",
            )
    return tuple(Outline(rings.name, rings.outer) for rings in found)


def outline_parts(path):
    """Return the paths of all files that an outline is made of: the named one, and beside it."""
    path = Path(path)
    return shapefile_parts(path) if path.suffix.lower() == SHAPEFILE else (path,)
