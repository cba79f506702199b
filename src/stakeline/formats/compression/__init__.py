"""Unpacking of plain, gzip, bzip2, zip and LZW files, told apart by their first bytes."""

from .reading import Members, open_bytes

__all__ = ["Members", "open_bytes"]
