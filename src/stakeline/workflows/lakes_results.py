"""The results of the verb ``lakes`` as read back from its tables."""

import json
from dataclasses import dataclass

import numpy as np

from ..campaign.folders import LAKES
from ..campaign.store import read_table
from ..constants import NS_PER_DAY
from ..lakes.event_record import LakeEvent
from ..time import from_iso
from .lakes_altimetry_tables import CURVE
from .lakes_altimetry_tables import LEVELS as PASSES
from .lakes_volume_together import TABLE
from .motion_results import csv_rows, ns, number, numbers

LEVELS_OF = {PASSES: "passes", CURVE: "both"}
JOINT = tuple(f"volume_together_m3_{word}" for word in ("low", "median", "high"))
_IN_TABLE = tuple(f"volume_m3_together_{word}" for word in ("low", "median", "high"))


@dataclass(frozen=True)
class LakeResult:
    """The tables of one lake: columns by name, and its summary ``told``.

    ``name``: that of its folder. ``volumes`` is empty where they could not be judged. ``files``:
    what was read. ``satellites``: what the part on altimetry has left, as far as it is there: level
    by passes, and by stations and passes (time, level, sigma), by name. Each event of ``told`` has
    its volume by both where they agree, else None.
    """

    lake: str
    name: str
    told: dict
    samples: dict
    levels: dict
    stations: dict
    volumes: dict
    origins: dict
    files: tuple
    satellites: dict
    satellite_files: tuple

    def events(self):
        """Return the lake's events as records, in their order."""
        return tuple(self._event(told) for told in self.told["events"])

    def _event(self, told):
        pick = self.samples["event"] == told["event"]
        columns = {key: values[pick] for key, values in self.samples.items()}
        station = {name: columns[f"{name}_m"] for name in told["stations"]}
        ends = (self.time_ns - self.origins[told["event"]]) / NS_PER_DAY
        names = ("onset_d", "length_d", "rise", "fall", "change_m")
        return LakeEvent(
            self.lake, told["kind"], self.origins[told["event"]],
            *(columns[key].astype(float) for key in names), station,
            told["probability_real"], told["false_per_year"], told["onset_bound"],
            told["end_bound"], tuple(told["reasons"]), told["status"], told["quality"],
            (float(ends[0]), float(ends[-1])) if len(ends) else LakeEvent.rows_d,
        )  # fmt: skip

    @property
    def time_ns(self):
        """GPS times of the curves (n,). [ns]"""
        return ns(self.levels["time_gps"])

    def curve(self, key):
        """Return low, median, high (3, n) of a curve: ``level_m``, ``stored_m3``, ..."""
        return np.stack([self.levels[f"{key}_{word}"] for word in ("low", "median", "high")])


def lake_result(campaign, name):
    """Return the :class:`LakeResult` of a lake's folder; None where there is none.

    Raises
    ------
    SettingsError
        Where a table cannot be read.
    """
    folder = campaign.folder(LAKES) / name
    path = {end: folder / f"{name}_{end}" for end in
            ("summary.json", "samples.parquet", "levels.parquet", "stations.parquet",
             "volumes.parquet")}  # fmt: skip
    if not path["summary.json"].is_file():
        return None
    told = json.loads(path["summary.json"].read_text(encoding="utf-8"))
    joint, satellites, files = _satellites(folder)
    for event in told["events"]:
        event |= joint.get(event["event"], dict.fromkeys(JOINT))
    samples, metadata = read_table(path["samples.parquet"])
    volumes = path["volumes.parquet"]
    return LakeResult(
        told["lake"], name, told, samples, read_table(path["levels.parquet"])[0],
        read_table(path["stations.parquet"])[0],
        read_table(volumes)[0] if volumes.is_file() else {}, metadata["origin_ns"],
        tuple(p for p in path.values() if p.is_file()), satellites, files,
    )  # fmt: skip


def _satellites(folder):
    """Return ({event: volumes of both}, {name: (times, level, sigma)}, files read) of a lake."""
    paths = {name: folder / name for name in (TABLE, *LEVELS_OF)}
    paths = {name: path for name, path in paths.items() if path.is_file()}
    tables = {name: csv_rows(path) for name, path in paths.items()}
    joint = {}
    for row in tables.get(TABLE, ()):
        values = [number(row[key]) for key in _IN_TABLE]
        if np.isfinite(values).all():
            joint[row["event"]] = dict(zip(JOINT, values, strict=True))
    levels = {
        key: (
            np.array([from_iso(row["time_gps"]) for row in tables[name]], np.int64),
            numbers(tables[name], "level_m"),
            numbers(tables[name], "sigma_m"),
        )
        for name, key in LEVELS_OF.items()
        if name in tables
    }
    return joint, levels, tuple(paths.values())


def lake_results(campaign):
    """Return the :class:`LakeResult` of each lake in the folder of lakes, by name."""
    found = sorted(campaign.folder(LAKES).glob("*/*_samples.parquet"))
    return tuple(lake_result(campaign, path.parent.name) for path in found)
