"""The weather of a plan: an hourly file beside the station file, or numbers of the climate."""

from functools import lru_cache
from pathlib import Path

import numpy as np

from ..errors import FormatError
from ..formats.plain_table import read_raw_columns
from ..formats.series_netcdf import is_netcdf, read_columns
from ..station.storm import pressure_at
from ..station.weather import climate_weather
from ..station.weather_fit import fit_weather
from ..station.weather_record import hourly_weather
from .motion_table import gps_times

CLIMATE = (
    "mean_degC",
    "swing_K",
    "spread_K",
    "wind_m_s",
    "wind_shape",
    "wind_winter_share",
    "cloud",
    "measured_at_m",
    "rime_share",
)


def read_weather(path, part):
    """Return the :class:`~stakeline.station.weather_record.HourlyWeather` of a file.

    Parameters
    ----------
    path : path
        CSV, packed or not, Parquet, or NetCDF.
    part : WeatherPart
        Names of the columns, how time is written, what stands for missing.

    Raises
    ------
    FormatError
        For a column that is not there, text where numbers are expected, an unreadable time.
    SettingsError
        Where no temperature or wind is left.
    """
    path = Path(path)
    if not path.is_file():
        raise FormatError(path, None, "no such file", "hourly weather")
    table = _columns(path)
    time_ns = gps_times(_column(path, table, part.time.column), part.time, path)
    names = {name: column for name, column in part.columns.model_dump().items() if column}
    values = {name: _numbers(path, table, column, part.missing) for name, column in names.items()}
    return hourly_weather(time_ns, values, part.measured_at_m)


def _columns(path):
    return read_columns(path).values if is_netcdf(path) else read_raw_columns(path)


def _column(path, table, name):
    if name not in table:
        raise FormatError(
            path, None, f"no column {name}", f"one of {', '.join(table)}",
            "put the name right in [weather.columns] or [weather.time]",
        )  # fmt: skip
    return np.ravel(table[name])


def _numbers(path, table, name, missing):
    values = _column(path, table, name)
    if values.dtype.kind not in "iuf":
        raise FormatError(path, None, f"text in column {name}", "numbers")
    return np.where(np.isin(values, missing), np.nan, values.astype(float))


def weather_model(description):
    """Return the :class:`~stakeline.station.weather.WeatherModel` of a described station."""
    part, site = description.settings.weather, description.settings.site
    path = description.path.parent / part.file
    stamp = path.stat().st_mtime_ns if part.file and path.is_file() else 0
    return model_of(part, site, path, stamp)


@lru_cache(maxsize=8)
def model_of(part, site, path, _stamp):
    """Return the model of ``[weather]`` and ``[site]``, kept while they and the file stay.

    Fitted to ``path`` where the part names a file; its pressure is that of the elevation where the
    file has none.
    """
    pressure = part.pressure_hPa
    if not part.file:
        pressure = pressure or float(pressure_at(site.elevation_m, part.mean_degC))
        numbers = {name: getattr(part, name) for name in CLIMATE}
        return climate_weather(south=site.latitude_deg < 0.0, pressure_hPa=pressure, **numbers)
    record = read_weather(path, part)
    if pressure is None and not np.isfinite(record.pressure_hPa).any():
        pressure = float(pressure_at(site.elevation_m, np.nanmean(record.temperature_degC)))
    return fit_weather(record, cloud=part.cloud, pressure_hPa=pressure, rime_share=part.rime_share)
