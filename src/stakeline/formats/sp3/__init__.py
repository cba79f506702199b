"""Precise orbits in SP3-a, -b, -c and -d: read, join, write. See ``SPEC.md``."""

from .joining import join
from .reading import parse_sp3, read_sp3
from .writing import write_sp3

__all__ = ["join", "parse_sp3", "read_sp3", "write_sp3"]
