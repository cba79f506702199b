"""Outlines of lakes as GeoJSON; see SPEC.md beside this file."""

from .geojson import Outline, read_outlines, write_outlines

__all__ = ["Outline", "read_outlines", "write_outlines"]
