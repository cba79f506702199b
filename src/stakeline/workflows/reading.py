"""Receiver files to observations: whose file it is, and pieces joined by epoch."""

import re
from pathlib import Path

import numpy as np

from ..errors import FormatError, SolutionError
from ..formats.compression import open_bytes
from ..formats.rinex_obs import join, read_observations

_HEADER_BYTES = 64_000  # a header of some hundred lines ends before this
_LONG_NAME = re.compile(r"([A-Z0-9]{4})[A-Z0-9]{5}_[A-Z]_(\d{4})(\d{3})\d{4}_", re.IGNORECASE)
_SHORT_NAME = re.compile(r"([A-Z0-9]{4})(\d{3})[0-9a-x](?:\d\d)?\.(\d\d)[od]", re.IGNORECASE)
_CENTURY_TURN = 80  # two-digit years from here on are 19xx: RINEX 2.11, section 5.3


def name_in_file_name(path):
    """Return the four-character station in a file name of the RINEX forms; else its stem."""
    name = Path(path).name
    match = _LONG_NAME.match(name) or _SHORT_NAME.search(name)
    return (match[1] if match else name.split(".")[0]).upper()


def date_in_file_name(path):
    """Return the date, such as ``2031-05-01``, a file name of the RINEX forms stands for; or ''."""
    name = Path(path).name
    long, short = _LONG_NAME.match(name), _SHORT_NAME.search(name)
    if long:
        year, day = int(long[2]), int(long[3])
    elif short:
        year, day = int(short[3]), int(short[2])
        year += 1900 if year >= _CENTURY_TURN else 2000
    else:
        return ""
    return str(np.datetime64(f"{year:04d}-01-01") + (day - 1)) if 1 <= day <= 366 else ""


def marker_of(path):
    """Return the marker name in the header of an observation file; blank where there is none."""
    try:
        members = open_bytes(path)
    except FormatError:
        return ""
    for _, data in members:
        for line in data[:_HEADER_BYTES].splitlines():
            if line[60:].strip() == b"MARKER NAME":
                return _told(line[:60].decode("ascii", "replace").strip().upper())
            if line[60:].strip() == b"END OF HEADER":
                break
    return ""


def _told(marker_name):
    """Return a marker name; blank for one that only says that it is not known."""
    return "" if re.sub(r"[^A-Z]", "", marker_name) == "UNKNOWN" else marker_name


def by_station(paths):
    """Return {station: paths} of observation files, by marker name, else by file name."""
    groups = {}
    for path in paths:
        groups.setdefault(marker_of(path) or name_in_file_name(path), []).append(str(path))
    return groups


def read_pieces(paths):
    """Return (Observations joined by epoch, sentences about files that could not be read).

    Raises
    ------
    SolutionError
        Where no file could be read at all; the sentence holds the reason of the first.
    """
    pieces, problems = [], []
    for path in paths:
        try:
            piece = read_observations(path)
        except FormatError as problem:
            problems.append(str(problem))
            continue
        if len(piece):
            pieces.append(piece)
        else:
            problems.append(f"{path}: holds a header and no epoch")
    if not pieces:
        raise SolutionError("\n".join(problems))
    return (join(pieces) if len(pieces) > 1 else pieces[0]), problems
