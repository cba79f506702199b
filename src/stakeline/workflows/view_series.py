"""Series of a station for the page: read once, then reduced to what a screen can show."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..campaign.folders import INTAKE, MOTION, POSITION, open_campaign
from ..campaign.store import read_table
from ..errors import SettingsError
from ..motion.reduction import drawn_rows, usual_gap
from .position_tables import station_positions
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
_KEPT = 6  # series kept in memory; choice
_NS_PER_MS = 1_000_000
MOST_SPANS = 4000


@dataclass(frozen=True, eq=False)
class Series:
    """One series: GPS times (n,), values (n,), the step over which its line breaks. [ns]"""

    time_ns: np.ndarray
    values: np.ndarray
    gap_ns: int


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
    if station not in stations_with_results(root):
        raise SettingsError(f"there is no station '{station}' in this campaign")
    found = []
    for key in keys:
        title, unit, _ = SERIES[key]
        one = _series(root, station, key)
        if one is not None and np.isfinite(one.values).any():
            ends = [int(t) // _NS_PER_MS for t in (one.time_ns[0], one.time_ns[-1])]
            found.append((key, title, unit, *ends))
    return found


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
    if one is None:
        raise SettingsError(f"station {station} has no {SERIES[key][0].lower()} yet")
    start = int(one.time_ns[0]) if begin_ms is None else int(begin_ms) * _NS_PER_MS
    end = int(one.time_ns[-1]) if end_ms is None else int(end_ms) * _NS_PER_MS
    spans = min(max(int(spans), 10), MOST_SPANS)
    rows = drawn_rows(one.time_ns, one.values, start, max(end, start + 1), spans, one.gap_ns)
    broken = rows < 0
    times = np.where(broken, np.nan, one.time_ns[rows] / _NS_PER_MS)
    values = np.where(broken, np.nan, one.values[rows])
    return np.concatenate([times, values]).astype("<f8").tobytes()


def _series(root, station, key):
    """Return a :class:`Series`; None where there is none."""
    campaign = open_campaign(root)
    kind = SERIES[key][2]
    if kind == "position":
        folder = campaign.folder(POSITION) / station
        paths = sorted(folder.glob("*.parquet")) if folder.is_dir() else []
    elif kind == "motion":
        paths = [campaign.folder(MOTION) / station / f"{station}_motion.parquet"]
    else:
        paths = [campaign.folder(INTAKE) / "health" / f"{station}_logger.parquet"]
    there = tuple((str(p), p.stat().st_mtime_ns, p.stat().st_size) for p in paths if p.is_file())
    if not there:
        return None
    if kind == "position":
        return _position(str(root), station, there).get(key)
    return _column(there[0], key)


@lru_cache(maxsize=_KEPT)
def _position(root, station, there):
    """Return {key: Series} of a station's positions; ``there`` tells one reading from the next."""
    columns = station_positions(open_campaign(root), station)
    time_ns = columns["time_gps"].astype("datetime64[ns]").astype(np.int64)
    if not len(time_ns):
        return {}
    latitude, longitude, height = (
        columns[name] for name in ("latitude_deg", "longitude_deg", "height_m")
    )
    xyz = np.stack([columns[f"{axis}_m"] for axis in "xyz"], axis=1)
    offset = xyz - np.nanmedian(xyz, axis=0)
    phi, lam = np.radians(np.nanmedian(latitude)), np.radians(np.nanmedian(longitude))
    east = offset @ np.array([-np.sin(lam), np.cos(lam), 0.0])
    north = offset @ np.array([-np.sin(phi) * np.cos(lam), -np.sin(phi) * np.sin(lam), np.cos(phi)])
    gap = usual_gap(time_ns)
    up = height - np.nanmedian(height)
    found = {"east": east, "north": north, "height": up}
    found["sigma_level_m"] = np.hypot(columns["sigma_east_m"], columns["sigma_north_m"])
    found |= {name: columns[name] for name in ("sigma_up_m", "satellites")}
    return {key: Series(time_ns, np.asarray(values, float), gap) for key, values in found.items()}


@lru_cache(maxsize=_KEPT)
def _table(there):
    return read_table(there[0])[0]


@lru_cache(maxsize=4 * _KEPT)
def _column(there, key):
    columns = _table(there)
    if key not in columns or not len(columns["time_gps"]):
        return None
    time_ns = columns["time_gps"].astype("datetime64[ns]").astype(np.int64)
    return Series(time_ns, np.asarray(columns[key], float), usual_gap(time_ns))


def words_of(root, station):
    """Return what the summary of motion says of a station; '' where it says nothing."""
    text = text_of(open_campaign(root).folder(MOTION) / "summary.txt")
    parts = [part for part in text.split("\n\n") if part.startswith(f"{station}: ")]
    return parts[0] if parts else ""
