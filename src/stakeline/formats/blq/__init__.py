"""Ocean loading coefficients, BLQ. See ``SPEC.md``."""

from .reading import parse_blq, read_blq

__all__ = ["parse_blq", "read_blq"]
