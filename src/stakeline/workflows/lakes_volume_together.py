"""Volumes of dated events by stations, by passes, and by both: table and words of one lake."""

from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError, SolutionError
from ..formats.plain_table import write_plain_table
from ..lakes.event_record import interval
from ..lakes.pass_changes import pass_changes
from ..lakes.volume import MEASURED, OF_ICE, event_volume
from ..lakes.volume_together import AGREE, DISAGREE_P, TogetherVolume, together
from .lakes_ground import ice_thickness, measured_pattern
from .lakes_places import tracks
from .lakes_solve import LakeChoice, LakeProblem, drawn_for

TABLE = "volume_together.csv"
BY_BOTH = "by stations and"  # in every sentence on a volume of both
NOT_SEEN = "passes do not size it"
_WORDS = ("low", "median", "high")
_DECIMALS = {"difference_m": 3, "difference_sigma_m": 3, "over_sigma": 2, "p_value": 4}


@dataclass(frozen=True, eq=False)
class EventTogether:
    """One event: its dict of the summary, passes within the record, what both say or why not."""

    told: dict
    passes: int
    found: TogetherVolume | None
    stations_m3: np.ndarray
    why: str = ""


def volumes_together(campaign, result, told, variants, levels):
    """Return the tuple of :class:`EventTogether` of one lake's events.

    Parameters
    ----------
    campaign : Campaign
    result : LakeResult
    told : sequence of dict
        The events of the summary as people have reviewed them; those rejected are left out.
    variants : sequence of Outline
        Of the lake; levels are of the first.
    levels : LakeLevels or GivenLevels
    """
    pairs = [p for p in zip(result.events(), told, strict=True) if p[1]["status"] != "rejected"]
    events = [event for event, _ in pairs]
    first, last = (int(t) for t in result.time_ns[[0, -1]])
    wander = result.told["noise"]["acceleration_m2_d3"]
    changes = pass_changes(levels, events, first, last, wander)
    try:
        problem = _problem(campaign, result, variants)
    except SettingsError as why:
        return tuple(_without(t, c, str(why)) for (_, t), c in zip(pairs, changes, strict=True))
    return tuple(
        _together(problem, event, one, change)
        for (event, one), change in zip(pairs, changes, strict=True)
    )


def _problem(campaign, result, variants):
    """Return the LakeProblem of a result, as far as volumes need it."""
    over = [r["station"] for r in result.told["roles"] if r["role"] == "over"]
    choice, thickness = LakeChoice(**result.told["settings"]), None
    try:
        thickness = ice_thickness(campaign, variants[0])
    except SettingsError:
        if choice.shape in OF_ICE:
            raise
    pattern = measured_pattern(campaign, result.lake) if choice.shape == MEASURED else {}
    return LakeProblem(
        result.lake, (), tracks(campaign, over, variants[0].epsg), variants, thickness, "",
        choice, (), pattern,
    )  # fmt: skip


def _without(told, change, why):
    return EventTogether(told, change.passes, None, np.empty(0), change.why or why)


def _together(problem, event, told, change):
    """Return the :class:`EventTogether` of one event."""
    if change.why:
        return _without(told, change, change.why)
    drawn = drawn_for(problem)
    middle = event.time_ns(np.median(event.peak_days()))
    place = {n: problem.tracks[n].at(middle) for n in event.station_m if n in problem.tracks}
    if not place:
        return _without(told, change, "no station over the lake holds the whole event")
    try:
        volume = event_volume(
            event, drawn, place, problem.ice, problem.stream("volume"), problem.spread,
            problem.choice.shape, over=problem.outlines[0], pattern=problem.pattern,
        )  # fmt: skip
    except SolutionError as why:
        return _without(told, change, str(why))
    found = together(volume, change, problem.stream(f"together {told['event']}"))
    return EventTogether(told, change.passes, found, volume.volume_m3)


def together_table(rows, source="passes"):
    """Return the bytes of the table; numbers are missing where there are none."""
    columns = {key: [row.told[key] for row in rows] for key in ("event", "kind")}
    columns["onset_median_gps"] = [row.told["onset_median_gps"] for row in rows]
    columns["passes"] = [row.passes for row in rows]
    columns["verdict"] = [row.found.verdict if row.found else NOT_SEEN for row in rows]
    names = {"difference_m": "difference_m", "difference_sigma_m": "sigma_m"}
    names |= {"over_sigma": "over_sigma", "p_value": "p_value"}
    for name, key in names.items():
        columns[name] = [getattr(row.found, key) if row.found else np.nan for row in rows]
    decimals = dict(_DECIMALS)
    for name, pick in _SAMPLES.items():
        ranges = [_range(pick(row)) for row in rows]
        for k, word in enumerate(_WORDS):
            columns[f"{name}_{word}"] = [r[k] for r in ranges]
            decimals[f"{name}_{word}"] = 0 if name.startswith("volume") else 3
    columns["why"] = [_why(row, source) for row in rows]
    columns["source"] = [source] * len(rows)
    return write_plain_table({k: np.array(v) for k, v in columns.items()}, decimals)


def _both(name):
    """Return a function from a row to samples of what both say together."""
    return lambda row: row.found.together.get(name, ()) if row.found else ()


_SAMPLES = {
    "level_m_stations": lambda row: row.found.by_stations_m if row.found else (),
    "level_m_passes": lambda row: row.found.by_passes_m if row.found else (),
    "volume_m3_stations": lambda row: row.stations_m3,
    "volume_m3_passes": lambda row: row.found.passes_m3 if row.found else (),
    "volume_m3_together": _both("volume_m3"),
    "mean_m3_s_together": _both("mean_m3_s"),
    "peak_m3_s_together": _both("peak_m3_s"),
}


def _range(samples):
    """Return (low, median, high); NaN without samples."""
    return interval(samples) if len(samples) else (np.nan,) * 3


def together_words(lake, rows, source="passes"):
    """Return a sentence for each event; ``source``: what gave the levels."""
    return [_sentence(lake, row, source) for row in rows]


def _why(row, source):
    return row.why.replace("passes", source)


def _sentence(lake, row, source):
    day = row.told["onset_median_gps"][:10]
    head = f"{lake}, {row.told['kind']} of {day} {BY_BOTH} {source}"
    if row.found is None:
        return f"{head}: no volume of both: {_why(row, source)}"
    found = row.found
    change = (
        f"mean of the surface {_amount(found.by_stations_m, 1.0, '+.2f')} m by stations, "
        f"{_amount(found.by_passes_m, 1.0, '+.2f')} m by {row.passes} {source}"
    )
    sure = f"{found.over_sigma:+.1f} sigma, p {found.p_value:.2g}"
    alone = (
        f"{_amount(row.stations_m3)} million m3 by stations, {_amount(found.passes_m3)} by {source}"
    )
    if found.verdict != AGREE:
        return (
            f"{head}: {change}: they disagree ({sure}, less than {DISAGREE_P:g}); "
            f"{alone}; not put together: look at outline, ice, controls, points of the {source}"
        )
    return (
        f"{head}: {change}: they agree ({sure}); {alone}, "
        f"{_amount(found.together['volume_m3'])} together"
    )


def _amount(samples, scale=1e-6, form=".1f"):
    low, middle, high = (f"{scale * v:{form}}" for v in interval(samples))
    return f"{middle} ({low} to {high})"
