"""Positions of an invented campaign against its truth."""

from dataclasses import dataclass

import numpy as np

from ..campaign.folders import POSITION
from ..campaign.store import read_table
from ..constants import NS_PER_DAY, NS_PER_S
from ..report.recovered import AXES, Recovered
from ..time import iso
from .invented_tables import position_path
from .invented_truth import TRUTH

NORMAL_95 = 1.959964  # -, 97.5 % point of the normal distribution; definition
RECEIVER, TABLE = "receiver files", "position level"
_SHOWN_EVERY = 24  # epochs in the figure: twelve minutes


@dataclass(frozen=True)
class Comparison:
    """Positions of one station from one source: found less true and half the 95 % interval.

    Arrays are (n,) and (n, 3), east, north, up. [m]
    """

    station: str
    source: str
    expected: int  # epochs that have a truth
    begin_ns: int
    time_ns: np.ndarray
    found_m: np.ndarray  # from the origin of the truth
    true_m: np.ndarray
    half_width_m: np.ndarray

    @property
    def count(self):
        """Number of positions."""
        return len(self.time_ns)

    @property
    def error_m(self):
        """Found less true (n, 3). [m]"""
        return self.found_m - self.true_m

    @property
    def rms_m(self):
        """Root mean square error by axis (3,). [m]"""
        return np.sqrt(np.mean(self.error_m**2, axis=0))

    @property
    def largest_m(self):
        """Largest absolute error by axis (3,). [m]"""
        return np.abs(self.error_m).max(axis=0)

    @property
    def cover(self):
        """Share of epochs at which the 95 % interval holds the truth, by axis (3,)."""
        return np.mean(np.abs(self.error_m) <= self.half_width_m, axis=0)


def compared(folder, order, invented):
    """Return the comparisons of all stations: those from receiver files, then the tables."""
    raw = [_from_receiver(folder, order, invented, n) for n in order.raw_names(invented)]
    tables = [_from_table(folder, invented, name) for name in invented.sites]
    return [*raw, *tables]


def _from_receiver(folder, order, invented, name):
    truth, about = read_table(folder / TRUTH / "receiver" / f"{name}.parquet")
    window = invented.raw_window(order.raw_days)
    begin = int(invented.time_ns(window.begin_s))
    days = [iso(begin + k * NS_PER_DAY)[:10] for k in range(round(window.days))]
    paths = [folder / POSITION / name / f"{name}_{day}.parquet" for day in days]
    tables = [read_table(path)[0] for path in paths if path.is_file()]
    found = {k: np.concatenate([t[k] for t in tables]) for k in tables[0]} if tables else None
    return _compare(name, RECEIVER, truth, found, np.array(about["axes"]), about["origin_m"], begin)


def _from_table(folder, invented, name):
    truth, _ = read_table(folder / TRUTH / "hourly" / f"{name}.parquet")
    found, _ = read_table(folder / position_path(name))
    place = invented.sites[name].place
    start = int(invented.start_ns)
    return _compare(name, TABLE, truth, found, place.axes, place.position_m, start)


def _compare(name, source, truth, found, axes, origin_m, begin_ns):
    true_ns = _ns(truth["time_gps"])
    expected = len(true_ns) if "running" not in truth else int(truth["running"].sum())
    if found is None or len(found["time_gps"]) == 0:
        nothing = np.empty((0, 3))
        return Comparison(name, source, expected, begin_ns, true_ns[:0], nothing, nothing, nothing)
    found_ns = _ns(found["time_gps"])
    _, at, rows = np.intersect1d(true_ns, found_ns, return_indices=True)
    there, here = (
        (np.stack([t[f"{axis}_m"][pick] for axis in "xyz"], axis=1) - origin_m) @ axes.T
        for t, pick in ((truth, at), (found, rows))
    )
    sigma = np.stack([found[f"sigma_{axis}_m"][rows] for axis in AXES], axis=1)
    return Comparison(
        name, source, expected, begin_ns, found_ns[rows], here, there, NORMAL_95 * sigma
    )


def _ns(times):
    return times.astype("datetime64[ns]").view(np.int64)


def shown(invented, comparison):
    """Return what the figure shows of a comparison, thinned, with its gaps open."""
    site = invented.sites[comparison.station]
    pick = slice(None, None, _SHOWN_EVERY)
    time_ns = comparison.time_ns[pick]
    late = np.flatnonzero(np.diff(time_ns) > 1.5 * _SHOWN_EVERY * 30 * NS_PER_S) + 1

    def opened(values):
        return np.insert(np.asarray(values, float), late, np.nan, axis=0)

    flow = np.array([np.sin(site.azimuth_rad), np.cos(site.azimuth_rad)])
    pair = [comparison.true_m[pick], comparison.found_m[pick]]
    toward = np.degrees(site.azimuth_rad) % 360.0
    return Recovered(
        f"{site.name}: {site.speed_m_d:.1f} m/d towards {toward:.0f}°",
        opened((time_ns - comparison.begin_ns) / (3600.0 * NS_PER_S)),
        opened(np.stack([values[:, :2] @ flow for values in pair], axis=1)),
        opened(np.stack([values[:, 2] for values in pair], axis=1)),
        opened(comparison.error_m[pick]),
        opened(comparison.half_width_m[pick]),
    )
