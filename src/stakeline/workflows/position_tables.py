"""Positions that come as tables: checked, kept beside those solved here, read as one."""

import re
from dataclasses import dataclass, field

import numpy as np

from .. import __version__
from ..campaign.folders import POSITION
from ..campaign.ledger import fingerprint
from ..campaign.store import parquet_bytes, read_table, sha256_file
from ..constants import NS_PER_DAY
from ..earth.ellipsoid import geodetic_from_xyz
from ..errors import FormatError
from ..formats.plain_table import NOT_A_TIME, read_plain_table, unit_in_name
from ..time import gps_from_utc, iso
from .one_frame import NOT_STATED, day_count, frame_plan, in_one_frame, tables_as_one
from .series import UNITS, joined, metadata_of, positions_of

IMPORTED = "imported"
NEEDED = ("x_m", "y_m", "z_m", "sigma_east_m", "sigma_north_m", "sigma_up_m")
_PLACE = ("latitude_deg", "longitude_deg", "height_m")
_CORRELATIONS = ("corr_en", "corr_eu", "corr_nu")
_RADII_M = (6.33e6, 6.40e6)  # from the Earth's centre to any ice: GRS80 radii, -20 to +20 km; ours
_AGREES_M = 0.01  # height beside x, y, z: a table rounds; our choice
_LARGEST_SATELLITES = 200
_DAY_FILE = re.compile(r"\d{4}-\d\d-\d\d")


def read_position_table(path, name="", station=""):
    """Read a table of positions of one station, CSV or Parquet.

    Parameters
    ----------
    path : path
    name : str, optional
        How messages call the file; its path where none is given.
    station : str, optional
        Whose positions they must be. Where the table has no column ``station``, it is theirs.

    Returns
    -------
    columns : dict of str to array
        All of :data:`~stakeline.workflows.series.UNITS`, times in GPS time. Correlations that the
        table has not are 0, satellites 0, the state ``imported``. Latitude, longitude and height
        are computed from x, y, z.
    metadata : dict
        ``frame`` ("not stated" where the table says none) and ``passed_over``, names of columns
        that positions have no use for.

    Raises
    ------
    FormatError
        For a missing column, another unit, rows out of order, another station, values that are
        missing or no position on the Earth; it names the row, counted from 1.
    """
    table = read_plain_table(path)
    check = _Check(str(name or path), table)
    check.columns()
    times = check.times()
    values = {key: check.numbers(key) for key in NEEDED}
    check.sigmas(values)
    xyz = np.stack([values[key] for key in NEEDED[:3]], axis=1)
    radius_m = np.linalg.norm(xyz, axis=1)
    on_earth = (radius_m > _RADII_M[0]) & (radius_m < _RADII_M[1])
    said = "Earth-fixed x_m, y_m, z_m of a place on the Earth"
    check.every(on_earth, radius_m, "m from the Earth's centre", said)
    latitude, longitude, height = geodetic_from_xyz(xyz)
    place = (np.degrees(latitude), np.degrees(longitude), height)
    if "height_m" in table.names:
        given = check.numbers("height_m")
        check.every(np.abs(given - height) < _AGREES_M, given, "m of height_m",
                    "the ellipsoidal height (GRS80) of x_m, y_m, z_m")  # fmt: skip
    columns = {"time_gps": times.view("datetime64[ns]"), "station": check.station(station)}
    columns |= {key: values[key] for key in NEEDED[:3]}
    columns |= dict(zip(_PLACE, place, strict=True))
    columns |= {key: values[key] for key in NEEDED[3:]}
    columns |= {key: check.correlation(key) for key in _CORRELATIONS}
    columns |= {"satellites": check.satellites(), "state": check.states()}
    unused = tuple(n for n in table.names if n not in UNITS and n != table.time_name)
    return columns, {"frame": _frame(table, columns), "passed_over": unused}


