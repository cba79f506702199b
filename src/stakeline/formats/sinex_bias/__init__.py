"""SINEX-BIAS files: biases of codes and phases of satellites. See ``SPEC.md``."""

from .reading import Bias, parse_biases, read_biases

__all__ = ["Bias", "parse_biases", "read_biases"]
