"""The demonstration: an invented glacier with known motion, found again from receiver files."""

import gzip
import itertools
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..campaign.store import parquet_bytes, read_table, write_bytes, write_text
from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SolutionError
from ..formats.antex import write_antex
from ..formats.rinex_clk import write_clocks
from ..formats.rinex_obs import write_observations
from ..formats.sp3 import write_sp3
from ..report.recovered import AXES, Recovered, draw, svg_bytes
from ..simulate.atmosphere import make_air, make_ionosphere
from ..simulate.ground import Place
from ..simulate.motion import Motion, Uplift
from ..simulate.observe import Station, make_world, observe
from ..simulate.products import antennas_of, clocks_of, make_errors, orbits_of
from ..simulate.receiver import Receiver
from ..tables import satellite_name
from ..time import day_of_year, from_calendar, iso
from . import position
from .observation_cut import cut

START_NS = from_calendar(2031, 7, 12)
DAYS = 2
WORKERS = 2
NORMAL_95 = 1.959964  # -, 97.5 % point of the normal distribution; definition
LARGEST_M = 0.06  # m, bar of the largest error
COVER = 0.85  # -, bar of the share that 95 % intervals hold, over the three axes
_SHOWN_EVERY = 24  # epochs in the figure: twelve minutes
_TRUTH_UNITS = {"time_gps": "GPS time", "clock_s": "s"}


@dataclass(frozen=True)
class Comparison:
    """One station: found less true (n, 3) and half the 95 % interval [m], with its truth."""

    station: Station
    truth: object
    time_ns: np.ndarray
    found_m: np.ndarray  # (n, 3) east, north, up from the marker's place
    error_m: np.ndarray
    half_width_m: np.ndarray

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


def run(folder, seed=2031, progress=None, days=DAYS, names=("HV01", "HV02"), say=None):
    """Invent stations on Halvard Glacier, position them, compare; return the exit code.

    Parameters
    ----------
    folder : path
        Receives ``receivers/``, ``products/``, ``truth/``, the positions and a figure.
    seed : int
        Of all chance: the same seed gives the same files, byte by byte.
    progress : callable, optional
        Called as ``progress(done, total, text)``.
    days : float
        Length; days of receiver files are cut at midnight.
    names : sequence of str
        Which of the stations of :func:`invent`.
    say : callable, optional
        Takes text for a person; default: standard output.

    Returns
    -------
    int
        0, or 1 where the motion found is further from the truth than it should be.

    Raises
    ------
    SolutionError
        Where a station cannot be positioned at all.
    """
    folder, say = Path(folder), say or sys.stdout.write
    tell = _counted(progress, len(names) + 5)
    begun = time.perf_counter()
    files, stations = _invent(folder, seed, days, names, tell)
    invented_s = time.perf_counter() - begun
    tell("positioning")
    table = folder / "positions.parquet"
    summary = folder / "positions.json"
    outcome = position.run(
        files.pop("observations"), out=table, summary=summary, workers=WORKERS, **files
    )
    if outcome.problems:
        raise SolutionError("\n".join(outcome.problems))
    columns, _ = read_table(table)
    compared = [_compare(station, truth, columns) for station, truth in stations]
    tell("figure")
    title = f"Halvard Glacier, invented (seed {seed}): motion found and true"
    shown = [_shown(comparison) for comparison in compared]
    write_bytes(folder / "recovered.svg", svg_bytes(draw(shown, title, f"{_date(0)} 00:00 GPS")))
    tell("done")
    seconds = invented_s, time.perf_counter() - begun - invented_s
    say(_text(folder, seed, compared, seconds))
    return 0 if all(_good(comparison) for comparison in compared) else 1


def _counted(progress, total):
    """Return ``tell(text)`` that counts its calls."""
    count = itertools.count(1)
    return lambda text: progress(next(count), total, text) if progress else None