class _Check:
    """A table being checked; each method returns a column or raises FormatError."""

    def __init__(self, name, table):
        self.name, self.table = name, table

    def fail(self, found, expected, remedy=""):
        raise FormatError(self.name, None, found, expected, remedy)

    def every(self, good, values, unit, expected):
        """Refuse the table for the first row that is not good."""
        if not np.all(good):
            row = int(np.argmin(good))
            self.fail(f"{values[row]:.6g} {unit} in row {row + 1}", expected)

    def columns(self):
        """Refuse a table that lacks a column, or has it in another unit."""
        table = self.table
        if len(table) == 0:
            self.fail("names and no row", "positions")
        odd = [n for n in table.names if n in UNITS and table.names.count(n) > 1]
        if odd:
            self.fail(f"more than one column {odd[0]}", "each once")
        for key in NEEDED:
            if key not in table.names:
                stem = key.removesuffix("_m")
                near = next((n for n in table.names if _stem(n) == stem), "")
                found = f"column {near}" if near else f"no column {key}"
                self.fail(found, f"{key}, in metres", f"columns are {', '.join(table.names)}")
        for key, unit in zip(table.names, table.units, strict=True):
            wanted = UNITS.get(key, "")
            if key in UNITS and wanted not in ("", "1", "GPS time") and unit != wanted:
                self.fail(f"{key} in {unit}", f"{key} in {wanted}")

    def times(self):
        """Return the times, GPS time, strictly increasing. [ns]"""
        table = self.table
        if table.scale not in ("GPS", "UTC"):
            found = f"the time column {table.time_name}" if table.time_name else "no time column"
            self.fail(f"{found} without a scale", "time_gps or time_utc")
        odd = np.flatnonzero(table.time_ns == NOT_A_TIME)
        if len(odd):
            self.fail(f"no time in row {odd[0] + 1}", "an ISO 8601 time in every row")
        times = gps_from_utc(table.time_ns) if table.scale == "UTC" else table.time_ns
        back = np.flatnonzero(np.diff(times) <= 0)
        if len(back):
            found = f"{iso(times[back[0] + 1])} in row {back[0] + 2}, not after the row above it"
            self.fail(found, "rows in order of time, each time once", "sort the table")
        return np.asarray(times, np.int64)

    def numbers(self, key):
        """Return a column of finite numbers."""
        values = self.table.column(key)
        if values.dtype != float:
            self.fail(f"text in column {key}", "numbers")
        self.every(np.isfinite(values), values, f"in column {key}", "a number in every row")
        return values

    def sigmas(self, values):
        """Refuse sigmas that are not positive."""
        for key in NEEDED[3:]:
            self.every(values[key] > 0.0, values[key], f"m of {key}", "a positive sigma")

    def correlation(self, key):
        """Return a column of correlations; 0 where the table has none."""
        if key not in self.table.names:
            return np.zeros(len(self.table))
        values = self.numbers(key)
        self.every(np.abs(values) <= 1.0, values, f"of {key}", "a correlation, -1 to 1")
        return values

    def satellites(self):
        """Return how many satellites were used; 0 where the table does not tell."""
        if "satellites" not in self.table.names:
            return np.zeros(len(self.table), np.int16)
        values = self.numbers("satellites")
        good = (values >= 0) & (values <= _LARGEST_SATELLITES) & (values == np.round(values))
        self.every(good, values, "satellites", "a count")
        return values.astype(np.int16)

    def station(self, wanted):
        """Return the column of names: all of one station."""
        table = self.table
        if "station" not in table.names:
            if not wanted:
                self.fail("no column station", "the station's name in every row")
            return np.full(len(table), wanted, object)
        names = np.array([str(name) for name in table.column("station")], object)
        first = wanted or names[0]
        other = names != first
        if other.any():
            row = int(np.argmax(other))
            self.fail(f"station {names[row]} in row {row + 1}", f"rows of {first} only",
                      "give each station a table of its own")  # fmt: skip
        return names

    def states(self):
        """Return the words of the table's own state."""
        if "state" not in self.table.names:
            return np.full(len(self.table), IMPORTED, object)
        return np.array([str(word) for word in self.table.column("state")], object)


