"""Result tables and positions as xarray objects, units in their attributes; xarray is optional."""

import csv
import re

import numpy as np

from .. import __version__
from ..campaign.store import read_table
from ..constants import NS_PER_DAY
from ..earth.ellipsoid import xyz_from_geodetic
from ..errors import SettingsError
from ..formats.plain_table import unit_in_name
from ..motion.station_series import covariance_of
from ..tables import Positions
from .motion_results import ns
from .motion_xarray import need_xarray, xarray
from .release_series import NAMES
from .series import UNITS, columns_of, positions_of, side_by_side

INSTEAD = "the CSV and Parquet tables of the campaign"
NUMBERS = tuple(NAMES)
DAY_D = 1.0  # d, of the windows whose speeds share no position; definition
_WORDS_OF_INTERVALS = re.compile(r"_(low|median|high)$")
_UNITS = {"percent": "%", "deg": "degree", "1": "1"}


def unit_of(name):
    """Return the unit in the name of a column as attributes write it; '' where it says none."""
    unit = unit_in_name(_WORDS_OF_INTERVALS.sub("", name))
    return _UNITS.get(unit, unit.replace("_", "/", 1))


def columns_dataset(columns, dimension, about=None):
    """Return columns of one length as a ``xarray.Dataset``.

    Parameters
    ----------
    columns : dict of str to array, shape (n,)
        Names that end in ``_gps`` or ``_utc`` are times, texts in ISO 8601 too.
    dimension : str
        What a row is.
    about : dict, optional
        Attributes of the whole.

    Returns
    -------
    xarray.Dataset
        Variables with ``units`` where their name says one; times with ``time_scale``.
    """
    need_xarray(INSTEAD)
    variables = {}
    for name, values in columns.items():
        values, told = np.asarray(values), {}
        if name.endswith(("_gps", "_utc")):
            values = _times(values)
            told["time_scale"] = "GPS time" if name.endswith("_gps") else "UTC"
        elif unit_of(name):
            told["units"] = unit_of(name)
        variables[name] = (dimension, values, told)
    return xarray.Dataset(variables, attrs={"source": f"Stakeline {__version__}", **(about or {})})


def _times(values):
    """Return times as datetime64, texts in ISO 8601 too; what is empty is not a time."""
    if values.dtype.kind in "OUS":
        return np.array([str(v or "NaT").removesuffix("Z") for v in values], "datetime64[ns]")
    return values.astype("datetime64[ns]")


def table_dataset(path, dimension="row", about=None):
    """Return one of a campaign's tables, CSV or Parquet, as a ``xarray.Dataset``.

    Raises
    ------
    SettingsError
        Where there is no such table, or xarray is not installed.
    """
    need_xarray(INSTEAD)
    if path.suffix not in (".csv", ".parquet"):
        raise SettingsError(f"{path}: the name of a table ends in .csv or .parquet")
    if not path.is_file():
        raise SettingsError(f"{path}: is not there; run the verb that makes it")
    columns = read_table(path)[0] if path.suffix == ".parquet" else _csv_columns(path)
    return columns_dataset(columns, dimension, about)


def _csv_columns(path):
    """Return the columns of one of our CSV tables: numbers where all of them are, else texts."""
    with path.open(encoding="utf-8", newline="") as file:
        names, *rows = csv.reader(file)
    columns = {name: [row[k] for row in rows] for k, name in enumerate(names)}
    return {name: _numbers(texts) for name, texts in columns.items()}


def _numbers(texts):
    try:
        return np.array([float(text or "nan") for text in texts])
    except ValueError:
        return np.array(texts)


def positions_dataset(solutions, about=None):
    """Return positions of stations as one ``xarray.Dataset``.

    Parameters
    ----------
    solutions : sequence of Positions
        One of each station, times ascending.
    about : dict, optional

    Returns
    -------
    xarray.Dataset
        Dimensions ``station`` and ``time`` (GPS time), NaN where a station has no position then.
    """
    need_xarray(INSTEAD)
    tables = [columns_of(solution) for solution in solutions]
    time_ns, values = side_by_side(tables, NUMBERS)
    pair = ("station", "time")
    units = {name: {"deg": "degree"}.get(unit, unit) for name, unit in UNITS.items()}
    variables = {
        name: (pair, array, {"units": units[name], "long_name": NAMES[name]})
        for name, array in values.items()
    }
    variables["state"] = (pair, _states(tables, time_ns), {"long_name": "state of the solution"})
    coordinates = {
        "station": np.array([solution.station for solution in solutions]),
        "time": time_ns.view("datetime64[ns]"),
        "frame": ("station", np.array([solution.frame for solution in solutions])),
    }
    told = {"time_scale": "GPS time", "point": "marker", "source": f"Stakeline {__version__}"}
    return xarray.Dataset(variables, coordinates, told | (about or {}))