def invent(seed, days=DAYS):
    """Return (world, {name: station}, generators for the observations, errors of the products).

    HV01 floats near the grounding line and feels the tide; HV02 stands further up, over a lake
    that fills from the 20th hour on; it loses power for two hours and its receiver's clock jumps
    in the codes alone. The flow of the two differs by 56 deg in direction.
    """
    by_world, by_air, by_station, by_product = np.random.default_rng(seed).spawn(4)
    duration_s = days * 86400.0
    world = make_world(by_world, START_NS, duration_s)
    lower = Place(np.radians(79.08), np.radians(-21.90), 64.0)
    upper = Place(np.radians(79.14), np.radians(-22.35), 412.0)
    motions = {
        "HV01": Motion(lower, 1.1, np.radians(62.0), tide_m=0.25, tide_phase_rad=0.8),
        "HV02": Motion(
            upper,
            1.1,
            np.radians(118.0),
            tide_m=0.02,
            tide_phase_rad=0.9,
            uplift=Uplift(0.3, 20.0 * 3600.0, 6.0 * 3600.0, 15.0 * 3600.0),
        ),
    }
    receivers = {
        "HV01": Receiver(mast_m=1.9),
        "HV02": Receiver(mast_m=2.3, phase_jumps=False, gaps_s=((111_000.0, 118_800.0),)),
    }
    ionosphere = make_ionosphere(by_air)
    stations = {
        name: Station(
            name,
            motion,
            receivers[name].mast_m - 0.4,
            make_air(by_air, motion.place, duration_s),
            ionosphere,
            receivers[name],
        )
        for name, motion in motions.items()
    }
    generators = dict(zip(stations, by_station.spawn(len(stations)), strict=True))
    return world, stations, generators, make_errors(by_product, world)


def _invent(folder, seed, days, names, tell):
    """Write receiver files, products and truth; return (files by kind, [(station, truth)])."""
    tell("inventing the sky")
    world, stations, generators, errors = invent(seed, days)
    done, observed = [], []
    for name in names:
        tell(f"{name}: receiver files")
        observations, truth = observe(generators[name], world, stations[name])
        observed += _write_days(folder / "receivers" / name, observations, days)
        _write_truth(folder / "truth", name, truth)
        done.append((stations[name], truth))
    tell("orbits, clocks, antennas")
    files = _write_products(folder / "products", world, errors, days)
    return {"observations": observed, **files}, done


def _midnights(days):
    """Return (first, end) of each day, the last perhaps shorter. [ns]"""
    end_ns = START_NS + round(days * NS_PER_DAY)
    starts = range(START_NS, end_ns, NS_PER_DAY)
    return [(start, min(start + NS_PER_DAY, end_ns)) for start in starts]


def _write_days(folder, observations, days):
    paths = []
    for first_ns, end_ns in _midnights(days):
        year, day = day_of_year(first_ns)
        name = f"{observations.header.marker_name}00XXX_R_{year}{day:03d}0000_01D_30S_MO.crx.gz"
        piece = cut(observations, first_ns, end_ns)
        paths.append(_write_packed(folder / name, write_observations(piece, compact=True)))
    return paths


def _write_products(folder, world, errors, days):
    """Write daily files; orbits also of the days around, as a careful user fetches them."""
    spans = _midnights(days)
    around = range(START_NS - NS_PER_DAY, spans[-1][0] + 2 * NS_PER_DAY, NS_PER_DAY)
    files = {"orbits": [], "clocks": [], "antennas": [folder / "antennas.atx"]}
    for first_ns in around:
        orbits = orbits_of(world, errors, first_ns, first_ns + NS_PER_DAY - 900 * NS_PER_S)
        path = folder / _product_name(first_ns, "15M_ORB.SP3.gz")
        files["orbits"].append(_write_packed(path, write_sp3(orbits)))
    for first_ns, end_ns in spans:
        clocks = clocks_of(world, errors, first_ns, end_ns - 30 * NS_PER_S)
        path = folder / _product_name(first_ns, "30S_CLK.CLK.gz")
        files["clocks"].append(_write_packed(path, write_clocks(clocks)))
    write_bytes(files["antennas"][0], write_antex(antennas_of(world)))
    return files


def _product_name(first_ns, ending):
    year, day = day_of_year(first_ns)
    return f"HAL0OPSFIN_{year}{day:03d}0000_01D_{ending}"


def _write_packed(path, data):
    write_bytes(path, gzip.compress(data, compresslevel=6, mtime=0))
    return path