def _stem(name):
    unit = unit_in_name(name)
    return name.removesuffix(f"_{unit}") if unit else name


def _frame(table, columns):
    frames = table.metadata.get("frames", {})
    named = frames.get(columns["station"][0], "") if isinstance(frames, dict) else ""
    return str(named or table.metadata.get("frame", "") or "not stated")


@dataclass
class Taken:
    """What became of the stations that name tables, and what is said about them."""

    done: list = field(default_factory=list)
    current: list = field(default_factory=list)
    problems: list = field(default_factory=list)
    notes: list = field(default_factory=list)

    @property
    def count(self):
        """Return how many stations name tables."""
        return len(self.done) + len(self.current) + len(self.problems)


def import_tables(campaign, ledger, progress=None):
    """Take the tables that stations name into ``4-position/``, where out of date.

    Parameters
    ----------
    campaign : Campaign
    ledger : Ledger
    progress : callable, optional

    Returns
    -------
    Taken
        A table that cannot be used is a sentence among ``problems``; its old result is dropped.
    """
    parts = [part for part in campaign.settings.station if part.positions]
    taken, wanted = Taken(), set()
    for count, part in enumerate(parts, 1):
        task = f"imported/{part.name}"
        try:
            key, inputs = _inputs(campaign, part)
            if ledger.up_to_date(task, key):
                taken.current.append(part.name)
                taken.notes += ledger.read(task)["notes"]
            else:
                data, notes = _imported(campaign, part, inputs)
                files = {_file(part.name): data}
                ledger.finish(task, key, files, inputs=inputs, notes=notes)
                taken.done.append(part.name)
                taken.notes += notes
                if progress:
                    progress(count, len(parts), f"{part.name} positions of a table")
            wanted.add(task)
        except FormatError as problem:
            taken.problems.append(f"{part.name}: {problem}")
    for task in ledger.tasks("imported"):
        if task not in wanted:
            ledger.forget(task)
    return taken


def _inputs(campaign, part):
    """Return (key, inputs with checksums) of a station's tables."""
    inputs = []
    for name in part.positions:
        path = campaign.root / name
        if not path.is_file():
            raise FormatError(
                name, None, "no such file", "a table of positions", "see campaign.toml"
            )
        inputs.append({"role": "positions", "file": name, "sha256": sha256_file(path)[1]})
    wanted = campaign.settings.position.frame
    return fingerprint([__version__, part.name, inputs, *([wanted] if wanted else [])]), inputs


def _imported(campaign, part, inputs):
    """Return (Parquet bytes, notes) of all tables of a station, in order of time."""
    tables, frames, notes = [], [], []
    for name in part.positions:
        columns, said = read_position_table(campaign.root / name, name, part.name)
        frames.append(said["frame"])
        tables.append(columns)
        if said["passed_over"]:
            notes.append(f"{name}: columns without a use: {', '.join(said['passed_over'])}")
    frame = frames[0]
    if len(set(frames)) > 1:
        tables, frame, moved = tables_as_one(campaign.settings.position, part, tables, frames)
        notes += [f"{part.name}: {sentence}" for sentence in moved]
    columns = _sorted(joined(tables))
    same = np.flatnonzero(np.diff(columns["time_gps"].view(np.int64)) == 0)
    if len(same):
        when = iso(columns["time_gps"].view(np.int64)[same[0]])
        names = ", ".join(part.positions)
        raise FormatError(names, None, f"{when} in two tables", "each time once for a station")
    columns["state"] = np.full(len(columns["time_gps"]), IMPORTED, object)
    if frame == NOT_STATED:
        notes.append(f"{', '.join(part.positions)}: says no frame of its coordinates")
    metadata = metadata_of([positions_of(columns, frame)], inputs, {})
    return parquet_bytes(columns, UNITS, metadata), notes


