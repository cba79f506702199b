"""Series of a station for the page: read once, then reduced to what a screen can show."""

import numpy as np

from ..campaign.folders import INTAKE, MOTION, POSITION, open_campaign
from ..campaign.store import read_heading, read_table
from ..errors import SettingsError
from ..motion.reduction import drawable, drawn_line, line_breaks
from .position_tables import station_positions
from .view_kept import Kept, once
from .view_tables import text_of

SERIES = {
    "east": ("Position, east of the middle", "m", "position"),
    "north": ("Position, north of the middle", "m", "position"),
    "height": ("Height, above the middle", "m", "position"),
    "sigma_level_m": ("Standard deviation, level", "m", "position"),
    "sigma_up_m": ("Standard deviation, up", "m", "position"),
    "satellites": ("Satellites used", "1", "position"),
    "speed_m_d": ("Speed along flow", "m/d", "motion"),
    "residual_up_m": ("Up residual", "m", "motion"),
    "tide_along_m": ("Tide along flow", "m", "motion"),
    "tide_up_m": ("Tide up", "m", "motion"),
    "battery_V": ("Battery", "V", "logger"),
    "panel_A": ("Current of the panels", "A", "logger"),
    "turbine_A": ("Current of the turbine", "A", "logger"),
    "load_A": ("Current of the load", "A", "logger"),
    "box_degC": ("Box", "degC", "logger"),
    "air_degC": ("Air", "degC", "logger"),
}
SURENESS = ("sigma_level_m", "sigma_up_m", "satellites")
POSITION_SERIES = tuple(key for key, (_, _, kind) in SERIES.items() if kind == "position")
MOTION_SERIES = tuple(key for key in SERIES if key not in SURENESS)
_XYZ = ("x_m", "y_m", "z_m")
_NEEDED = {
    "east": ("x_m", "y_m"),
    "north": _XYZ,
    "height": ("height_m",),
    "sigma_level_m": ("sigma_east_m", "sigma_north_m"),
}  # columns of positions that a series is made of; its own name where it is not listed
_NS_PER_MS = 1_000_000
MOST_SPANS = 4000
LARGEST = 1_500_000_000  # bytes of series kept in memory; choice
_kept = Kept(LARGEST)


def stations_with_results(root):
    """Return the names of stations with positions, motion or health, sorted."""
    campaign = open_campaign(root)
    found = {part.name for part in campaign.settings.station}
    for folder in (POSITION, MOTION):
        place = campaign.folder(folder)
        if place.is_dir():
            found |= {
                path.name
                for path in place.iterdir()
                if path.is_dir() and any(path.glob(f"{path.name}_*.parquet"))
            }
    return sorted(found)


def need_station(root, station):
    """Raise SettingsError where a campaign has no results of a station of that name."""
    if station not in stations_with_results(root):
        raise SettingsError(f"there is no station '{station}' in this campaign")


