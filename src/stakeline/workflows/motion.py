"""The verb motion: how the ice moves, by station and together, only what is out of date."""

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from .. import __version__
from ..campaign.column_map import ColumnMap, read_column_map
from ..campaign.folders import (
    LEDGER,
    MOTION,
    POSITION,
    STATIONS,
    open_campaign,
    open_or_find,
)
from ..campaign.history import StationHistory
from ..campaign.ledger import Ledger, fingerprint
from ..campaign.motion_settings import MotionPart, MotionStation
from ..campaign.store import clean_leftovers, json_text, only_one, row_count, sha256_file
from ..errors import SettingsError
from ..motion.motion_settings import MotionSettings
from ..motion.solve import solve_motion
from ..motion.station_series import FEWEST_ROWS
from ..time import from_iso, gps_from_utc
from .motion_around import around_files
from .motion_figures import draw_motion, draw_tables
from .motion_input import campaign_series
from .motion_table import table_series
from .motion_tables import station_files
from .motion_together import together
from .motion_words import station_summary
from .pool import run_tasks
from .position import Outcome
from .position_tables import station_frames

NO_POSITIONS = "no positions; run 'stakeline position' first"


@dataclass(frozen=True)
class StationTask:
    """All that one station's motion follows from; ``table`` with ``columns``, or ``campaign``."""

    name: str
    key: str
    settings: MotionSettings
    inputs: tuple
    campaign: object = None
    history: StationHistory | None = None
    table: str = ""
    columns: ColumnMap | None = None


def run(campaign=None, *, stations=(), workers=1, progress=None):
    """Work out the motion of a campaign's stations that are not up to date.

    Parameters
    ----------
    campaign : path, optional
        Its folder; None: the campaign around the folder we stand in.
    stations : sequence of str
        Only these; all where none is named.
    workers : int
    progress : callable, optional

    Returns
    -------
    Outcome

    Raises
    ------
    SettingsError
        Where there is no campaign, a station is not known, or another run holds it.
    """
    campaign = open_or_find(
        campaign, "give tables (stakeline motion TABLE --columns MAP.toml --out FOLDER)"
    )
    known = [part.name for part in campaign.settings.station]
    unknown = [name for name in stations if name not in known]
    if unknown:
        raise SettingsError(
            f"there is no station {', '.join(unknown)}; stations are {', '.join(known)}"
        )
    with only_one(campaign.folder(LEDGER) / "lock"):
        clean_leftovers(campaign.root)
        doing = _Run(campaign.root, f"{MOTION}/", workers, progress, campaign.settings.motion,
                     campaign)  # fmt: skip
        tasks, skipped = _campaign_tasks(campaign)
        said = doing.everything(tasks, skipped, set(stations))
        return _with_figures(said, draw_motion(campaign, workers, progress))


def _with_figures(said, drawn):
    """Return an Outcome that tells of figures too."""
    figures = f"figures: {len(drawn.done)} sheets drawn, {len(drawn.current)} up to date"
    return replace(
        said,
        text=f"{said.text}{figures}\n" if drawn.done or drawn.current else said.text,
        problems=(*said.problems, *drawn.problems),
        done=(*said.done, *((f"{len(drawn.done)} sheets of figures",) * bool(drawn.done))),
    )


def run_tables(tables, columns, out, *, workers=1, progress=None):
    """Work out the motion of stations whose positions come as tables from elsewhere.

    Parameters
    ----------
    tables : sequence of path
        One for each column map, or several with one map each.
    columns : sequence of path
        Column maps; the single one holds for the single table.
    out : path
        Folder of the results.

    Returns
    -------
    Outcome
    """
    if len(tables) != len(columns):
        raise SettingsError(
            f"{len(tables)} tables and {len(columns)} column maps; each table needs its own, in "
            "the same order"
        )
    tasks = []
    for table, path in zip(tables, columns, strict=True):
        mapped = read_column_map(Path(path))
        inputs = tuple(("columns", str(p), sha256_file(p)[1]) for p in (table, path))
        settings = motion_settings(MotionPart(), mapped.station)
        key = fingerprint([__version__, vars(settings), [sha for *_, sha in inputs]])
        tasks.append(
            StationTask(mapped.station, key, settings, inputs, table=str(table), columns=mapped)
        )
    names = [task.name for task in tasks]
    if len(set(names)) < len(names):
        raise SettingsError(f"stations {', '.join(names)}: each must stand there once")
    out = Path(out)
    with only_one(out / LEDGER / "lock"):
        clean_leftovers(out)
        part = MotionPart()
        said = _Run(out, "", workers, progress, part).everything(tasks, (), set())
        return _with_figures(said, draw_tables(out, part.longest_gap_d, workers, progress))


