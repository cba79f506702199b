"""Lines, areas and places on a map as GeoJSON; see SPEC.md beside this file."""

from .geojson import Feature, write_features

__all__ = ["Feature", "write_features"]
