"""Clock files, RINEX clock 2.00 to 3.04: read, join, write. See ``SPEC.md``."""

from .joining import join
from .reading import parse_clocks, read_clocks
from .wide_lanes import wide_lane_biases
from .writing import write_clocks

__all__ = ["join", "parse_clocks", "read_clocks", "wide_lane_biases", "write_clocks"]
