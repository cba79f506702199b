"""The verbs as functions: on a campaign's folder and, where it makes sense, on files or arrays.

Each does what the command of its name does, only what is out of date, and returns what it found as
a ``xarray.Dataset`` with units in its attributes. What went wrong without stopping it is a warning.
"""

import json
import warnings
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from .campaign.folders import DECIDE, FOLDERS, INTAKE, MOTION, open_or_find
from .errors import SettingsError
from .time import from_iso
from .workflows import array_verbs, position_campaign
from .workflows import commission as commissioning
from .workflows import decide as deciding
from .workflows import intake as taking_in
from .workflows import lakes as looking_at_lakes
from .workflows import motion as moving
from .workflows import plan as planning
from .workflows import position as positioning_files
from .workflows import report as reporting
from .workflows import run as running
from .workflows.lakes_xarray import open_lakes
from .workflows.motion_xarray import need_xarray, open_motion, xarray
from .workflows.plan_datasets import campaign_margins, file_margins
from .workflows.position_tables import station_frames, station_positions
from .workflows.products import ProductFiles
from .workflows.result_datasets import (
    INSTEAD,
    as_positions,
    columns_dataset,
    positions_dataset,
    table_dataset,
    window_tables,
    with_daily_speeds,
)
from .workflows.series import positions_of

__all__ = (
    "as_positions", "commission", "decide", "intake", "lakes", "motion", "plan", "position",
    "report", "run", "table",
)  # fmt: skip

OTHERWISE = "give the folder of a campaign"


def plan(source=None, *, workers=1, progress=None):
    """Plan stations: will they live through the winter, stand, and fit the aircraft?

    Parameters
    ----------
    source : path or sequence of path, optional
        The folder of a campaign, or station files, of which nothing is written; None: the campaign
        around the folder we stand in.
    workers : int
    progress : callable, optional
        Called as ``progress(done, total, text)``.

    Returns
    -------
    xarray.Dataset
        By ``margin``: ``station``, ``part``, ``name``, what it ``has`` and ``needs`` in ``unit``,
        ``state``, in words, and its caution. Attribute ``verdict``: one line a station. Engineering
        estimates: local codes and licensed practice come first.

    Raises
    ------
    SettingsError
        For a file or campaign that is not there or says something impossible.
    """
    need_xarray(INSTEAD)
    if source is None or (isinstance(source, str | Path) and Path(source).is_dir()):
        campaign = open_or_find(source, OTHERWISE)
        _warned(planning.run_campaign(campaign.root, workers=workers, progress=progress).problems)
        return campaign_margins(campaign)
    return file_margins([source] if isinstance(source, str | Path) else list(source))


def commission(
    campaign, station, *, time=None, kind="", sky=None, temperature_degC=None, wind_m_s=None,
    battery_degC=None,
):  # fmt: skip
    """Write a station's field sheet; return the readings to expect.

    Parameters
    ----------
    campaign : path
    station : str
    time : datetime or datetime64, optional
        When the readings will be taken, UTC; now where not given.
    kind : str, optional
        What the sheet is for: ``raise``, ``swap``, ``retrieval``; a set-up or visit by itself.
    sky : str, optional
        As the command takes it: ``clear``, ``overcast``.
    temperature_degC, wind_m_s, battery_degC : float, optional
        Those of the plan's climate where not given.

    Returns
    -------
    xarray.Dataset
        By ``reading``: ``key``, ``what``, ``unit``, ``least``, ``expected``, ``most``.

    Raises
    ------
    SettingsError
        Where campaign or plan of the station are not there.
    """
    need_xarray(INSTEAD)
    opened = open_or_find(campaign, OTHERWISE)
    now = datetime.now(UTC).replace(tzinfo=None, second=0, microsecond=0)
    moment = str(np.datetime64(now if time is None else time, "s"))
    said = commissioning.write_sheet(
        opened.root, station, from_iso(moment), kind=kind, sky=sky,
        temperature_degC=temperature_degC, wind_m_s=wind_m_s, battery_degC=battery_degC,
        time_given=time is not None,
    )  # fmt: skip
    _warned(said.problems)
    path = commissioning.folder_of(opened, station) / commissioning.EXPECTED_FILE
    return table_dataset(path, "reading", {"said": said.text})


