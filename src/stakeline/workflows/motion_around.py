"""What a campaign knows around a station: surface grids, pressure of the air, visits."""

import numpy as np

from ..campaign.folders import RAW
from ..earth.projection import projection
from ..errors import SettingsError, StakelineError
from ..formats.plain_table import NOT_A_TIME, read_plain_table
from ..motion.surroundings import AirPressure, PoleVisit, SurfaceGrid, Surroundings
from ..time import gps_from_utc
from .motion_ground import SURFACE, grid_files, read_grids

WEATHER = f"{RAW}/weather"
HPA_OF = {"hPa": 1.0, "mbar": 1.0, "kPa": 10.0, "Pa": 0.01}
"""Hectopascals of each unit that a column of pressure may be in."""


def around_files(campaign, station):
    """Return the files that :func:`surroundings` of a station follow from, beside its history.

    Raises SettingsError where the table of pressure that the settings name is not there.
    """
    files = grid_files(campaign)
    table = _pressure_table(campaign, station)[0]
    return [*files, *([table] if table else [])]


def surroundings(campaign, station, history=None):
    """Return the :class:`~stakeline.motion.surroundings.Surroundings` of a station.

    Grids that cannot be read, and a pressure that is asked for and not there, become notes.
    """
    surfaces, notes = surface_grids(campaign)
    air, said = _air(campaign, station)
    return Surroundings(surfaces, air, pole_visits(history), (*notes, *said))


def surface_grids(campaign):
    """Return (SurfaceGrid of each grid of ``maps/`` with a surface, sentences about the others)."""
    found, notes = [], []
    for path in grid_files(campaign):
        name = campaign.relative(path)
        try:
            grids = read_grids(path)
            if SURFACE not in grids.fields:
                continue
            projection(grids.epsg)
        except StakelineError as problem:
            notes.append(f"slope of a grid: {problem}; {name} is left aside")
            continue
        height = np.asarray(grids.fields[SURFACE], float)
        found.append(SurfaceGrid(name, grids.epsg, grids.x_m, grids.y_m, height))
    return tuple(found), tuple(notes)


def pole_visits(history):
    """Return the :class:`PoleVisit` of a station's history, in order; none without one."""
    if history is None:
        return ()
    visits = []
    for visit in history.content.visit:
        moved = visit.marker_moved
        visits.append(
            PoleVisit(
                visit.time_ns,
                float(np.linalg.norm(history.height_at(visit.time_ns))),
                None if moved is None else (moved.east_m, moved.north_m, moved.up_m),
            )
        )
    return tuple(visits)


def _pressure_table(campaign, station):
    """Return (path of the table of pressure or None, sentences); only where it is asked for."""
    part = campaign.settings.motion
    own = part.of(station)
    if own.barometer_share is None:
        return None, ()
    named = own.pressure or part.pressure
    if named is not None:
        path = campaign.root / named
        if not path.is_file():
            raise SettingsError(
                f"{station}: pressure = '{named}': there is no such file in the campaign; give the "
                f"path of a table from its folder on, such as {WEATHER}/{station}.csv"
            )
        return path, ()
    tables = sorted(p for p in (campaign.root / WEATHER).glob("*") if p.is_file())
    chosen = [p for p in tables if p.name.partition(".")[0] == station] or tables
    if len(chosen) == 1:
        return chosen[0], ()
    return None, (
        f"inverse barometer: {len(chosen)} tables in {WEATHER} and none of {station}; say which in "
        'campaign.toml: [motion] pressure = "..."',
    )


def _air(campaign, station):
    """Return (AirPressure or None, sentences)."""
    path, said = _pressure_table(campaign, station)
    if path is None:
        return None, said
    name = campaign.relative(path)
    try:
        return pressure_of(read_plain_table(path), name), said
    except StakelineError as problem:
        return None, (*said, f"inverse barometer: {problem}")


def pressure_of(table, name):
    """Return the :class:`AirPressure` of a table.

    Parameters
    ----------
    table : PlainTable
    name : str
        What a reader knows the file by.

    Raises
    ------
    SettingsError
        Where there is no time with a scale, or not one column named as a pressure of the air
        (``pressure_hPa``, ``air_pressure_kPa``).
    """
    pairs = zip(table.names, table.units, strict=True)
    columns = [
        (column, HPA_OF[unit])
        for column, unit in pairs
        if unit in HPA_OF and column.startswith(("pressure", "air_pressure"))
    ]
    if not table.scale or not columns:
        raise SettingsError(
            f"{name}: found columns {', '.join(table.names)}; expected time_utc or time_gps and "
            f"pressure_hPa (or {', '.join(unit for unit in HPA_OF if unit != 'hPa')})"
        )
    column, scale = columns[0]
    there = table.time_ns != NOT_A_TIME
    time_ns = table.time_ns[there]
    if table.scale == "UTC":
        time_ns = gps_from_utc(time_ns)
    return AirPressure(name, time_ns, scale * np.asarray(table.column(column), float)[there])
