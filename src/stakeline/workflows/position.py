"""Positions from single files, without any campaign."""

from dataclasses import asdict, dataclass, replace

import numpy as np

from .. import __version__
from ..campaign.settings import system_letters
from ..campaign.store import sha256_file, write_bytes, write_text
from ..errors import SettingsError
from ..positioning import solve
from ..tables import Settings
from ..time import iso
from .costs import StageTimes
from .pool import run_tasks
from .products import ProductFiles, load_products, station_antenna
from .reading import by_station, read_pieces
from .series import columns_of, joined, metadata_of, named, summary_of, summary_text, table_bytes
from .snow_passes import snow_days
from .snow_words import header_words


@dataclass(frozen=True)
class Outcome:
    """What a run did, in words, and what went wrong; the command line prints both.

    ``done``, ``up_to_date``, ``skipped`` and ``notes`` hold the same in parts, for a run of all
    verbs.
    """

    text: str
    problems: tuple = ()
    done: tuple = ()
    up_to_date: tuple = ()
    skipped: tuple = ()
    notes: tuple = ()


@dataclass(frozen=True)
class StationTask:
    """All a worker needs to position one station."""

    station: str
    observations: tuple
    products: ProductFiles
    settings: Settings


def run(
    observations,
    *,
    out,
    summary=None,
    workers=1,
    progress=None,
    mode=None,
    systems=None,
    interval=None,
    mask=None,
    integers=None,
    **product_files,
):
    """Position the stations of observation files; write the table and the summary.

    Parameters
    ----------
    observations : sequence of path
        Files of one station or several; one that cannot be read does not stop the rest.
    out, summary : path
        Table (.csv or .parquet) and JSON summary.
    mode, systems, interval, mask, integers
        As the options of the command line; None: the default of :class:`Settings`.
    **product_files
        ``orbits``, ``clocks``, ``navigation``, ``antennas``, ``offsets``, ``loading``,
        ``orientation``, ``biases``: sequences of paths.

    Returns
    -------
    Outcome

    Raises
    ------
    SettingsError
        For settings that are impossible, before anything is read.
    """
    if str(out).rpartition(".")[2].lower() not in ("csv", "parquet"):
        raise SettingsError(f"--out {out}: the table's name ends in .csv or .parquet")
    settings = settings_of(mode, systems, interval, mask, integers)
    products = ProductFiles(**{k: tuple(map(str, v or ())) for k, v in product_files.items()})
    solved, problems = solve_files(
        observations, products, settings, workers=workers, progress=progress
    )
    inputs = _inputs([*map(str, observations), *products.all()])
    common = {k: v for k, v in asdict(settings).items() if not k.startswith("antenna")}
    _write(out, summary, solved, inputs, common, problems)
    return Outcome(_text(solved, out), tuple(problems))


def solve_files(observations, products, settings, *, workers=1, progress=None):
    """Return (Positions of each station by name, sentences about what failed) of single files.

    Parameters
    ----------
    observations : sequence of path
        Files of one station or several; one that cannot be read does not stop the rest.
    products : ProductFiles
    settings : Settings
    workers : int
    progress : callable, optional
    """
    groups = by_station(observations)
    tasks = [StationTask(s, tuple(f), products, settings) for s, f in sorted(groups.items())]
    solved, problems = [], []
    for done, (task, result, sentence) in enumerate(run_tasks(_position, tasks, workers), 1):
        if sentence:
            problems += [f"{task.station}: {line}" for line in sentence.splitlines()]
        else:
            solved.append(result)
            problems += [f"{task.station}: {line}" for line in result[1]]
        if progress:
            progress(done, len(tasks), f"{task.station} {'failed' if sentence else 'positioned'}")
    return sorted((positions for positions, _ in solved), key=lambda p: p.station), problems


def settings_of(mode, systems, interval, mask, integers=None):
    """Return :class:`Settings` of the command line's options; SettingsError for a bad list."""
    given = {"mode": mode, "interval_s": interval, "mask_deg": mask, "integers": integers}
    if systems is not None:
        try:
            given["systems"] = system_letters(systems)
        except ValueError as problem:
            raise SettingsError(f"--systems {problem}") from None
    return Settings(**{key: value for key, value in given.items() if value is not None})


def _position(task):
    """Return (Positions, sentences about files passed over) of one station."""
    times = StageTimes("reading")
    observations, problems = read_pieces(task.observations)
    header = observations.header
    times("products")
    place = np.asarray(header.approximate_position_m, float)
    products = load_products(task.products, task.station, place)
    antenna = header.antenna_type or station_antenna(task.products, task.station)
    height = (header.antenna_height_m, header.antenna_east_m, header.antenna_north_m)
    settings = replace(task.settings, antenna_height_m=height, antenna_model=antenna)
    solved = solve(observations, products, settings, progress=times)
    times("height above the snow")
    place = np.median(solved.position_m, axis=0)
    snow = snow_days(observations, products, place, settings.systems)
    times("end")
    positions = named(solved, task.station, products)
    said = {
        "orbits": "precise" if products.orbits is not None else "broadcast",
        "antenna": antenna or "not stated",
        "antenna_height_m": dict(zip(("up", "east", "north"), height, strict=True)),
        "antenna_height_source": "header of the observation file",
        "height_above_snow": [{**asdict(day), "time_gps": iso(day.time_ns)} for day in snow],
        "passed_over": [str(note) for note in observations.passed_over],
        "unreadable": problems,
        "seconds": times.seconds,
    }
    warnings = [*positions.summary.get("warnings", ()), *_snow_warnings(snow, height[0])]
    summary = {**positions.summary, **said, "warnings": warnings}
    return replace(positions, summary=summary), problems


def _snow_warnings(days, header_m):
    """Return the first day's contradiction of the header's antenna height, where there is one."""
    words = (header_words(day, header_m) for day in days)
    return [text for text in words if text][:1]


def _inputs(paths):
    """Return [{file, size, sha256}] of all files given, in order."""
    found = []
    for path in paths:
        try:
            size, checksum = sha256_file(path)
        except OSError as problem:
            raise SettingsError(f"{path}: cannot be read: {problem.strerror}") from None
        found.append({"file": path, "bytes": size, "sha256": checksum})
    return found


def _write(out, summary, solved, inputs, settings, problems):
    """Write table and summary; a run in which nothing was solved writes the summary only."""
    if solved:
        columns = joined([columns_of(positions) for positions in solved])
        write_bytes(out, table_bytes(out, columns, metadata_of(solved, inputs, settings)))
    if summary:
        stations = [summary_of(positions) for positions in solved]
        write_text(summary, summary_text(__version__, settings, inputs, stations, problems))


def _text(solved, out):
    """Return what a person wants to know at once: one line a station, then the warnings."""
    lines = []
    for positions in solved:
        said = summary_of(positions)
        lines.append(
            f"{said['station']}: {said['rows']} rows, {said['first_epoch_gps']} to "
            f"{said['last_epoch_gps']} GPS, {said['frame']}"
        )
        lines += [f"  note: {warning}" for warning in said.get("warnings", ())]
    lines.append(f"wrote {out}" if solved else f"nothing was positioned; {out} was not written")
    return "\n".join(lines) + "\n"
