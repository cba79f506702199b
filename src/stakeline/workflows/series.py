"""Positions as people and programs read them: table columns, CSV, Parquet, summary."""

from dataclasses import replace

import numpy as np

from .. import __version__
from ..campaign.store import json_text, parquet_bytes
from ..earth.ellipsoid import geodetic_from_xyz
from ..errors import SettingsError
from ..tables import Positions
from ..time import decimal_year, iso

UNITS = {
    "time_gps": "GPS time",
    "station": "",
    "x_m": "m",
    "y_m": "m",
    "z_m": "m",
    "latitude_deg": "deg",
    "longitude_deg": "deg",
    "height_m": "m",
    "sigma_east_m": "m",
    "sigma_north_m": "m",
    "sigma_up_m": "m",
    "corr_en": "1",
    "corr_eu": "1",
    "corr_nu": "1",
    "satellites": "1",
    "state": "",
}
"""The table's columns in order, and their units."""

_DECIMALS = {"x_m": 5, "y_m": 5, "z_m": 5, "latitude_deg": 10, "longitude_deg": 10}
_DECIMALS |= {"height_m": 5, "sigma_east_m": 5, "sigma_north_m": 5, "sigma_up_m": 5}
_DECIMALS |= {"corr_en": 5, "corr_eu": 5, "corr_nu": 5}
BROADCAST_FRAME = "WGS84"  # IS-GPS-200N, section 20.3.3.4.3.3; other systems agree within 0.1 m
REFERENCE_POINT_KEY = "antenna reference point m"  # as the solution names it
_LEFT_OUT = ("seconds",)  # clock time differs from run to run and stands in the ledger


def named(positions, station, products):
    """Return a solution under the station's name, its frame that of the orbits where not set."""
    of_orbits = products.orbits.frame if products.orbits is not None else BROADCAST_FRAME
    return replace(positions, station=station, frame=positions.frame or of_orbits or "not stated")


def columns_of(positions):
    """Return the table of a solution as a dict of arrays, in the order of :data:`UNITS`."""
    xyz = np.asarray(positions.position_m, float)
    latitude, longitude, height = geodetic_from_xyz(xyz)
    covariance = np.asarray(positions.covariance_m2, float)
    sigma = np.sqrt(np.einsum("nii->ni", covariance))
    with np.errstate(divide="ignore", invalid="ignore"):
        correlation = covariance / (sigma[:, :, None] * sigma[:, None, :])
    count = len(positions.time_ns)
    values = [np.asarray(positions.time_ns, np.int64).view("datetime64[ns]")]
    values += [np.full(count, positions.station, object)]
    values += [xyz[:, 0], xyz[:, 1], xyz[:, 2]]
    values += [np.degrees(latitude), np.degrees(longitude), height]
    values += [sigma[:, 0], sigma[:, 1], sigma[:, 2]]
    values += [correlation[:, 0, 1], correlation[:, 0, 2], correlation[:, 1, 2]]
    values += [np.asarray(positions.satellites, np.int16), np.asarray(positions.state, object)]
    return dict(zip(UNITS, values, strict=True))


def positions_of(columns, frame):
    """Return a table's rows as :class:`Positions`, covariances put together again."""
    sigma = np.stack([columns[f"sigma_{axis}_m"] for axis in ("east", "north", "up")], axis=1)
    correlation = np.broadcast_to(np.eye(3), (len(sigma), 3, 3)).copy()
    for (i, j), name in {(0, 1): "corr_en", (0, 2): "corr_eu", (1, 2): "corr_nu"}.items():
        correlation[:, i, j] = correlation[:, j, i] = columns[name]
    return Positions(
        station=str(columns["station"][0]) if len(sigma) else "",
        frame=frame,
        time_ns=columns["time_gps"].astype("datetime64[ns]").view(np.int64),
        position_m=np.stack([columns[name] for name in ("x_m", "y_m", "z_m")], axis=1),
        covariance_m2=correlation * sigma[:, :, None] * sigma[:, None, :],
        satellites=columns["satellites"],
        state=columns["state"],
    )


def joined(tables, names=tuple(UNITS)):
    """Return several tables as one, rows in the order given; ``names``: columns that are kept."""
    return {name: np.concatenate([table[name] for table in tables]) for name in names}