def series_of(root, station, keys=tuple(SERIES)):
    """Return [(key, title, unit, first, last)] of the series that a station has; times in ms.

    Parameters
    ----------
    root : path
    station : str
    keys : sequence of str
        Those of :data:`SERIES` that are asked for.

    Raises
    ------
    SettingsError
        Where there is no such station.
    """
    need_station(root, station)
    found, campaign = [], open_campaign(root)
    for key in keys:
        title, unit, kind = SERIES[key]
        needed = _NEEDED.get(key, (key,)) if kind == "position" else (key,)
        ends = _ends(_files(campaign, station, kind), needed[0])
        if ends is not None:
            found.append((key, title, unit, *(time // _NS_PER_MS for time in ends)))
    return found


def _ends(stamps, name):
    """Return the first and last time of files in which a column has a value; None without. [ns]"""
    heads = [_heading(*stamp) for stamp in stamps]
    spans = [ends["time_gps"] for ends in heads if ends.get(name) and ends.get("time_gps")]
    return (min(s[0] for s in spans), max(s[1] for s in spans)) if spans else None


@once(8192)
def _heading(path, _changed_ns, _size):
    return read_heading(path)[0]


def drawn(root, station, key, begin_ms, end_ms, spans):
    """Return what draws a series between two times, as bytes.

    Returns
    -------
    bytes
        Little-endian float64: m times [ms of GPS time since 1970], then m values; both NaN where
        the line breaks.

    Raises
    ------
    SettingsError
        For a series that is not there, or a span of no time.
    """
    if key not in SERIES or station not in stations_with_results(root):
        raise SettingsError(f"there is no series '{key}' of station '{station}'")
    one = _series(root, station, key)
    if one is None or not len(one.rows.values):
        raise SettingsError(f"station {station} has no {SERIES[key][0].lower()} yet")
    ends = one.rows.time_ns[[0, -1]]
    start = int(ends[0]) if begin_ms is None else int(begin_ms) * _NS_PER_MS
    end = int(ends[1]) if end_ms is None else int(end_ms) * _NS_PER_MS
    spans = min(max(int(spans), 10), MOST_SPANS)
    times, values = drawn_line(one, start, max(end, start + 1), spans)
    times = np.where(np.isnan(values), np.nan, times / _NS_PER_MS)
    return np.concatenate([times, values]).astype("<f8").tobytes()


def _files(campaign, station, kind):
    """Return (path, time of change, size) of the files that hold a station's series of a kind."""
    if kind == "position":
        folder = campaign.folder(POSITION) / station
        paths = sorted(folder.glob(f"{station}_*.parquet")) if folder.is_dir() else []
        paths = [path for path in paths if not path.stem.endswith("_snow")]
    elif kind == "motion":
        paths = [campaign.folder(MOTION) / station / f"{station}_motion.parquet"]
    else:
        paths = [campaign.folder(INTAKE) / "health" / f"{station}_logger.parquet"]
    return tuple((str(p), p.stat().st_mtime_ns, p.stat().st_size) for p in paths if p.is_file())


def _series(root, station, key):
    """Return a series as it is drawn; None where there is none."""
    campaign = open_campaign(root)
    kind = SERIES[key][2]
    there = _files(campaign, station, kind)
    if not there:
        return None
    if kind == "position":
        return _kept.get((there, key), lambda: _position(campaign, station, there, key))
    return _kept.get((there, key), lambda: _column(there, key))


def _position(campaign, station, there, key):
    """Return (series of a station's positions, its bytes)."""
    columns = station_positions(campaign, station, ("time_gps", *_NEEDED.get(key, (key,))))
    time_ns = columns["time_gps"].astype("datetime64[ns]").astype(np.int64)
    if not len(time_ns):
        return None, 0
    if key in ("east", "north"):
        values = _level(columns, there, key)
    elif key == "height":
        values = columns["height_m"] - _middle(columns["height_m"])
    elif key == "sigma_level_m":
        values = np.hypot(columns["sigma_east_m"], columns["sigma_north_m"])
    else:
        values = np.asarray(columns[key], float)
    return _made(there, time_ns, values)


def _level(columns, there, key):
    """Return metres east or north of the middle of a station's positions."""
    phi, lam = (np.radians(_halfway(there, f"{name}_deg")) for name in ("latitude", "longitude"))
    towards = {
        "east": {"x_m": -np.sin(lam), "y_m": np.cos(lam)},
        "north": {"x_m": -np.sin(phi) * np.cos(lam), "y_m": -np.sin(phi) * np.sin(lam),
                  "z_m": np.cos(phi)},
    }[key]  # fmt: skip
    return sum(share * (columns[name] - _middle(columns[name])) for name, share in towards.items())


def _middle(values):
    """Return the median of some hundred thousand values spread evenly: zero of a chart."""
    return np.nanmedian(values[:: max(len(values) // 100_000, 1)])


def _halfway(there, name):
    """Return the middle between the lowest and highest value of a column of files."""
    ends = [found for stamp in there if (found := _heading(*stamp).get(name)) is not None]
    return (min(low for low, _ in ends) + max(high for _, high in ends)) / 2.0


def _column(there, key):
    """Return (series of a column of one file, its bytes)."""
    columns = read_table(there[0][0], ("time_gps", key))[0]
    if key not in columns or not len(columns["time_gps"]):
        return None, 0
    time_ns = columns["time_gps"].astype("datetime64[ns]").astype(np.int64)
    return _made(there, time_ns, np.asarray(columns[key], float))


_axes = Kept(LARGEST // 3)


def _made(there, time_ns, values):
    """Return (series, its bytes); series of the same files share their times."""
    axis = _axes.get(there, lambda: ((time_ns, line_breaks(time_ns)), 9 * len(time_ns)))
    if np.array_equal(axis[0], time_ns):
        made = drawable(axis[0], values, axis[1])
    else:
        made = drawable(time_ns, values)
    return made, made.size


def words_of(root, station):
    """Return what the summary of motion says of a station; '' where it says nothing."""
    text = text_of(open_campaign(root).folder(MOTION) / "summary.txt")
    parts = [part for part in text.split("\n\n") if part.startswith(f"{station}: ")]
    return parts[0] if parts else ""