def _sorted(columns):
    if (np.diff(columns["time_gps"].view(np.int64)) >= 0).all():
        return columns
    order = np.argsort(columns["time_gps"], kind="stable")
    return {key: values[order] for key, values in columns.items()}


def _file(station):
    return f"{POSITION}/{station}/{station}_{IMPORTED}.parquet"


def station_positions(campaign, station, names=tuple(UNITS)):
    """Return all positions of a station as one table in order of time; the state tells which.

    Days solved from receiver files win: imported rows from the first to the last epoch that such a
    day holds (the whole day where that is one position) are left out. No rows where there are no
    positions at all.

    Parameters
    ----------
    campaign : Campaign
    station : str
    names : sequence of str, optional
        Columns that are asked for, ``time_gps`` among them; all where not given.

    Returns
    -------
    dict of str to array
        Columns of :data:`~stakeline.workflows.series.UNITS`.
    """
    found, _, _ = framed_positions(campaign, station, names)
    return found


def framed_positions(campaign, station, names=tuple(UNITS)):
    """Return (positions as :func:`station_positions`, their frames, sentences on what was moved).

    Tables in other frames than ``[position] frame``, or than that of most days, are brought to it
    at the epochs of their rows; days with broadcast orbits among others are left out, or kept with
    ``[position] broadcast_sigma_m``. More than one frame is left where a table says none.

    Raises
    ------
    SettingsError
        Where the frame of the settings is not known.
    """
    settings = campaign.settings.position
    tables, frames, imported = _read(campaign, station, names)
    if not tables:
        return {key: np.zeros(0) for key in names}, (), ()
    days = [day_count(table["time_gps"]) for table in tables]
    plan = frame_plan(frames, days, settings.frame, settings.broadcast_sigma_m)
    said = ()
    if not plan.plain:
        tables, _, imported = _read(campaign, station, tuple(UNITS))
        imported = imported and not plan.aside[-1]
        tables, said = in_one_frame(tables, frames, plan, settings.broadcast_sigma_m)
    if imported and len(tables) > 1:
        kept = _outside(tables[-1]["time_gps"].view(np.int64), tables[:-1])
        tables[-1] = {key: values[kept] for key, values in tables[-1].items()}
    if not tables:
        return {key: np.zeros(0) for key in names}, (plan.frame,), said
    left = (plan.frame,) if plan.possible else tuple(sorted(set(frames)))
    return _sorted(joined(tables, names)), left, said


def _read(campaign, station, names):
    """Return (tables with rows, their frames, whether the last one is imported) of a station."""
    path = campaign.root / _file(station)
    paths = [*day_files(campaign, station), *([path] if path.is_file() else [])]
    read = [(read_table(one, names), one == path) for one in paths]
    read = [(*both, own) for both, own in read if len(both[0]["time_gps"]) or own]
    frames = [said.get("frames", {}).get(station, NOT_STATED) for _, said, _ in read]
    return [columns for columns, *_ in read], frames, bool(read) and read[-1][2]


def station_frames(campaign, station):
    """Return the frames of :func:`station_positions`, sorted; more than one do not go together.

    Parameters
    ----------
    campaign : Campaign
    station : str
    """
    return framed_positions(campaign, station, ("time_gps",))[1]


def day_files(campaign, station):
    """Return the tables of a station's days solved from receiver files, in order of time."""
    folder = campaign.root / POSITION / station
    named = sorted(folder.glob(f"{station}_*.parquet"))
    return [p for p in named if _DAY_FILE.fullmatch(p.stem.removeprefix(f"{station}_"))]


def _outside(times, tables):
    """Return which times lie outside the span of every solved day's table."""
    kept = np.ones(len(times), bool)
    for table in tables:
        own = table["time_gps"].view(np.int64)
        first, last = own.min(), own.max()
        if first == last:  # one position for the whole day
            first = first // NS_PER_DAY * NS_PER_DAY
            last = first + NS_PER_DAY - 1
        kept &= (times < first) | (times > last)
    return kept
