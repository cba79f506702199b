"""Observation files: RINEX 2, 3 and 4, plain or compact, packed or not; SPEC.md beside."""

from .joining import join
from .reading import parse_observations, read_header, read_observations
from .writing import write_observations

__all__ = ["join", "parse_observations", "read_header", "read_observations", "write_observations"]
