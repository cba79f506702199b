"""Write series of stations as classic NetCDF with CF metadata."""

import io
from dataclasses import dataclass, field

import numpy as np
from scipy.io import netcdf_file

from ...constants import NS_PER_DAY
from ...errors import FormatError
from ...time import iso

_PLACE = (
    ("lat", "latitude_deg", "degrees_north", "latitude"),
    ("lon", "longitude_deg", "degrees_east", "longitude"),
    ("alt", "height_m", "m", "height_above_reference_ellipsoid"),
)


@dataclass(frozen=True)
class StationSeriesFile:
    """Series of stations at common times.

    ``time_ns`` (n,) GPS time; ``stations`` (s,) names; ``latitude_deg``, ``longitude_deg``,
    ``height_m`` (s,); ``fields`` holds arrays (s, n) by name, ``units`` and ``words`` say what each
    is; ``attributes`` are global texts, ``named`` more attributes of a variable, by its name.
    """

    time_ns: np.ndarray
    stations: tuple
    latitude_deg: np.ndarray
    longitude_deg: np.ndarray
    height_m: np.ndarray
    fields: dict
    units: dict = field(default_factory=dict)
    words: dict = field(default_factory=dict)
    attributes: dict = field(default_factory=dict)
    named: dict = field(default_factory=dict)


def write_series(series):
    """Return the bytes of a NetCDF file of a :class:`StationSeriesFile`.

    Raises FormatError for a field whose shape is not (stations, times).
    """
    sink = io.BytesIO()
    file = netcdf_file(sink, "w", version=2)
    attributes = {"Conventions": "CF-1.11", "featureType": "timeSeries", "time_scale": "GPS time"}
    for name, text in {**attributes, **series.attributes}.items():
        setattr(file, name, str(text))
    _write_time(file, np.asarray(series.time_ns, np.int64))
    _write_stations(file, series)
    shape = (len(series.stations), len(series.time_ns))
    for name, values in series.fields.items():
        if np.shape(values) != shape:
            raise FormatError(f"series '{name}'", None, f"shape {np.shape(values)}", f"{shape}")
        variable = file.createVariable(name, "f8", ("station", "time"))
        variable[:] = np.asarray(values, float)
        variable._FillValue = np.array([np.nan])  # a bare float would become 32 bit
        variable.units = series.units.get(name, "1")
        variable.long_name = series.words.get(name, name)
        variable.coordinates = "lat lon alt station_name"
    dress(file, series.named)
    file.flush()
    data = sink.getvalue()
    file.close()
    return data


def _write_time(file, time_ns):
    file.createDimension("time", len(time_ns))
    start = int(time_ns[0]) // NS_PER_DAY * NS_PER_DAY if len(time_ns) else 0
    variable = file.createVariable("time", "f8", ("time",))
    variable[:] = (time_ns - start) / NS_PER_DAY
    variable.standard_name = "time"
    variable.long_name = "GPS time: ahead of UTC by the leap seconds since 1980"
    variable.units = f"days since {iso(start).replace('T', ' ')}"
    variable.calendar = "standard"
    variable.units_metadata = "leap_seconds: none"


def _write_stations(file, series):
    width = max([len(name) for name in series.stations] or [1])
    file.createDimension("station", len(series.stations))
    file.createDimension("name_length", width)
    names = file.createVariable("station_name", "c", ("station", "name_length"))
    names[:] = np.array([list(name.ljust(width)) for name in series.stations], "S1").reshape(
        len(series.stations), width
    )
    names.cf_role = "timeseries_id"
    for name, key, unit, standard in _PLACE:
        variable = file.createVariable(name, "f8", ("station",))
        variable[:] = np.asarray(getattr(series, key), float)
        variable.standard_name = standard
        variable.units = unit


def dress(file, named):
    """Set more attributes of variables, ``named`` by variable; those not there are passed over."""
    for name, attributes in named.items():
        for key, value in attributes.items() if name in file.variables else ():
            setattr(file.variables[name], key, value)