def intake(campaign=None, *, workers=1, progress=None):
    """Take in raw files; return how complete each station's days are.

    Parameters
    ----------
    campaign : path, optional
    workers : int
    progress : callable, optional

    Returns
    -------
    xarray.Dataset
        By ``row``: ``station``, ``day_gps``, epochs, ``percent`` of those expected, gaps. Attribute
        ``said``: the summary.
    """
    need_xarray(INSTEAD)
    opened = open_or_find(campaign, OTHERWISE)
    said = taking_in.run(opened.root, workers=workers, progress=progress)
    _warned(f"{file.raw.path}: {file.raw.reason}" for file in said.set_aside)
    return table_dataset(opened.folder(INTAKE) / "days.csv", "row", {"said": said.text})


def position(
    source=None, *, stations=(), mode=None, systems=None, interval=None, mask=None, integers=None,
    workers=1, progress=None, **product_files,
):  # fmt: skip
    """Position the antennas of a campaign, or of observation files.

    Parameters
    ----------
    source : path or sequence of path, optional
        The folder of a campaign, or observation files, of which nothing is written; None: the
        campaign around the folder we stand in.
    stations : sequence of str
        Of a campaign: only these are returned. All of a long campaign may not fit into memory.
    mode, systems, interval, mask, integers
        As the options of the command; for files.
    workers : int
    progress : callable, optional
    **product_files
        For files: ``orbits``, ``clocks``, ``navigation``, ``antennas``, ``offsets``, ``loading``,
        ``orientation``, ``biases``; a path or a sequence of them.

    Returns
    -------
    xarray.Dataset
        Dimensions ``station`` and ``time`` (GPS time): marker, sigmas, correlations, satellites,
        ``state`` in words; NaN where there is no position.

    Raises
    ------
    SettingsError
        For settings that are impossible, or where there is no position at all.
    """
    need_xarray(INSTEAD)
    if source is None or (isinstance(source, str | Path) and Path(source).is_dir()):
        campaign = open_or_find(source, OTHERWISE)
        said = position_campaign.run(campaign.root, workers=workers, progress=progress)
        problems, solved = said.problems, _positions(campaign, stations)
    else:
        files = [source] if isinstance(source, str | Path) else list(source)
        settings = positioning_files.settings_of(mode, systems, interval, mask, integers)
        products = ProductFiles(**{kind: _paths(some) for kind, some in product_files.items()})
        solved, problems = positioning_files.solve_files(
            files, products, settings, workers=workers, progress=progress
        )
    _warned(problems)
    if not solved:
        raise SettingsError("nothing was positioned; the warnings say why")
    return positions_dataset(solved)


def _paths(some):
    return (str(some),) if isinstance(some, str | Path) else tuple(map(str, some))


def _positions(campaign, stations):
    """Return the Positions of a campaign's stations that have any."""
    known = [part.name for part in campaign.settings.station]
    unknown = [name for name in stations if name not in known]
    if unknown:
        raise SettingsError(
            f"there is no station {', '.join(unknown)}; stations are {', '.join(known)}"
        )
    found = []
    for name in stations or known:
        columns = station_positions(campaign, name)
        if len(columns["time_gps"]):
            found.append(positions_of(columns, " and ".join(station_frames(campaign, name))))
    return found


def motion(source=None, *, settings=None, workers=1, progress=None):
    """Work out how the ice moves: speed, tide, residual up.

    Parameters
    ----------
    source : path or xarray.Dataset, optional
        The folder of a campaign, or positions of :func:`position` or :func:`as_positions`; None:
        the campaign around the folder we stand in.
    settings : dict, optional
        For positions: fields of :class:`~stakeline.motion.motion_settings.MotionSettings`. Those of
        a campaign stand in its ``campaign.toml``.
    workers : int
    progress : callable, optional

    Returns
    -------
    xarray.Dataset
        Dimensions ``station``, ``time`` (GPS time) and ``day``; ``day_speed_m_d`` are speeds of
        separate days, for :func:`decide`.

    Raises
    ------
    SettingsError
        Where there are no positions or settings are impossible.
    """
    if xarray is not None and isinstance(source, xarray.Dataset):
        return array_verbs.motion_of(source, settings)
    campaign = _campaign(source, settings)
    _warned(moving.run(campaign.root, workers=workers, progress=progress).problems)
    data = open_motion(campaign.root)
    return with_daily_speeds(data, window_tables(campaign.folder(MOTION), data.station.values))


