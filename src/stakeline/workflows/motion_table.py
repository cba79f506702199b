"""Foreign tables, their columns mapped by name, as the series that motion is worked out from."""

from pathlib import Path

import numpy as np

from ..campaign.column_map import LENGTHS
from ..constants import NS_PER_DAY, NS_PER_S
from ..earth.ellipsoid import enu_axes
from ..errors import FormatError
from ..formats.plain_table import read_raw_columns
from ..formats.series_netcdf import is_netcdf, read_columns
from ..motion.local import local_from_geodetic, local_from_map, local_from_xyz
from ..motion.station_series import StationSeries, covariance_of
from ..time import from_iso, from_mjd, gps_from_utc

JULIAN_MINUS_MJD_D = 2400000.5  # d; definition


def table_series(path, columns):
    """Return the :class:`StationSeries` of a foreign table.

    Parameters
    ----------
    path : path
        CSV, packed or not, Parquet, or NetCDF.
    columns : ColumnMap

    Raises
    ------
    FormatError
        For a column that is not there, text where numbers are expected, or an unreadable time.
    """
    table = _Table(path, columns)
    time_ns = table.times()
    position = table.position()
    covariance = table.covariance(len(time_ns))
    part, place = columns.position, _reference(columns.position)
    log = {
        "logged_ns": tuple(_logged(item) for item in columns.log.steps),
        "by_hand_ns": tuple(_logged(item) for item in columns.log.by_hand),
    }
    if part.kind in ("local", "along"):
        latitude, longitude, height = place or (np.nan, np.nan, np.nan)
        if part.kind == "along":
            position, covariance = _from_flow(position, covariance, np.radians(part.azimuth_deg))
        return StationSeries(
            columns.station, time_ns, position, covariance, latitude, longitude, height, **log
        )
    if not np.isfinite(position).all(axis=1).any():
        raise FormatError(path, None, f"none of {len(position)} rows with a position", "some")
    if part.kind == "earth-fixed":
        local = local_from_xyz(position, None)
    elif part.kind == "geodetic":
        local = local_from_geodetic(*position.T, None, place)
    else:
        on_map = covariance if columns.sigma.axes == "map" else None
        local = local_from_map(*position.T, part.epsg, on_map, place)
        covariance = covariance if on_map is None else local.covariance_m2
    if columns.sigma.axes == "earth-fixed":
        turn = enu_axes(local.latitude_rad, local.longitude_rad)
        covariance = turn @ covariance @ turn.T
    own = (local.latitude_rad, local.longitude_rad, local.height_m)
    return StationSeries(columns.station, time_ns, local.enu_m, covariance, *own, **log)


def _from_flow(position, covariance, azimuth):
    """Return positions and covariances along, across, up as east, north, up."""
    s, c = np.sin(azimuth), np.cos(azimuth)
    turn = np.array([[s, -c, 0.0], [c, s, 0.0], [0.0, 0.0, 1.0]])
    return position @ turn.T, turn @ covariance @ turn.T


def _reference(part):
    if part.latitude_deg is None or part.longitude_deg is None:
        return None
    return (
        float(np.radians(part.latitude_deg)),
        float(np.radians(part.longitude_deg)),
        (part.height_m),
    )


def _logged(item):
    """Return one instant or interval of the log as GPS time. [ns]"""
    if isinstance(item, tuple):
        return tuple(_gps(one) for one in item)
    return _gps(item)


def _gps(instant):
    utc = (instant - instant.utcoffset()).replace(tzinfo=None)
    return int(gps_from_utc(from_iso(utc.isoformat())))


