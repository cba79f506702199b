"""What is odd about photographs, outlines and settings that lie among the raw files."""

import json

_ENDS = {b"\xff\xd8\xff": b"\xff\xd9", b"\x89PNG": b"IEND"}  # JPEG: EOI; PNG: last chunk's type
_LAST_BYTES = 64
_LARGEST_DEG = 360.0


def examine_text(kind, data):
    """Return sentences about the content of a file that is neither table nor observations."""
    if kind == "photograph":
        return _photograph(data)
    return _outline(data) if kind == "outline" else ()


def _photograph(data):
    end = next(end for start, end in _ENDS.items() if data.startswith(start))
    return () if end in data[-_LAST_BYTES:] else ("the picture ends early; copy it again",)


def _outline(data):
    """Return what keeps a GeoJSON file from being one (RFC 7946: JSON, degrees)."""
    try:
        content = json.loads(data)
    except ValueError as problem:
        return (f"is no whole JSON: {problem}",)
    largest = max(map(abs, _numbers(content)), default=0.0)
    if largest > _LARGEST_DEG:
        return (
            f"coordinates of up to {largest:.0f} are no degrees; GeoJSON holds longitude and "
            "latitude (RFC 7946)",
        )
    return ()


def _numbers(content):
    """Yield the numbers of all coordinates inside a GeoJSON object."""
    waiting = [content]
    while waiting:
        item = waiting.pop()
        if isinstance(item, dict):
            yield from _flat(item.get("coordinates"))
            waiting += [item.get("geometry"), item.get("features"), item.get("geometries")]
        elif isinstance(item, list):
            waiting += item


def _flat(part):
    """Yield longitude and latitude of every place in nested lists."""
    if isinstance(part, list):
        yield from (v for v in part[:2] if isinstance(v, int | float))
        for inner in part:
            yield from _flat(inner)
