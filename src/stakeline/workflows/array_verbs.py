"""The verbs motion, lakes and decide on arrays in xarray objects, without any campaign."""

import warnings

import numpy as np

from ..campaign.decide_settings import DecidePart
from ..constants import NS_PER_DAY
from ..errors import SettingsError
from ..inference.shape import Events
from ..lakes.combined import StationUp
from ..lakes.events import EventSettings, find_events
from ..motion.local import local_from_xyz
from ..motion.solve import MotionSettings, series_of, solve_motion
from .decide import solve_questions
from .decide_record import Question, Speeds, daily_speeds
from .decide_tables import EFFECT_NAMES, effect_rows
from .decide_verdict import decisions
from .lakes_input import RAW, scatter
from .motion_results import StationResult, ns
from .motion_tables import motion_columns, window_columns
from .motion_xarray import dataset, need_xarray
from .result_datasets import (
    DAY_D,
    INSTEAD,
    columns_dataset,
    station_positions_of,
    with_daily_speeds,
)

EVENT_TIMES = ("onset", "peak", "end")


def motion_of(positions, settings=None):
    """Return the motion of stations from their positions as one ``xarray.Dataset``.

    Parameters
    ----------
    positions : xarray.Dataset
        Of ``stakeline.position`` or ``stakeline.as_positions``.
    settings : dict, optional
        Fields of :class:`~stakeline.motion.motion_settings.MotionSettings`.

    Raises
    ------
    SettingsError
        For a setting that is not known or impossible, or variables that are missing.
    SolutionError
        Where a station has fewer than ten positions.
    """
    need_xarray(INSTEAD)
    chosen = _settings(MotionSettings, settings)
    tables, windows = {}, []
    for own in station_positions_of(positions):
        local = local_from_xyz(own.position_m, own.covariance_m2)
        motion = solve_motion(series_of(own.station, own.time_ns, local), chosen)
        for sentence in motion.warnings:
            warnings.warn(f"{own.station}: {sentence}", stacklevel=3)
        place = {"latitude_deg": float(np.degrees(local.latitude_rad)),
                 "longitude_deg": float(np.degrees(local.longitude_rad)),
                 "height_m": float(local.height_m)}  # fmt: skip
        tables[own.station] = motion_columns(motion), place
        windows.append(window_columns(motion)[0])
    return with_daily_speeds(dataset(tables), windows)


def events_of(motion, lake, over, beside=(), *, seed=7, settings=None):
    """Return fillings and drainings of one lake from the motion of stations over it.

    Parameters
    ----------
    motion : xarray.Dataset
        Of ``stakeline.motion``.
    lake : str
    over, beside : sequence of str
        Stations over the lake, and controls beside it.
    seed : int
        Of the samples.
    settings : dict, optional
        Fields of :class:`~stakeline.lakes.events.EventSettings`.

    Returns
    -------
    xarray.Dataset
        By ``event``: onset, fastest moment and end (``low``, ``median``, ``high`` of 95 %), change
        and rates of the surface, probability that it is real. Volumes need outlines and thickness,
        and so a campaign; steps that motion took out and slopes from a station's own path get no
        size of their own here, as they do there.

    Raises
    ------
    SettingsError
        For stations that are not there.
    SolutionError
        Where no station stands over the lake, or too few rows are there.
    """
    need_xarray(INSTEAD)
    _known(motion, (*over, *beside))
    stations = [_station_up(motion, name, name in beside) for name in (*over, *beside)]
    chosen = _settings(EventSettings, settings)
    history = find_events(lake, stations, np.random.default_rng(seed), chosen)
    rows = [event.row() for event in history.events]
    columns = {}
    for key in rows[0] if rows else ("kind", "onset_median_ns", "end_median_ns"):
        values = np.array([row[key] for row in rows])
        if key.endswith("_ns"):
            key, values = f"{key[:-3]}_gps", values.astype(np.int64).view("datetime64[ns]")
        columns[key] = values
    about = {"lake": lake, "notes": "; ".join(history.notes)}
    return columns_dataset(columns, "event", about)


