"""What one station of an invented campaign delivers beside receiver files, and its hourly truth."""

import numpy as np

from ..campaign.folders import RAW
from ..campaign.store import parquet_bytes
from ..formats.plain_table import write_plain_table
from ..simulate.campaign import DAY_S
from ..simulate.logger import logger_table
from ..simulate.products import FRAME
from ..tables import Positions
from ..time import gps_minus_utc_s, utc_from_gps
from .invented_truth import TRUTH, answers, hourly_truth, units_of
from .series import UNITS, columns_of

STATE = "float"
LOGGER_STEP_S = 3600.0
_WEATHER = {
    "temperature_degC": ("temperature_degC", 1.0),
    "wind_m_s": ("wind_m_s", 1.0),
    "pressure_hPa": ("pressure_Pa", 0.01),
    "humidity_percent": ("humidity_percent", 1.0),
    "irradiance_W_m2": ("irradiance_W_m2", 1.0),
    "snowfall_mm_h": ("snowfall_m_h", 1000.0),
}
"""Columns of the weather table: the field each is made of, and its factor."""
_WEATHER_DECIMALS = dict.fromkeys(_WEATHER, 1) | {"snowfall_mm_h": 2}


def position_path(name):
    """Return the path of a station's table of positions in a campaign."""
    return f"{RAW}/positions/{name}.parquet"


def logger_path(name):
    """Return the path of a station's logger table in a campaign."""
    return f"{RAW}/logger/{name}.csv"


def table_files(invented, name, interval_s, window):
    """Return {path: bytes}: positions, logger and weather tables of a station, and its truth.

    Positions are left out in a ``window`` (None: nowhere) that receiver files cover.
    """
    time_s = np.arange(0.0, invented.days * DAY_S, interval_s)
    running = invented.running(name, time_s)
    truth = hourly_truth(invented, name, time_s, running)
    files = {
        position_path(name): _positions(invented, name, time_s, running, window),
        f"{TRUTH}/hourly/{name}.parquet": parquet_bytes(truth, units_of(truth), {}),
    }
    if name in weather_stations(invented):
        files |= _weather(invented, name)
    if not invented.sites[name].on_rock:
        files[f"{TRUTH}/answers/{name}.csv"] = write_plain_table(answers(invented, name))
        files |= _logger(invented, name)
    return files


def _positions(invented, name, time_s, running, window):
    position_m, sigma_m = invented.positions(name, time_s)
    kept = running.copy()
    if window is not None:
        kept &= ~((time_s >= window.begin_s) & (time_s < window.end_s))
    covariance = np.einsum("ni,ij->nij", sigma_m[kept] ** 2, np.eye(3))
    count = int(kept.sum())
    chance = invented.stream(name, "satellites")
    positions = Positions(
        name,
        FRAME,
        invented.time_ns(time_s[kept]),
        position_m[kept],
        covariance,
        chance.integers(13, 19, count),
        np.full(count, STATE, object),
    )
    metadata = {"time_scale": "GPS", "point": "marker", "frames": {name: FRAME}}
    metadata["note"] = "invented at position level: no receiver file stands behind these rows"
    return parquet_bytes(columns_of(positions), UNITS, metadata)


def _logger(invented, name):
    supply, weather = invented.supply(name), invented.weather(name)
    table = logger_table(invented.stream(name, "logger"), supply, weather, LOGGER_STEP_S)
    return {logger_path(name): write_plain_table(table)}


def weather_stations(invented):
    """Return the names of the stations with a weather station beside them: the base, the lowest."""
    ice = [site for site in invented.sites.values() if not site.on_rock]
    rock = [site.name for site in invented.sites.values() if site.on_rock]
    return {*rock, max(ice, key=lambda site: site.flow_m).name}


def _weather(invented, name):
    """Return the table of the weather station beside a station, hourly."""
    weather = invented.weather(name)
    late_s = float(gps_minus_utc_s(invented.start_ns))  # rows stand at whole hours of UTC
    time_s = weather.time_s[:-1] + late_s
    columns = {"time_utc": utc_from_gps(invented.time_ns(time_s))}
    for column, (field, scale) in _WEATHER.items():
        columns[column] = scale * weather.at(field, time_s)
    return {f"{RAW}/weather/{name}.csv": write_plain_table(columns, _WEATHER_DECIMALS)}
