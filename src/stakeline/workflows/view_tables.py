"""Tables of a campaign as the pages read them: what is not there is empty, not an error."""

import csv
import json
import math

import numpy as np

LARGEST_ROWS = 20_000  # rows of a CSV that a page takes in; choice


def rows_of(path):
    """Return the rows of a CSV table as dicts of texts; empty where there is none."""
    try:
        with path.open(encoding="utf-8", newline="") as lines:
            return [row for _, row in zip(range(LARGEST_ROWS), csv.DictReader(lines), strict=False)]
    except (OSError, ValueError, csv.Error):
        return []


def json_of(path):
    """Return the object of a JSON file; an empty dict where there is none."""
    try:
        found = json.loads(path.read_text("utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def text_of(path):
    """Return a text file; '' where there is none."""
    try:
        return path.read_text("utf-8")
    except (OSError, ValueError):
        return ""


def number(text):
    """Return a number; None where the text is none, which JSON and charts show as a gap."""
    try:
        value = float(text)
    except (TypeError, ValueError):
        return None
    return value if math.isfinite(value) else None


def numbers(rows, name):
    """Return a column of :func:`rows_of` as numbers and None."""
    return [number(row.get(name)) for row in rows]


def plain(values):
    """Return an array as a list for JSON, None where it is NaN; times as ISO 8601."""
    values = np.asarray(values)
    if values.dtype.kind == "M":
        return np.datetime_as_string(values, unit="s").tolist()
    return [value if math.isfinite(value) else None for value in values.astype(float).tolist()]


def blocks_of(text):
    """Return {title: indented lines} of a summary in words: blocks between blank lines."""
    parts = (part.splitlines() for part in text.split("\n\n") if part.strip())
    return {lines[0]: lines[1:] for lines in parts}


def sheet_text(text):
    """Return a text as a cell that no table program runs as a formula."""
    return f"'{text}" if text[:1] in "=+-@\t\r" and text[:1] else text