def decision_of(motion, drainings, *, lake="lake", responding=(), beside=(), settings=None):
    """Return whether the ice changes speed when a lake drains, from daily speeds.

    Parameters
    ----------
    motion : xarray.Dataset
        ``day_speed_m_d`` and ``day_speed_sigma_m_d`` by ``station`` and ``day``: speeds of separate
        days, as ``stakeline.motion`` gives them. A smoothed speed will not do: in it the response
        seems to begin before its cause.
    drainings : xarray.Dataset or sequence of (onset, end)
        Of ``stakeline.lakes`` (those that drain), or pairs of datetime64, GPS time. Taken as
        certain here; a campaign carries their uncertainty along.
    lake : str
    responding : sequence of str
        Stations that the water passes; all but those of ``beside`` where none is named.
    beside : sequence of str
        Stations that must not respond.
    settings : dict, optional
        Fields of ``[decide]`` in ``campaign.toml``.

    Returns
    -------
    xarray.Dataset
        Effects by station and event; ``sentence``, ``outcome`` and ``p`` among its attributes.

    Raises
    ------
    SettingsError
        For stations that are not there, settings that are impossible, or no draining.
    """
    need_xarray(INSTEAD)
    part = _settings(DecidePart, settings)
    names = [str(name) for name in motion.station.values]
    responding = tuple(responding) or tuple(name for name in names if name not in beside)
    _known(motion, (*responding, *beside))
    question = _question(part, motion, _pairs(drainings), lake, (responding, tuple(beside)))
    lakes, problems = solve_questions(part, [question])
    for sentence in (*question.left_out, *problems):
        warnings.warn(sentence, stacklevel=3)
    every, _ = decisions(part, lakes)
    rows = effect_rows(lakes)
    columns = {name: np.array([row[name] for row in rows]) for name in EFFECT_NAMES}
    about = {"sentence": every.sentence, "outcome": every.outcome, "p": float(every.p),
             "weakening": "; ".join(every.weakening)}  # fmt: skip
    return columns_dataset(columns, "effect", about)


def _settings(form, given):
    """Return a record of settings from a dict; SettingsError for what it does not know."""
    try:
        return form(**(given or {}))
    except (TypeError, ValueError) as problem:
        raise SettingsError(f"settings {dict(given)}: {problem}") from None


def _known(motion, stations):
    there = [str(name) for name in motion.station.values]
    unknown = [name for name in stations if name not in there]
    if unknown:
        raise SettingsError(
            f"there is no station {', '.join(unknown)}; stations are {', '.join(there)}"
        )


def _station_up(motion, name, control):
    own = motion.sel(station=name)
    up = own[RAW].values
    if not np.isfinite(up).any():
        raise SettingsError(f"{name}: its motion holds no height")
    return StationUp(name, ns(own.time.values), up, np.full(len(up), scatter(up)), control=control)


def _pairs(drainings):
    """Return (n, 2) onsets and ends as GPS time. [ns]"""
    if hasattr(drainings, "onset_median_gps"):
        chosen = drainings.isel(event=drainings.kind.values == "drain")
        times = [chosen.onset_median_gps.values, chosen.end_median_gps.values]
        pairs = np.stack([ns(part) for part in times], axis=1)
    else:
        pairs = ns(np.array([[np.datetime64(t, "ns") for t in pair] for pair in drainings]))
    if not pairs.size:
        raise SettingsError("no draining was given: there is nothing to decide")
    return pairs


def _question(part, motion, pairs, lake, roles):
    """Return the :class:`Question` of one lake; ``roles``: responding stations, placebos."""
    axis, speeds, left_out = daily_speeds(
        [_result(motion, name) for name in (*roles[0], *roles[1])], part.window_d
    )
    responding, placebos = (
        tuple(Speeds(name, *speeds[name][:3], way_percent_d=speeds[name][3])
              for name in some if name in speeds)
        for some in roles
    )  # fmt: skip
    origin = axis[0] if len(axis) else 0.0
    days = pairs / NS_PER_DAY - origin
    dates = pairs[:, 0].view("datetime64[ns]").astype("datetime64[D]")
    names = tuple(f"{lake} {date} drain" for date in dates)
    unknown = np.full(len(pairs), np.nan)
    return Question(
        lake, int(origin * NS_PER_DAY), axis - axis[:1], responding, placebos,
        Events(days[:, 0], days[:, 1]), names, unknown, unknown, left_out=left_out,
    )  # fmt: skip


def _result(motion, name):
    """Return the daily speeds of one station as its results would hold them."""
    own = motion.sel(station=name)
    start = ns(own.day.values) - round(DAY_D * NS_PER_DAY / 2)
    count = len(start)
    windows = {
        "window_d": np.full(count, DAY_D), "axis": np.full(count, "along", object),
        "start_gps": start.view("datetime64[ns]"),
        "end_gps": (start + round(DAY_D * NS_PER_DAY)).view("datetime64[ns]"),
        "velocity_m_d": own.day_speed_m_d.values,
        "velocity_sigma_m_d": own.day_speed_sigma_m_d.values,
    }  # fmt: skip
    return StationResult(name, {}, {}, {}, windows, {}, (), (), ())
