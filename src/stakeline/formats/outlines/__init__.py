"""Outlines of lakes as GeoJSON or shapefile; see SPEC.md beside this file."""

from .geojson import write_outlines
from .reading import OUTLINE_SUFFIXES, outline_parts, read_outlines, read_rings
from .record import Outline, Rings

__all__ = [
    "OUTLINE_SUFFIXES",
    "Outline",
    "Rings",
    "outline_parts",
    "read_outlines",
    "read_rings",
    "write_outlines",
]
