"""Read a climate grid: one line for each node, 64 columns."""

import gzip
import zlib
from pathlib import Path

import numpy as np

from ...errors import FormatError
from ...tables import ClimateGrid

COLUMNS = 64
_MAX_BYTES = 64_000_000


def read(path):
    """Return the :class:`~stakeline.tables.ClimateGrid` in a file, plain or ``.gz``.

    Raises
    ------
    FormatError
        Where a line has not 64 numbers, or the nodes make no full regular grid; it names the line.
    """
    table = _table(path, _text(path))
    latitudes, longitudes = _axes(path, table)
    shape = (latitudes.size, longitudes.size)

    def waves(first, scale=1.0):
        return table[:, first : first + 5].reshape(*shape, 5) * scale

    return ClimateGrid(
        latitude_deg=latitudes,
        longitude_deg=longitudes,
        pressure_Pa=waves(2),
        temperature_K=waves(7),
        humidity=waves(12, 1e-3),
        lapse_K_m=waves(17, 1e-3),
        undulation_m=table[:, 22].reshape(shape),
        height_m=table[:, 23].reshape(shape),
        ah=waves(24, 1e-3),
        aw=waves(29, 1e-3),
        wet_lapse=waves(34),
        mean_temperature_K=waves(39),
        files=(Path(path).name,),
    )


def _text(path):
    path = Path(path)
    try:
        if path.suffix != ".gz":
            return path.read_bytes()[:_MAX_BYTES].decode("latin-1")
        with gzip.open(path) as packed:
            return packed.read(_MAX_BYTES).decode("latin-1")
    except FileNotFoundError:
        raise FormatError(path, None, "no file", "a climate grid") from None
    except (EOFError, zlib.error, OSError) as error:
        raise FormatError(path, None, f"unreadable content ({error})", "a whole file") from None


def _table(path, text):
    """Return the numbers, shape (nodes, 64)."""
    rows = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip() or line.startswith("%"):
            continue
        fields = line.split()
        try:
            row = [float(field) for field in fields]
        except ValueError:
            row = []
        if len(row) != COLUMNS or not np.isfinite(row).all():
            found = f"{len(fields)} columns" if len(fields) != COLUMNS else "a word or no number"
            raise FormatError(path, number, found, f"{COLUMNS} numbers (latitude, longitude, ...)")
        rows.append(row)
    if not rows:
        raise FormatError(path, None, "no node", f"lines of {COLUMNS} numbers")
    return np.array(rows)


def _axes(path, table):
    """Return latitudes and longitudes [deg] of a full regular grid."""
    latitudes = table[np.r_[True, np.diff(table[:, 0]) != 0.0], 0]
    columns = table.shape[0] // latitudes.size
    longitudes = np.mod(table[:columns, 1], 360.0)
    expected = np.stack(
        [np.repeat(latitudes, columns), np.tile(longitudes, latitudes.size)], axis=-1
    )
    found = np.stack([table[:, 0], np.mod(table[:, 1], 360.0)], axis=-1)
    full = expected.shape == found.shape and np.array_equal(expected, found)
    if not (full and latitudes.size > 1 and columns > 1 and _regular(latitudes, longitudes)):
        shape = f"{table.shape[0]} nodes at {latitudes.size} latitudes"
        raise FormatError(
            path, None, shape, "a full regular grid around the globe", "is the file cut?"
        )
    return latitudes, longitudes


def _regular(latitudes, longitudes):
    down, along = np.diff(latitudes), np.diff(longitudes)
    whole = np.isclose(along[0] * longitudes.size, 360.0)
    return bool(np.allclose(down, down[0]) and np.allclose(along, along[0]) and whole)