def motion_settings(part, name):
    """Return the :class:`MotionSettings` of one station from ``[motion]``."""
    own = part.of(name)
    path = own.path or ("fixed" if own.azimuth_deg is not None else part.path)
    common = {
        key: getattr(part, key)
        for key in (
            "interval_h", "longest_gap_d", "outlier_threshold", "largest_sigma_m", "find_steps",
            "remove_tide", "shortest_tide_record_d", "coloured_noises", "long_noise_m",
            "likelihood_rows", "window_d", "slope_length_m",
        )
    }  # fmt: skip
    return MotionSettings(
        **common, path=path, azimuth_deg=_number(own.azimuth_deg), slope=_number(own.slope),
        slope_sigma=own.slope_sigma, slope_source=own.slope_source or part.slope_source,
        vertical_strain_m_a=_number(own.vertical_strain_m_a),
        vertical_strain_sigma_m_a=own.vertical_strain_sigma_m_a,
        settling_m_a=_number(own.settling_m_a), settling_sigma_m_a=own.settling_sigma_m_a,
        barometer_share=_number(own.barometer_share),
        barometer_share_sigma=own.barometer_share_sigma,
    )  # fmt: skip


def _number(value):
    return np.nan if value is None else value


def _campaign_tasks(campaign):
    """Return (tasks, sentences about stations without positions)."""
    histories, tasks, skipped = campaign.histories(), [], []
    for part in campaign.settings.station:
        name = part.name
        folder = campaign.root / POSITION / name
        files = sorted(folder.glob(f"{name}_*.parquet"))
        count = sum(row_count(path) for path in files)
        if count < FEWEST_ROWS:
            few = f"{count} positions; motion needs at least {FEWEST_ROWS}"
            skipped.append(f"{name}: {few if files else NO_POSITIONS}")
            continue
        history = campaign.root / STATIONS / f"{name}.toml"
        files += [history] if history.is_file() else []
        files += around_files(campaign, name)
        inputs = tuple(("input", campaign.relative(p), sha256_file(p)[1]) for p in files)
        settings = motion_settings(campaign.settings.motion, name)
        own = campaign.settings.motion.of(name)
        spans = own.by_hand, (*campaign.settings.motion.protect, *own.protect)
        frames = campaign.settings.position.frame, campaign.settings.position.broadcast_sigma_m
        key = fingerprint([__version__, vars(settings), spans, inputs, frames])
        tasks.append(StationTask(name, key, settings, inputs, campaign.root, histories.get(name)))
    return tasks, tuple(skipped)


def _spans_ns(pairs):
    """Return pairs of UTC times as GPS time. [ns]"""
    return tuple(tuple(int(gps_from_utc(from_iso(text))) for text in pair) for pair in pairs)


def solve_station(task):
    """Return ({end of the name: bytes}) of one station; for worker processes."""
    frame = ""
    if task.columns is not None:
        series = table_series(task.table, task.columns)
    else:
        campaign = open_campaign(task.campaign)
        own: MotionStation = campaign.settings.motion.of(task.name)
        protect = (*campaign.settings.motion.protect, *own.protect)
        spans = _spans_ns(own.by_hand), _spans_ns(protect)
        series = campaign_series(campaign, task.name, task.history, *spans)
        frame = station_frames(campaign, task.name)[0]
    motion = solve_motion(series, task.settings)
    inputs = [{"role": role, "file": name, "sha256": sha} for role, name, sha in task.inputs]
    brought = {"brought_to_frame": list(series.notes)} if series.notes else {}
    files = station_files(motion, {"frame": frame, **brought, "inputs": inputs})
    files[f"{task.name}_summary.json"] = json_text(station_summary(motion, frame)).encode("utf-8")
    return files


