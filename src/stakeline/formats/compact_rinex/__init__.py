"""Compact observation records (versions 1 and 3): decoder straight to arrays."""

from .decoding import decode

__all__ = ["decode"]
