"""Ready series of the level of lakes: tables of time, level or change of level, and sigma."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..campaign.altimetry_map import AltimetryMap
from ..campaign.column_map import LENGTHS
from ..errors import FormatError
from ..formats.plain_table import read_raw_columns
from ..formats.plain_table.kinds import PARQUET
from .motion_table import gps_times

OWN, SIGMA, LAKE = "level_m", "sigma_m", "lake"  # our names
TIMES = {"time_gps": "GPS", "time_utc": "UTC"}


@dataclass(frozen=True, eq=False)
class LevelSeries:
    """One lake's level by a table.

    ``time_ns`` (n,) GPS time, rising; ``level_m``, ``sigma_m`` (n,), NaN where not told;
    ``summed``: levels are sums of changes, and sigmas those of the changes.
    """

    lake: str
    file: str
    time_ns: np.ndarray
    level_m: np.ndarray
    sigma_m: np.ndarray
    summed: bool = False
    notes: tuple = ()


def is_series(path, said):
    """Say whether a table is a ready series: told beside it, or by a column ``level_m``."""
    if said.level is not None:
        return True
    if said.foreign or Path(path).read_bytes()[:4] == PARQUET:
        return False
    names = read_raw_columns(path)
    return OWN in names and not any(name.startswith("height") for name in names)


def level_series(path, said=None):
    """Return a tuple of :class:`LevelSeries`, one for each lake of a table.

    Parameters
    ----------
    path : path
        A table; with our names (``time_gps`` or ``time_utc``, ``lake``, ``level_m``, ``sigma_m``)
        or with names that ``said`` tells.
    said : AltimetryMap, optional
        With ``[time]`` and ``[level]``.

    Raises
    ------
    FormatError
        Where a column is missing or holds text, times do not rise, or a change is missing between
        others.
    """
    table = read_raw_columns(path)
    if said is None or said.level is None:
        said = _own(table, path)
    part = said.level
    time_ns = gps_times(_written(table, said, path), said.time, path)
    level = number_column(table, part.column, path, said.missing)
    if part.less:
        level = level - number_column(table, part.less, path, said.missing)
    sigma = np.full(len(level), np.nan)
    if said.sigma is not None and said.sigma.same_m:
        sigma[:] = said.sigma.same_m
    elif said.sigma is not None:
        unit = LENGTHS[said.sigma.unit]
        sigma = number_column(table, said.sigma.column, path, said.missing) * unit
    lake = np.full(len(level), said.lake, object)
    if said.lake_column:
        lake = raw_column(table, said.lake_column, path).astype(str)
    level = level * LENGTHS[part.unit]
    return tuple(
        _one(str(name), path, part.kind == "change", *(v[lake == name] for v in columns))
        for columns in [(time_ns, level, sigma)]
        for name in dict.fromkeys(lake.tolist())
    )


def _written(table, said, path):
    if said.time.written == "ISO 8601":
        return raw_column(table, said.time.column, path)
    return number_column(table, said.time.column, path, ())


def _own(table, path):
    """Return the :class:`AltimetryMap` of a table with our names."""
    time = [name for name in TIMES if name in table]
    if len(time) != 1 or LAKE not in table:
        raise FormatError(
            path, None, f"columns {', '.join(table)}", f"time_gps or time_utc, {LAKE} and {OWN}",
            f"say in {Path(path).with_suffix('.toml').name} which columns are [time] and [level]",
        )  # fmt: skip
    sigma = {"column": SIGMA} if SIGMA in table else None
    return AltimetryMap.model_validate({
        "time": {"column": time[0], "scale": TIMES[time[0]]}, "level": {"column": OWN},
        "sigma": sigma, "lake_column": LAKE,
    })  # fmt: skip


def _one(lake, path, summed, time_ns, level, sigma):
    """Return the checked series of one lake."""
    known = np.flatnonzero(np.isfinite(level))
    notes = ()
    if summed and known.size:  # a sum begins with the first change that is told
        rows = slice(known[0], known[-1] + 1)
        time_ns, level, sigma = time_ns[rows], level[rows], sigma[rows]
        lost = int((~np.isfinite(level)).sum())
        if lost:
            raise FormatError(
                path, None, f"{lake}: {lost} changes missing between others",
                "every change since the row before", "a sum over a gap is not known; give levels",
            )  # fmt: skip
        level = np.cumsum(level)
    if (np.diff(time_ns) <= 0).any():
        raise FormatError(path, None, f"{lake}: times that do not rise", "rising times")
    if not np.isfinite(sigma).any():
        notes = (f"{lake} in {Path(path).name}: no sigma, so it takes no part; say it ([sigma])",)
    return LevelSeries(lake, str(path), time_ns, level, sigma, summed, notes)


def raw_column(table, name, path):
    """Return a column as it stands; FormatError that names those there are."""
    if name not in table:
        raise FormatError(
            path, None, f"no column {name}", f"one of {', '.join(table)}",
            f"put the name right in {Path(path).with_suffix('.toml').name}",
        )  # fmt: skip
    return np.asarray(table[name])


def number_column(table, name, path, missing):
    """Return a column of numbers, codes that stand for missing ones as NaN."""
    values = raw_column(table, name, path)
    if values.dtype.kind not in "iuf":
        raise FormatError(path, None, f"text in column {name}", "numbers")
    values = values.astype(float)
    return np.where(np.isin(values, missing), np.nan, values)
