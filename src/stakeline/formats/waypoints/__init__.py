"""Places to go to as GPX 1.1; see SPEC.md beside this file."""

from .gpx import Track, Waypoint, read_waypoints, write_waypoints

__all__ = ["Track", "Waypoint", "read_waypoints", "write_waypoints"]
