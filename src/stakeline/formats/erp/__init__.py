"""Earth orientation: C04, finals, Bulletin B, IGS ERP version 2. See ``SPEC.md``."""

from .reading import parse_orientation, read_orientation

__all__ = ["parse_orientation", "read_orientation"]
