"""Where the files of an invented campaign are changed: read, altered, written again."""

import gzip
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from ..campaign.folders import RAW
from ..campaign.store import parquet_bytes, read_table, write_bytes
from ..formats.plain_table import write_plain_table
from ..formats.rinex_obs import read_observations, write_observations
from ..simulate.logger import logger_table
from .invented_tables import LOGGER_STEP_S, logger_path, position_path
from .series import UNITS


@dataclass(frozen=True)
class Planted:
    """One mistake: its number in the catalogue, where and what it is, who is to find it.

    ``sign`` is what the report of the verb says when it has found it; blank where no verb that
    exists yet looks for it.
    """

    case: int
    station: str
    file: str
    what: str
    found_by: str
    sign: str = ""


@dataclass(frozen=True)
class Case:
    """How to plant one case; ``change(desk)`` returns (station, file, what), or None: no place."""

    number: int
    found_by: str
    sign: str
    change: Callable


class Desk:
    """The files of one invented campaign."""

    def __init__(self, folder, invented, raw_names):
        self.folder, self.invented, self.raw_names = Path(folder), invented, raw_names
        self._loggers = {}

    def read(self, path):
        """Return the bytes of a file of the campaign."""
        return (self.folder / path).read_bytes()

    def write(self, path, data):
        """Write a file of the campaign."""
        write_bytes(self.folder / path, data)

    def remove(self, path):
        """Take a file away."""
        (self.folder / path).unlink()

    def receiver_file(self, name, day):
        """Return the path of a station's receiver file by day from 0, or None."""
        found = sorted((self.folder / RAW / name).glob("*.crx.gz"))
        return (
            f"{RAW}/{name}/{found[day].name}"
            if name in self.raw_names and day < len(found)
            else None
        )

    def observations(self, path):
        """Return the observations of a receiver file."""
        return read_observations(self.folder / path)

    def write_observations(self, path, observations):
        """Write a receiver file anew, as packed as its name says."""
        data = write_observations(observations, compact=".crx" in path)
        self.write(path, gzip.compress(data, 6, mtime=0) if path.endswith(".gz") else data)

    def edit_positions(self, name, change):
        """Let ``change(columns, time_s)`` alter a station's positions; it returns the columns."""
        path = position_path(name)
        columns, metadata = read_table(self.folder / path)
        start = self.invented.start_ns
        time_s = (columns["time_gps"].astype("datetime64[ns]").view("int64") - start) / 1e9
        self.write(path, parquet_bytes(change(columns, time_s), UNITS, metadata))
        return path

    def edit_logger(self, name, change):
        """Let ``change(table)`` alter a station's logger table; it returns (table, rows)."""
        if name not in self._loggers:
            made = self.invented
            chance = made.stream(name, "logger")
            self._loggers[name] = logger_table(
                chance, made.supply(name), made.weather(name), LOGGER_STEP_S
            )
        self._loggers[name], rows = change(self._loggers[name])
        path = logger_path(name)
        self.write(path, write_plain_table(self._loggers[name]))
        return path, rows

    def has(self, *names):
        """Say whether all these stations are in the campaign."""
        return all(name in self.invented.sites for name in names)