def side_by_side(tables, names):
    """Return (times, values by name) of the tables of stations on one row of times.

    Parameters
    ----------
    tables : sequence of dict
        Columns of each station; ``time_gps`` among them, ascending.
    names : sequence of str
        Of columns of numbers.

    Returns
    -------
    time_ns : int64 array, shape (n,)
        All times that any station has, GPS time. [ns]
    values : dict of str to array, shape (stations, n)
        NaN where a station has no row.
    """
    own = [table["time_gps"].astype("datetime64[ns]").view(np.int64) for table in tables]
    every = np.unique(np.concatenate(own))
    values = {name: np.full((len(tables), len(every)), np.nan) for name in names}
    for k, (time_ns, table) in enumerate(zip(own, tables, strict=True)):
        at = np.searchsorted(every, time_ns)
        for name in names:
            values[name][k, at] = table[name]
    return every, values


def csv_text(columns):
    """Return a table as CSV: a header line, ISO times of the GPS calendar, empty where missing."""
    count = len(columns["time_gps"])
    texts = []
    for name, values in columns.items():
        if name == "time_gps":
            texts.append([iso(value) for value in values.view(np.int64)])
        elif name in _DECIMALS:
            form = f"{{:.{_DECIMALS[name]}f}}".format
            texts.append([form(value) if value == value else "" for value in values.tolist()])
        else:
            texts.append([str(value) for value in values])
    rows = (",".join(column[row] for column in texts) for row in range(count))
    return "\n".join([",".join(columns), *rows]) + "\n"


def table_bytes(path, columns, metadata):
    """Return the table in the form the name of ``path`` asks for.

    Raises
    ------
    SettingsError
        For an ending that is neither .csv nor .parquet.
    """
    ending = str(path).rpartition(".")[2].lower()
    if ending == "csv":
        return csv_text(columns).encode("utf-8")
    if ending == "parquet":
        return parquet_bytes(columns, UNITS, metadata)
    raise SettingsError(f"{path}: a table ends in .csv or .parquet")


def metadata_of(positions_list, inputs, settings):
    """Return what stands beside a table: scale, frame, epoch, point, version, inputs, settings."""
    return {
        "time_scale": "GPS",
        "point": "marker",
        "frames": {p.station: p.frame for p in positions_list},
        "epochs": {p.station: epoch_of(p) for p in positions_list},
        "version": __version__,
        "inputs": inputs,
        "settings": settings,
    }


def epoch_of(positions):
    """Return the mean epoch of a solution as a decimal year; None where it is empty. [a]"""
    if len(positions.time_ns) == 0:
        return None
    first = int(positions.time_ns[0])
    mean_ns = first + int(np.mean(np.asarray(positions.time_ns, np.int64) - first))
    return round(float(decimal_year(mean_ns)), 6)


def summary_of(positions, with_seconds=True):
    """Return the summary of a solution: frame, epoch, counts, and what it says of itself."""
    kept = {k: v for k, v in positions.summary.items() if with_seconds or k not in _LEFT_OUT}
    static = positions.summary.get("mode") == "static"
    states, counts = np.unique(np.asarray(positions.state, str), return_counts=True)
    return {
        **kept,
        "station": positions.station,
        "frame": positions.frame,
        "epoch_year": epoch_of(positions),
        "first_epoch_gps": iso(positions.time_ns[0]) if len(positions.time_ns) else None,
        "last_epoch_gps": iso(positions.time_ns[-1]) if len(positions.time_ns) else None,
        "coordinates": _coordinates(positions) if static else [],
        "rows": len(positions.time_ns),
        "rows_by_state": {str(s): int(c) for s, c in zip(states, counts, strict=True)},
    }


def _coordinates(positions):
    """Return the points of a static solution, with frame, epoch and the marker's uncertainty."""
    table = columns_of(positions)
    names = [name for name in UNITS if name not in ("station", "time_gps", "satellites", "state")]
    rows = []
    for row, time_ns in enumerate(positions.time_ns):
        when = {"frame": positions.frame, "time_gps": iso(time_ns)}
        when["epoch_year"] = round(float(decimal_year(time_ns)), 6)
        figures = {name: float(table[name][row]) for name in names}
        rows.append({"point": "marker", **when, **figures})
    point = positions.summary.get(REFERENCE_POINT_KEY)
    if point is not None and len(rows) == 1:
        latitude, longitude, height = geodetic_from_xyz(np.asarray(point, float))
        place = dict(zip(("x_m", "y_m", "z_m"), map(float, point), strict=True))
        place |= {"latitude_deg": float(np.degrees(latitude)), "height_m": float(height)}
        place["longitude_deg"] = float(np.degrees(longitude))
        rows.append({"point": "antenna reference point", **when, **place})
    return rows


def summary_text(version, settings, inputs, stations, problems):
    """Return the JSON text of a run on single files."""
    content = {"version": version, "settings": settings, "inputs": inputs, "stations": stations}
    return json_text({**content, "problems": problems})
