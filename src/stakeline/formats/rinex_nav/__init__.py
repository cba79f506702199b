"""Navigation messages, RINEX 2, 3 and 4. See ``SPEC.md``."""

from ._layouts import KEPLER_COLUMNS, STATE_COLUMNS
from .reading import parse_navigation, read_navigation

__all__ = ["KEPLER_COLUMNS", "STATE_COLUMNS", "parse_navigation", "read_navigation"]
