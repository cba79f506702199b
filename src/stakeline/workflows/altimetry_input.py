"""Whatever altimetry lies in a campaign, brought to one map and one datum."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from ..campaign.altimetry_map import AltimetryMap, read_altimetry_map
from ..campaign.column_map import LENGTHS
from ..campaign.folders import RAW
from ..campaign.store import sha256_file
from ..errors import FormatError, SettingsError
from ..formats.altimetry import (
    Datum,
    checked_points,
    joined_points,
    read_altimetry_hdf5,
    read_altimetry_table,
    read_height_change,
)
from ..formats.plain_table import read_raw_columns
from ..formats.series_netcdf import is_netcdf
from ..lakes.altimetry import SurfacePoints
from ..lakes.datum import ELLIPSOID, TIDE_FREE
from .altimetry_absolute import (
    AbsolutePoints,
    absolute_points,
    ellipsoidal,
    placed,
    surface_points,
)
from .altimetry_series import is_series, level_series, number_column, raw_column
from .motion_table import gps_times

FOLDER = f"{RAW}/altimetry"
TABLES = (".csv", ".txt", ".parquet", ".gz", ".zip", ".zst")
HDF5, NETCDF, BESIDE = (".h5", ".hdf5"), (".nc",), ".toml"


@dataclass(frozen=True, eq=False)
class CampaignAltimetry:
    """All altimetry of a campaign.

    ``points``: :class:`SurfacePoints` on map ``epsg``, None where there are none; ``track_names``
    of their numbers; ``absolute``: :class:`AbsolutePoints` or None, with ``left`` on files without
    any; ``maps``: tuple of HeightChange; ``series``: tuple of LevelSeries; ``files``:
    (path below the campaign, checksum) of what was read; ``notes``: sentences.
    """

    points: SurfacePoints | None
    track_names: tuple
    maps: tuple
    series: tuple
    epsg: int
    datum: Datum
    files: tuple
    notes: tuple
    absolute: AbsolutePoints | None = None
    left: tuple = ()


def altimetry_points(campaign, epsg):
    """Return the :class:`CampaignAltimetry` of ``0-raw/altimetry/``, on the map of the lakes.

    Tables, HDF5 of heights along tracks, NetCDF of maps of height change, tables of ready levels of
    lakes; beside each may lie a file of the same name and ending ``.toml`` that says its datum and
    columns.

    Parameters
    ----------
    campaign : Campaign
    epsg : int
        Map of the outlines.

    Raises
    ------
    FormatError, SettingsError
        Where a file cannot be read, or datums cannot be brought to one.
    """
    folder = campaign.folder(FOLDER)
    paths = [p for p in sorted(folder.rglob("*")) if p.is_file() and p.name[0] != "."]
    parts, maps, series, files, notes = [], [], [], [], []
    for path in paths:
        if path.suffix.lower() == BESIDE:
            files.append(path)
            continue
        said = _beside(path)
        kind = path.suffix.lower()
        if kind in NETCDF and is_netcdf(path):
            maps.append(_on_map(read_height_change(path, said.field), epsg))
        elif kind in TABLES and is_series(path, said):
            series += level_series(path, said)
        elif kind in (*HDF5, *TABLES):
            points = _points(path, said, kind)
            parts.append(points)
            notes += [f"{campaign.relative(path)}: {note}" for note in points.notes]
        else:
            notes.append(f"{campaign.relative(path)}: no file of altimetry that is known; not read")
            continue
        files.append(path)
    notes += [f"{Path(m.file).name}: {note}" for m in maps for note in m.notes]
    points, names, datum, more = _together(parts, epsg)
    absolute, left = absolute_points(parts, epsg)
    checked = tuple((campaign.relative(p), sha256_file(p)[1]) for p in files)
    notes += [note for one in series for note in one.notes]
    maps = [replace(m, file=campaign.relative(Path(m.file))) for m in maps]
    series = [replace(s, file=campaign.relative(Path(s.file))) for s in series]
    return CampaignAltimetry(
        points,
        names,
        tuple(maps),
        tuple(series),
        epsg,
        datum,
        checked,
        (*notes, *more),
        absolute,
        left,
    )


def _beside(path):
    """Return the :class:`AltimetryMap` beside a file; an empty one where there is none."""
    for name in (path.with_suffix(BESIDE), path.with_name(path.name + BESIDE)):
        if name.is_file():
            return read_altimetry_map(name)
    return AltimetryMap()


def _points(path, said, kind):
    datum = Datum(**said.datum.model_dump())
    if kind in HDF5:
        return read_altimetry_hdf5(path, said.flagged)
    if said.foreign:
        return _foreign(path, said, datum)
    return read_altimetry_table(path, said.epsg, datum)


def _foreign(path, said, datum):
    """Return the points of a table with foreign names."""
    table = read_raw_columns(path)

    def numbers(name):
        return number_column(table, name, path, said.missing)

    written = raw_column(table, said.time.column, path)
    written = written if said.time.written == "ISO 8601" else numbers(said.time.column)
    columns = {"time_ns": gps_times(written, said.time, path)}
    columns["place"] = np.stack([numbers(name) for name in said.place.columns], axis=1)
    for name in ("height", "sigma", "geoid"):
        part = getattr(said, name)
        if part is not None and name == "sigma" and part.same_m:
            columns["sigma_m"] = np.full(len(columns["time_ns"]), part.same_m)
        elif part is not None:
            columns[f"{name}_m"] = numbers(part.column) * LENGTHS[part.unit]
    if said.quality is not None and not said.flagged:
        columns["good"] = np.isin(numbers(said.quality.column), said.quality.good)
    if said.track:
        columns["track"] = raw_column(table, said.track, path)
    if said.cycle:
        cycle = numbers(said.cycle)
        if not (np.isfinite(cycle) & (cycle == np.round(cycle))).all():
            raise FormatError(path, None, f"{said.cycle}: no whole numbers", "cycles such as 1, 2")
        columns["cycle"] = cycle.astype(np.int64)
    return checked_points(path, columns, said.place.epsg, datum)


def _on_map(change, epsg):
    if change.epsg != epsg:
        raise FormatError(
            change.file, None, f"maps on EPSG:{change.epsg}", f"EPSG:{epsg}, the map of the lakes",
            "bring them to that map",
        )  # fmt: skip
    return change


def _together(parts, epsg):
    """Return (SurfacePoints or None, names of tracks, Datum, notes)."""
    if not parts:
        return None, (), Datum(), ()
    notes = []
    if len({part.datum for part in parts}) > 1:
        parts = [_common(part, notes) for part in parts]
    whole = joined_points([placed(part, epsg) for part in parts])
    return surface_points(whole, epsg), whole.track_names, whole.datum, tuple(notes)


def _common(part, notes):
    """Return points above the ellipsoid, tide-free: what files of several datums are brought to."""
    if part.datum.missing:
        raise SettingsError(
            f"{part.file}: files of several datums lie together, and this one does not say its "
            f"{' and '.join(part.datum.missing)}; say it in a file of its name ending in .toml, "
            "[datum]"
        )
    moved, *_, lost = ellipsoidal(part)
    if lost:
        notes.append(f"{part.file}: points without a height of the geoid left out: {lost}")
    frame = part.datum.frame
    frame = f", frame {frame} taken as one with the others" if frame else ""
    notes.append(f"{part.file}: brought to heights above the ellipsoid, tide-free{frame}")
    return moved.with_heights(moved.height_m, Datum(ELLIPSOID, TIDE_FREE))