def _states(tables, time_ns):
    states = np.full((len(tables), len(time_ns)), "", object)
    for k, table in enumerate(tables):
        states[k, np.searchsorted(time_ns, ns(table["time_gps"]))] = table["state"]
    return states.astype(str)


def station_positions_of(data):
    """Return the :class:`Positions` of each station in what :func:`positions_dataset` made.

    Raises
    ------
    SettingsError
        Where variables are missing.
    """
    missing = [name for name in NUMBERS if name not in data]
    if missing:
        raise SettingsError(
            f"positions without {', '.join(missing)}; expected what stakeline.position or "
            "stakeline.as_positions returns"
        )
    found = []
    for station in data.station.values:
        own = data.sel(station=station)
        own = own.isel(time=np.isfinite(own.x_m.values))
        columns = {name: own[name].values for name in NUMBERS} | {"time_gps": own.time.values}
        columns["station"] = np.full(own.sizes["time"], str(station), object)
        columns["state"] = own.state.values if "state" in own else np.full(own.sizes["time"], "")
        frame = str(own.frame.values) if "frame" in own.coords else "not stated"
        found.append(positions_of(columns, frame))
    return found


def as_positions(
    station, time_gps, latitude_deg, longitude_deg, height_m, sigma_m, frame="not stated"
):
    """Return plain arrays of one station as positions that ``stakeline.motion`` takes.

    Parameters
    ----------
    station : str
    time_gps : array of datetime64, shape (n,)
        GPS time: ahead of UTC by the leap seconds since 1980.
    latitude_deg, longitude_deg, height_m : arrays, shape (n,)
        Geodetic, on the ellipsoid GRS 80; NaN is missing. [deg, deg, m]
    sigma_m : array, shape (3,) or (n, 3)
        One standard deviation east, north and up, errors independent of each other. [m]
    frame : str

    Returns
    -------
    xarray.Dataset
        As ``stakeline.position`` returns it.

    Raises
    ------
    SettingsError
        Where shapes do not fit, or xarray is not installed.

    Examples
    --------
    >>> import numpy as np, stakeline
    >>> hours = np.datetime64("2031-05-01") + np.arange(3) * np.timedelta64(1, "h")
    >>> place = np.full(3, 79.1), np.full(3, 17.3), np.full(3, 500.0)
    >>> stakeline.as_positions("HV01", hours, *place, (0.01, 0.01, 0.02)).sizes["time"]
    3
    """
    times = np.asarray(time_gps).astype("datetime64[ns]")
    place = [np.asarray(part, float) for part in (latitude_deg, longitude_deg, height_m)]
    sigma = np.broadcast_to(np.asarray(sigma_m, float), (len(times), 3))
    if any(part.shape != times.shape for part in place):
        raise SettingsError(
            f"{station}: times {times.shape}, places {[part.shape for part in place]}; expected "
            "all of one length (n,)"
        )
    order = np.argsort(times, kind="stable")
    xyz = xyz_from_geodetic(np.radians(place[0]), np.radians(place[1]), place[2])
    count = len(times)
    return positions_dataset([Positions(
        station=station, frame=frame, time_ns=times[order].view(np.int64),
        position_m=xyz[order], covariance_m2=covariance_of(sigma[order]),
        satellites=np.zeros(count, np.int16), state=np.full(count, "imported", object),
    )])  # fmt: skip


def with_daily_speeds(data, windows):
    """Return the motion of stations with their speeds of separate days beside it.

    Parameters
    ----------
    data : xarray.Dataset
        Of :func:`~.motion_xarray.dataset`.
    windows : sequence of dict
        For each station the columns of velocities in windows.

    Returns
    -------
    xarray.Dataset
        ``day_speed_m_d`` and its sigma by ``station`` and ``day``, the middle of the day: each from
        its own positions alone, so that nothing of a later day leaks into an earlier one.
    """
    tables = []
    for columns in windows:
        pick = (columns["axis"] == "along") & (columns["window_d"] == DAY_D)
        start = ns(columns["start_gps"][pick])
        tables.append({
            "time_gps": (start + round(DAY_D * NS_PER_DAY / 2)).view("datetime64[ns]"),
            "day_speed_m_d": columns["velocity_m_d"][pick],
            "day_speed_sigma_m_d": columns["velocity_sigma_m_d"][pick],
        })  # fmt: skip
    names = ("day_speed_m_d", "day_speed_sigma_m_d")
    time_ns, values = side_by_side(tables, names)
    words = "speed along the flow of one day, from its own positions alone"
    told = dict(zip(names, (words, f"standard deviation: {words}"), strict=True))
    days = {
        name: (("station", "day"), values[name], {"units": "m day-1", "long_name": told[name]})
        for name in names
    }
    return data.assign(days).assign_coords(day=time_ns.view("datetime64[ns]"))


def window_tables(root, stations):
    """Return the columns of velocities in windows of stations below a folder of motion."""
    return [read_table(root / name / f"{name}_windows.parquet")[0] for name in stations]