class _Table:
    """A foreign table being read; each method returns what the map asks for."""

    def __init__(self, path, columns):
        self.path, self.map = Path(path), columns
        if not self.path.is_file():
            raise FormatError(self.path, None, "no such file", "a table of positions")
        self.netcdf = read_columns(self.path) if is_netcdf(self.path) else None
        self.table = None if self.netcdf else read_raw_columns(self.path)
        self.rows = self._own_rows()

    def _own_rows(self):
        """Return the mask of the station's rows; all where the table has no column of stations."""
        name = self.map.station_column
        if not name or self.netcdf:
            return slice(None)
        words = np.array([str(word) for word in self._whole(name).tolist()])
        mask = words == self.map.station
        if not mask.any():
            found = ", ".join(sorted(set(words))[:8])
            raise FormatError(self.path, None, f"stations {found}", self.map.station)
        return mask

    def _whole(self, name):
        """Return a column, rows of all stations."""
        if self.netcdf:
            return self.netcdf.column(name, self.map.station)
        if name not in self.table:
            raise FormatError(
                self.path, None, f"no column {name}", f"one of {', '.join(self.table)}",
                "put the name right in the column map",
            )  # fmt: skip
        return self.table[name]

    def numbers(self, name):
        """Return a column of numbers, missing codes as NaN."""
        values = np.asarray(self._whole(name))[self.rows]
        if values.dtype.kind not in "iuf":
            raise FormatError(self.path, None, f"text in column {name}", "numbers")
        values = values.astype(float)
        return np.where(np.isin(values, self.map.missing), np.nan, values)

    def times(self):
        """Return GPS times (n,). [ns]"""
        part = self.map.time
        raw = np.asarray(self._whole(part.column))[self.rows]
        written = raw if part.written == "ISO 8601" else self.numbers(part.column)
        return gps_times(written, part, self.path)

    def position(self):
        """Return the three columns (n, 3) in metres, or radians and metres."""
        part = self.map.position
        values = np.stack([self.numbers(name) for name in part.columns], axis=1)
        factor = np.full(3, LENGTHS[part.unit])
        if part.kind == "geodetic":
            factor[:2] = np.pi / 180.0 if part.angle == "deg" else 1.0
        return values * factor

    def covariance(self, count):
        """Return covariances (n, 3, 3) in the axes that the map says. [m2]"""
        part = self.map.sigma
        if part.columns is None:
            return covariance_of(np.broadcast_to(np.array(part.same_m), (count, 3)))
        sigma = np.stack([self.numbers(name) for name in part.columns], axis=1)
        return covariance_of(sigma * LENGTHS[part.unit])


def gps_times(written, part, path):
    """Return GPS times (n,) of a column, written as its :class:`TimeColumn` ``part`` says. [ns]"""
    time_ns = written_times(written, part, path)
    return np.asarray(gps_from_utc(time_ns) if part.scale == "UTC" else time_ns, np.int64)


def written_times(written, part, path):
    """Return times (n,) of a column in the scale that ``part`` names. [ns]"""
    return _TIMES[part.written](written, part, path)


def _iso_times(values, part, path):
    if values.dtype.kind == "M":
        odd = np.flatnonzero(np.isnat(values))
        if odd.size:
            raise FormatError(path, None, f"no time in row {odd[0] + 1}", "a time in every row")
        return values.astype("datetime64[ns]").astype(np.int64)
    texts = [str(text).strip().removesuffix("Z") for text in values.tolist()]
    try:
        return np.array(texts, "datetime64[ns]").astype(np.int64)
    except ValueError:
        raise FormatError(
            path, None, f"times such as '{texts[0][:30]}' in column {part.column}",
            "ISO 8601 such as 2031-05-01T00:00:00", "say in the column map how they are written",
        ) from None  # fmt: skip


def _counted(unit_ns):
    def times(values, part, path):
        _every(values, part, path)
        since = (
            part.since
            if part.since.tzinfo is None
            else (part.since - part.since.utcoffset()).replace(tzinfo=None)
        )
        whole = np.floor(values)
        parts = np.round((values - whole) * unit_ns).astype(np.int64)
        return from_iso(since.isoformat()) + whole.astype(np.int64) * unit_ns + parts

    return times


def _decimal_years(values, part, path):
    _every(values, part, path)
    year = np.floor(values).astype(int)
    first = (year - 1970).astype("datetime64[Y]").astype("datetime64[ns]").astype(np.int64)
    following = (year - 1969).astype("datetime64[Y]").astype("datetime64[ns]").astype(np.int64)
    return first + np.round((values - year) * (following - first)).astype(np.int64)


def _julian(offset_d):
    def times(values, part, path):
        _every(values, part, path)
        return np.asarray(from_mjd(values - offset_d), np.int64)

    return times


def _every(values, part, path):
    odd = np.flatnonzero(~np.isfinite(values))
    if odd.size:
        raise FormatError(path, None, f"no time in row {odd[0] + 1} of {part.column}", "a number")


_TIMES = {
    "ISO 8601": _iso_times,
    "days": _counted(NS_PER_DAY),
    "hours": _counted(NS_PER_DAY // 24),
    "seconds": _counted(NS_PER_S),
    "decimal years": _decimal_years,
    "Julian date": _julian(JULIAN_MINUS_MJD_D),
    "modified Julian date": _julian(0.0),
}
