"""Antenna calibrations, ANTEX 1.4. See ``SPEC.md``."""

from .reading import parse_antex, read_antex
from .writing import write_antex

__all__ = ["parse_antex", "read_antex", "write_antex"]
