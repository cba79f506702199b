"""The results of the verb ``motion`` as read back from their tables."""

import csv
import json
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..campaign.folders import MOTION
from ..campaign.store import read_table
from ..motion.together import MOVING, SLOWEST_M_D


@dataclass(frozen=True)
class StationResult:
    """The tables of one station: columns by name, rows of CSV as dicts of texts.

    ``metadata`` is that of its table of motion, ``told`` its summary; ``files`` what was read, as
    paths.
    """

    station: str
    columns: dict
    metadata: dict
    told: dict
    windows: dict
    budget: dict
    tides: tuple
    steps: tuple
    files: tuple

    @property
    def time_ns(self):
        """GPS times of the table of motion (m,). [ns]"""
        return ns(self.columns["time_gps"])

    @property
    def moves(self):
        """Whether the station stands on moving ice, as the network judges it."""
        speed, sigma = self.mean_speed_m_d
        return bool(speed > max(MOVING * sigma, SLOWEST_M_D))

    @property
    def mean_speed_m_d(self):
        """Net travel over time and its sigma; NaN where not known. [m/d]"""
        names = ("mean_speed_m_d", "mean_speed_sigma_m_d")
        return tuple(number(self.metadata.get(name)) for name in names)

    @property
    def latitude_rad(self):
        """Latitude of the reference; NaN where it has no place on the Earth. [rad]"""
        return np.radians(number(self.metadata.get("latitude_deg")))

    @property
    def longitude_rad(self):
        """Longitude of the reference. [rad]"""
        return np.radians(number(self.metadata.get("longitude_deg")))


def station_results(campaign):
    """Return the :class:`StationResult` of each station in the folder of motion, by name.

    Raises
    ------
    SettingsError
        Where a table cannot be read.
    """
    return results_in(campaign.folder(MOTION))


def results_in(folder):
    """Return the :class:`StationResult` of each station below a folder, by name."""
    return tuple(_station(path) for path in sorted(folder.glob("*/*_motion.parquet")))


def _station(path):
    stem = path.name.removesuffix("_motion.parquet")
    beside = {
        name: path.with_name(f"{stem}_{name}")
        for name in ("windows.parquet", "budget.parquet", "tides.csv", "steps.csv", "summary.json")
    }
    columns, metadata = read_table(path)
    windows, budget = (
        read_table(beside[name])[0] if beside[name].is_file() else {}
        for name in ("windows.parquet", "budget.parquet")
    )
    tides, steps = (csv_rows(beside[name]) for name in ("tides.csv", "steps.csv"))
    told = beside["summary.json"]
    told = json.loads(told.read_text(encoding="utf-8")) if told.is_file() else {}
    files = (path, *(file for file in beside.values() if file.is_file()))
    return StationResult(stem, columns, metadata, told, windows, budget, tides, steps, files)


def csv_rows(path):
    """Return the rows of a CSV file as dicts; none where there is no file."""
    if not path.is_file():
        return ()
    with Path(path).open(encoding="utf-8", newline="") as file:
        return tuple(csv.DictReader(file))


def ns(times):
    """Return times of a table as int64. [ns]"""
    return np.asarray(times).astype("datetime64[ns]").astype(np.int64)


def number(text):
    """Return a number of a table's text or of metadata; NaN for an empty one."""
    return float(text) if text not in (None, "") else np.nan


def numbers(rows, name):
    """Return one column of the rows of a CSV file."""
    return np.array([number(row[name]) for row in rows], float)
