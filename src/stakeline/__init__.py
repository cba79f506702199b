"""Stakeline: autonomous GNSS stations on glaciers, from design to answer."""

__version__ = "0.1.0"