def _write_truth(folder, name, truth):
    columns = {"time_gps": truth.time_ns.view("datetime64[ns]")}
    columns |= {f"{axis}_m": truth.displacement_m[:, k] for k, axis in enumerate(AXES)}
    columns |= {f"{axis}_m": truth.position_m[:, k] for k, axis in enumerate("xyz")}
    columns |= {"zenith_delay_m": truth.zenith_delay_m, "clock_s": truth.clock_s}
    units = _TRUTH_UNITS | {column: "m" for column in columns if column.endswith("_m")}
    write_bytes(folder / f"{name}.parquet", parquet_bytes(columns, units, {"point": "marker"}))
    rows = ["time_gps,satellite,cycles_first,cycles_second,flagged"]
    for slip in truth.slips:
        first, second = slip.cycles
        satellite, flagged = satellite_name(slip.satellite), "yes" if slip.flagged else "no"
        rows.append(f"{iso(slip.time_ns)},{satellite},{first},{second},{flagged}")
    write_text(folder / f"{name}_slips.csv", "\n".join(rows) + "\n")


def _compare(station, truth, columns):
    """Return the :class:`Comparison` of a station with its rows of the table of positions."""
    rows = columns["station"] == station.name
    time_ns = columns["time_gps"][rows].astype("datetime64[ns]").view(np.int64)
    xyz = np.stack([columns[f"{axis}_m"][rows] for axis in "xyz"], axis=1)
    sigma = np.stack([columns[f"sigma_{axis}_m"][rows] for axis in AXES], axis=1)
    at = np.searchsorted(truth.time_ns, time_ns)
    found = (xyz - station.motion.place.position_m) @ truth.axes.T
    error = (xyz - truth.position_m[at]) @ truth.axes.T
    return Comparison(station, truth, time_ns, found, error, NORMAL_95 * sigma)


def _shown(comparison):
    """Return what the figure shows of a comparison, thinned, with its gaps open."""
    motion = comparison.station.motion
    pick = slice(None, None, _SHOWN_EVERY)
    time_ns = comparison.time_ns[pick]
    late = np.flatnonzero(np.diff(time_ns) > 1.5 * _SHOWN_EVERY * 30 * NS_PER_S) + 1

    def opened(values):
        return np.insert(np.asarray(values, float), late, np.nan, axis=0)

    seconds = (time_ns - START_NS) / NS_PER_S
    true, found = motion.displacement_m(seconds), comparison.found_m[pick]
    flow = np.array([np.sin(motion.azimuth_rad), np.cos(motion.azimuth_rad)])
    speed, toward = motion.speed_m_d, np.degrees(motion.azimuth_rad)
    return Recovered(
        f"{comparison.station.name}: {speed:.1f} m/d towards {toward:.0f}°",
        opened(seconds / 3600.0),
        opened(np.stack([true[:, :2] @ flow, found[:, :2] @ flow], axis=1)),
        opened(np.stack([true[:, 2], found[:, 2]], axis=1)),
        opened(comparison.error_m[pick]),
        opened(comparison.half_width_m[pick]),
    )


def _good(comparison):
    return bool((comparison.largest_m < LARGEST_M).all() and comparison.cover.mean() >= COVER)


def _date(day):
    return iso(START_NS + day * NS_PER_DAY)[:10]


def _text(folder, seed, compared, seconds):
    """Return the result as a person reads it at a terminal."""
    lines = [
        "",
        f"Halvard Glacier, invented (seed {seed}), from {_date(0)} on, every 30 s",
        "",
        "  station  axis      rms   largest   95 % interval holds",
    ]
    for comparison in compared:
        for k, axis in enumerate(AXES):
            rms, largest = 1e3 * comparison.rms_m[k], 1e3 * comparison.largest_m[k]
            name = comparison.station.name if k == 0 else ""
            lines.append(
                f"  {name:<7}  {axis:<5} {rms:4.1f} mm   {largest:4.0f} mm"
                f"   {100.0 * comparison.cover[k]:6.1f} % of epochs"
            )
    share = [100.0 * len(c.time_ns) / len(c.truth.time_ns) for c in compared]
    names = " and ".join(
        f"{s:.1f} % of {c.station.name}" for s, c in zip(share, compared, strict=True)
    )
    slips = sum(len(c.truth.slips) for c in compared)
    lines += [
        "",
        f"  Positioned: {names} epochs; {slips} cycle slips had been put in.",
        f"  Invented in {seconds[0]:.0f} s, positioned in {seconds[1]:.0f} s.",
        f"  Files, truth and figure: {folder} (recovered.svg)",
    ]
    if not all(_good(comparison) for comparison in compared):
        lines.append("  This is worse than it should be: see docs/validation.md for the bars.")
    return "\n".join(lines) + "\n"