def lakes(
    source=None, *, lake="", over=(), beside=(), seed=7, settings=None, workers=1, progress=None
):
    """Find when lakes fill and drain.

    Parameters
    ----------
    source : path or xarray.Dataset, optional
        The folder of a campaign, or the result of :func:`motion`; None: the campaign around the
        folder we stand in.
    lake, over, beside, seed, settings
        For a result of motion: see :func:`~stakeline.workflows.array_verbs.events_of`.
    workers : int
    progress : callable, optional

    Returns
    -------
    xarray.Dataset
        Of a campaign: level, water and outflow by ``lake`` and ``time``, its events are the table
        ``6-lakes/events.csv``. Of a result of motion: the events.

    Raises
    ------
    SettingsError
        Where there is no motion, or a station is not known.
    """
    if xarray is not None and isinstance(source, xarray.Dataset):
        return array_verbs.events_of(source, lake, over, beside, seed=seed, settings=settings)
    campaign = _campaign(source, settings)
    _warned(looking_at_lakes.run(campaign.root, workers=workers, progress=progress).problems)
    return open_lakes(campaign.root)


def decide(
    source=None, drainings=(), *, lake="lake", responding=(), beside=(), settings=None, workers=1,
    progress=None,
):  # fmt: skip
    """Say whether the ice changes speed when a lake drains, or whether it is chance.

    Parameters
    ----------
    source : path or xarray.Dataset, optional
        The folder of a campaign, or the result of :func:`motion`; None: the campaign around the
        folder we stand in.
    drainings, lake, responding, beside, settings
        For a result of motion: see :func:`~stakeline.workflows.array_verbs.decision_of`.
    workers : int
    progress : callable, optional

    Returns
    -------
    xarray.Dataset
        By ``effect``: lake, station, event, change, lag, duration, with intervals of 95 %.
        Attributes ``sentence``, and what weakens it, belong to any number taken from it.

    Raises
    ------
    SettingsError
        Where there is no motion or no lake.
    """
    if xarray is not None and isinstance(source, xarray.Dataset):
        return array_verbs.decision_of(
            source, drainings, lake=lake, responding=responding, beside=beside, settings=settings
        )
    campaign = _campaign(source, settings)
    said = deciding.run(campaign.root, workers=workers, progress=progress)
    _warned(said.problems)
    if said.skipped:
        raise SettingsError(f"{campaign.root}: {'; '.join(said.skipped)}")
    folder = campaign.folder(DECIDE)
    told = json.loads((folder / deciding.VERDICT).read_text(encoding="utf-8"))["verdict"]
    about = {"sentence": told["sentence"], "weakening": "; ".join(told["weakening"])}
    return table_dataset(folder / "effects.csv", "effect", about)


def report(campaign=None, *, progress=None):
    """Write the report; return each number that it shows, and where it stands.

    Parameters
    ----------
    campaign : path, optional
    progress : callable, optional

    Returns
    -------
    xarray.Dataset
        By ``number``: ``table``, ``shown``, ``value``, ``file``, ``row``, ``column``, ``sha256``.
        Attributes ``sentence``, ``pdf`` and ``html``.
    """
    need_xarray(INSTEAD)
    opened = open_or_find(campaign, OTHERWISE)
    _warned(reporting.run(opened.root, progress=progress).problems)
    folder = opened.folder(FOLDERS[8])
    told = json.loads((folder / reporting.NUMBERS).read_text(encoding="utf-8"))
    rows = told["numbers"]
    names = ("table", "shown", "value", "file", "row", "column", "sha256")
    columns = {name: np.array([row[name] for row in rows]) for name in names}
    about = {"sentence": told["sentence"], "pdf": str(folder / reporting.PDF),
             "html": str(folder / reporting.HTML)}  # fmt: skip
    return columns_dataset(columns, "number", about)


def run(campaign=None, *, workers=1, progress=None):
    """Do all verbs on a campaign, whatever is out of date.

    Returns
    -------
    RunReport
        ``text()`` says what was done; ``failed`` what was not.
    """
    return running.run(open_or_find(campaign, OTHERWISE).root, workers=workers, progress=progress)


def table(campaign, name):
    """Return any table of a campaign's results, such as ``6-lakes/events.csv``.

    Parameters
    ----------
    campaign : path
    name : str
        Of a CSV or Parquet file, from the folder of the campaign.

    Returns
    -------
    xarray.Dataset
        By ``row``; ``to_dataframe()`` makes a table of pandas of it.

    Raises
    ------
    SettingsError
        Where it is not there.
    """
    return table_dataset(open_or_find(campaign, OTHERWISE).root / name)


def _campaign(source, settings):
    """Return a campaign; its settings stand in its folder."""
    need_xarray(INSTEAD)
    if settings:
        raise SettingsError("settings of a campaign stand in its campaign.toml")
    return open_or_find(source, OTHERWISE)


def _warned(sentences):
    for sentence in sentences:
        warnings.warn(sentence, stacklevel=3)
