"""Station coordinates and antenna offsets in SINEX 1.00 to 2.02. See ``SPEC.md``."""

from .reading import parse_sinex, read_sinex

__all__ = ["parse_sinex", "read_sinex"]