class _Run:
    """One run: where results go, and what went wrong so far."""

    def __init__(self, root, prefix, workers, progress, part, campaign=None):
        self.campaign = campaign
        self.root, self.prefix, self.workers, self.part = root, prefix, workers, part
        self.progress = progress or (lambda done, total, text: None)
        self.ledger = Ledger(root, LEDGER)
        self.problems = []

    def everything(self, tasks, skipped, only):
        """Solve what is out of date, then the stations together; return the Outcome."""
        stale = [
            task
            for task in tasks
            if not self.ledger.up_to_date(_record(task.name), task.key)
            and (not only or task.name in only)
        ]
        failed = self.solve(stale)
        self.forget_all_but({_record(task.name) for task in tasks if task.name not in failed})
        names = [t.name for t in tasks if self.ledger.read(_record(t.name)) is not None]
        fresh = self.together(names)
        done = len(stale) - len(failed)
        current = sum(self.ledger.up_to_date(_record(t.name), t.key) for t in tasks) - done
        lines = [
            f"{len(tasks)} stations with positions: {current} up to date, {done} worked out, "
            f"{len(failed)} failed",
            *(f"skipped: {sentence}" for sentence in skipped),
        ]
        if names:
            lines.append(f"in words: {self.prefix}summary.txt")
        return Outcome(
            "\n".join(lines) + "\n",
            tuple(self.problems),
            (f"{done} stations",) * bool(done) + ("stations together",) * fresh,
            (f"{current} stations",) * bool(current),
            skipped if tasks else (*skipped, "no station with positions"),
        )

    def solve(self, tasks):
        """Solve stations and store them; return the names of those that failed."""
        failed = set()
        for count, (task, files, sentence) in enumerate(
            run_tasks(solve_station, tasks, self.workers), 1
        ):
            if sentence:
                failed.add(task.name)
                begin = f"{task.name}: "
                self.problems += [
                    line if line.startswith(begin) else begin + line
                    for line in sentence.splitlines()
                ]
            else:
                folder = f"{self.prefix}{task.name}/"
                outputs = {folder + name: data for name, data in files.items()}
                self.ledger.finish(_record(task.name), task.key, outputs)
            self.progress(
                count, len(tasks), f"{task.name} {'failed' if sentence else 'worked out'}"
            )
        return failed

    def forget_all_but(self, wanted):
        """Drop results that no longer follow from any input."""
        for task in self.ledger.tasks("motion"):
            if task not in wanted:
                self.ledger.forget(task)

    def together(self, names):
        """Write network, strain, lags, NetCDF and summaries where out of date; say whether."""
        if not names:
            self.ledger.forget(TOGETHER)
            return False
        records = {name: self.ledger.read(_record(name))["outputs"] for name in names}
        key = [__version__, self.part.seed, self.part.longest_gap_d, records]
        key = fingerprint([*key, *(_satellite_inputs(self.campaign) if self.campaign else ())])
        if self.ledger.up_to_date(TOGETHER, key):
            return False
        outputs = together(self.root, records, self.part, self.campaign)
        if "satellite.csv" not in outputs:  # speeds that the settings name no more
            (self.root / f"{self.prefix}satellite.csv").unlink(missing_ok=True)
        self.ledger.finish(TOGETHER, key, {self.prefix + n: data for n, data in outputs.items()})
        return True


def _satellite_inputs(campaign):
    """Return what comparisons with satellites follow from: settings, checksums of maps.

    Raises SettingsError for a map that is not there.
    """
    parts = campaign.settings.motion.satellite
    names = sorted({part.map for part in parts if part.map is not None})
    for name in names:
        if not (campaign.root / name).is_file():
            raise SettingsError(f"campaign.toml: [[motion.satellite]] map: no file {name}")
    sums = [sha256_file(campaign.root / name)[1] for name in names]
    return [[part.model_dump() for part in parts], sums] if parts else []


TOGETHER = "motion-together"


def _record(name):
    return f"motion/{name}"
