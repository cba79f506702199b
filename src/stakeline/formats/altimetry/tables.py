"""Read altimetry from plain tables whose columns have our names."""

import numpy as np

from ...errors import FormatError
from ...time import gps_from_utc
from ..fixed_columns import only_member
from ..plain_table import NOT_A_TIME, parse_plain_table
from ..plain_table.kinds import PARQUET, head_of
from .record import Datum, checked_points

LENGTHS = {"m": 1.0, "cm": 1e-2, "mm": 1e-3, "km": 1e3}


def read_altimetry_table(path, epsg=None, datum=None):
    """Return the :class:`~.record.AltimetryPoints` of a CSV or Parquet table, packed or not.

    Parameters
    ----------
    path : str or path
    epsg : int, optional
        Map of columns ``x_m`` and ``y_m`` where the file does not name it.
    datum : Datum, optional
        What holds where the file does not say.

    Raises
    ------
    FormatError
        Where columns, a map or the scale of times are missing, or as :func:`.checked_points`.
    """
    file, data, packing = only_member(path)
    table = parse_plain_table(data, file, tuple(note.reason for note in packing))
    if not table.scale:
        raise FormatError(
            file, None, f"columns {', '.join(table.names)}; no time that says its scale",
            "time_utc or time_gps",
        )  # fmt: skip
    time_ns, timed = _times(table)
    place, epsg = _place(table, file, epsg)
    columns = {"time_ns": time_ns, "timed": timed, "place": place}
    columns["height_m"] = _length(table, file, "height")
    for name in ("sigma", "geoid"):
        if _found(table, name):
            columns[f"{name}_m"] = _length(table, file, name)
    columns |= _passes(table, file)
    if "quality" in table.names:
        columns["good"] = _numbers(table, file, "quality") == 0.0
    said = {key: table.metadata[key] for key in ("height_above", "tide_system", "frame")
            if key in table.metadata}  # fmt: skip
    whole = Datum(**{**vars(datum or Datum()), **said})
    return checked_points(file, columns, epsg, whole, table.notes, _line_of(data, table))


def _line_of(data, table):
    """Return the function from row to line; of none where rows were passed over or not text."""
    if data.startswith(PARQUET) or any("passed over" in note for note in table.notes):
        return None
    head = head_of(data[:20_000].decode("utf-8-sig", "replace"))
    return lambda row: head.lines_before + 2 + int(row)


def _times(table):
    known = table.time_ns != NOT_A_TIME
    time_ns = np.where(known, table.time_ns, 0)
    if table.scale == "UTC":
        time_ns = np.where(known, gps_from_utc(np.where(known, time_ns, 10**18)), 0)
    return time_ns, known


def _place(table, file, epsg):
    """Return (places (n, 2), map or None)."""
    if {"latitude_deg", "longitude_deg"} <= set(table.names):
        names = ("latitude_deg", "longitude_deg")
        if {"x_m", "y_m"} <= set(table.names):
            raise FormatError(file, None, "both degrees and x_m, y_m", "one of the two")
        return np.stack([_numbers(table, file, n) for n in names], axis=1), None
    if not {"x_m", "y_m"} <= set(table.names):
        raise FormatError(
            file, None, f"columns {', '.join(table.names)}",
            "latitude_deg and longitude_deg, or x_m and y_m",
            "a table with other names needs a map of its columns beside it",
        )  # fmt: skip
    told = table.metadata.get("epsg", "").upper().removeprefix("EPSG:")
    if told and not told.isdigit():
        raise FormatError(file, None, f"epsg: {told}", "a code such as 3413")
    if told and epsg is not None and int(told) != epsg:
        raise FormatError(file, None, f"EPSG:{told}", f"EPSG:{epsg}, as was told beside it")
    epsg = int(told) if told else epsg
    if epsg is None:
        raise FormatError(
            file, None, "x_m and y_m of a map that is not named", "its code",
            "write a line '# epsg: 3413' above the names",
        )  # fmt: skip
    return np.stack([_numbers(table, file, n) for n in ("x_m", "y_m")], axis=1), epsg


def _passes(table, file):
    """Return columns track and cycle, at least one of the two."""
    found = {}
    if "track" in table.names:
        found["track"] = table.column("track")
    if "cycle" in table.names:
        cycle = _numbers(table, file, "cycle")
        if not (np.isfinite(cycle) & (cycle == np.round(cycle))).all():
            raise FormatError(file, None, "cycles that are no whole numbers", "1, 2, 3 ...")
        found["cycle"] = cycle.astype(np.int64)
    if not found:
        raise FormatError(file, None, f"columns {', '.join(table.names)}", "track or cycle as well")
    return found


def _found(table, stem):
    """Return the names of columns such as ``height_m`` or ``height [cm]``."""
    return [n for n in table.names if n.split("_")[0].split("[")[0].split("(")[0].strip() == stem]


def _length(table, file, stem):
    names = _found(table, stem)
    if len(names) != 1:
        raise FormatError(
            file, None, f"columns {', '.join(names or table.names)}", f"one column {stem}_m"
        )
    unit = table.units[table.names.index(names[0])]
    if unit not in LENGTHS:
        raise FormatError(
            file, None, f"{names[0]} in '{unit}'", f"its unit, one of {', '.join(LENGTHS)}"
        )
    return _numbers(table, file, names[0]) * LENGTHS[unit]


def _numbers(table, file, name):
    values = table.column(name)
    if values.dtype.kind not in "iuf":
        raise FormatError(file, None, f"text in column {name}", "numbers")
    return values.astype(float)
