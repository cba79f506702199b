"""Navigation messages: RINEX 2, 3 and 4 read, 3.05 written. See ``SPEC.md``."""

from ._layouts import KEPLER_COLUMNS, STATE_COLUMNS
from .reading import parse_navigation, read_navigation
from .writing import write_navigation

__all__ = [
    "KEPLER_COLUMNS",
    "STATE_COLUMNS",
    "parse_navigation",
    "read_navigation",
    "write_navigation",
]
