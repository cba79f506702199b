"""Outlines of lakes as GeoJSON; see SPEC.md beside this file."""

from .geojson import Outline, Rings, read_outlines, read_rings, write_outlines

__all__ = ["Outline", "Rings", "read_outlines", "read_rings", "write_outlines"]
