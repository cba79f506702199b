"""Altimetry beside the stations of a lake: levels, agreement, one curve, what passes see."""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import NS_PER_DAY, NS_PER_S
from ..errors import SolutionError
from ..formats.plain_table import write_plain_table
from ..lakes.agreement import agreement, heights_near
from ..lakes.altimetry import lake_levels
from ..lakes.altimetry_maps import map_levels
from ..lakes.level_curve import LevelStation, level_curve
from ..lakes.satellite_view import LIMIT, EventTimes, sightings
from ..report.lake_altimetry_figures import LevelLines, SeenRow, draw_levels, draw_seen
from ..report.style import svg_bytes
from ..time import iso
from .altimetry_input import CampaignAltimetry, altimetry_points

__all__ = [
    "CampaignAltimetry",
    "LakeAltimetry",
    "altimetry_figures",
    "altimetry_files",
    "altimetry_points",
    "altimetry_words",
    "lake_altimetry",
]
LEVELS, MAPS, AGREEMENT = "altimetry_levels.csv", "altimetry_maps.csv", "altimetry_agreement.csv"
SUMMARY, CURVE = "altimetry_summary.csv", "level_curve.csv"
SEEN = "satellite_alone.csv"
LEVELS_FIGURE, SEEN_FIGURE = "altimetry_levels.svg", "satellite_alone.svg"
LEAST_SHARE_SIGMA = 0.02  # -, of a station's share, which the pattern cannot know better; choice


@dataclass(frozen=True, eq=False)
class LakeAltimetry:
    """What altimetry tells of one lake.

    ``levels``: LakeLevels or None; ``maps``: tuple of MapLevels; ``agreements``: {station:
    Agreement}; ``shares``: {station: (share, sigma)}; ``curve``: LevelCurve of stations and passes;
    ``passes_alone``: of passes; ``seen``: tuple of Sighting, or empty where there are no passes;
    ``notes``: sentences, also on what could not be done.
    """

    lake: str
    levels: object
    maps: tuple
    agreements: dict
    shares: dict
    curve: object
    passes_alone: object
    seen: tuple
    notes: tuple


def lake_altimetry(altimetry, outlines, stations=(), places=None, events=(), ice=None, others=()):
    """Return the :class:`LakeAltimetry` of one lake.

    Parameters
    ----------
    altimetry : CampaignAltimetry
    outlines : Outline or sequence of Outline
        Of the lake; of several variants the first counts.
    stations : sequence of StationUp
        Over the lake; controls among them are left aside.
    places : dict
        {station: map point (2,)}; stations without a place are left aside.
    events : sequence of LakeEvent
    ice : Ice, optional
    others : sequence of Outline
        Other lakes near.
    """
    outline = outlines[0] if isinstance(outlines, tuple | list) else outlines
    notes, levels = [], None
    if altimetry.points is not None:
        try:
            levels = lake_levels(altimetry.points, outline, ice, others=others)
            levels = _named(levels, altimetry.track_names)
            notes += levels.notes
        except SolutionError as problem:
            notes.append(str(problem))
    maps = tuple(_maps(altimetry, outline, notes))
    own = [s for s in stations if not s.control and s.station in (places or {})]
    shares, agreements = {}, {}
    if levels is not None:
        for station in own:
            shares[station.station] = levels.share(places[station.station])
            _compare(levels, station, places[station.station], agreements, notes)
    curve, alone = _curves(levels, own, shares)
    seen = sightings(levels, [_times(e) for e in events]) if levels is not None else ()
    return LakeAltimetry(
        outline.name, levels, maps, agreements, shares, curve, alone, seen, tuple(notes)
    )


def _named(levels, names):
    """Return levels whose tracks have the names of the files."""
    tracks = (", ".join(names[int(number)] for number in one.split()) for one in levels.tracks)
    return replace(levels, tracks=tuple(tracks))


def _times(event):
    """Return the :class:`EventTimes` of a :class:`LakeEvent`, medians of its samples."""
    onset, end = (int(event.time_ns(np.median(d))) for d in (event.onset_days(), event.end_days()))
    return EventTimes(event.kind, onset, end, float(np.median(event.change_m)))


def _maps(altimetry, outline, notes):
    for one in altimetry.maps:
        try:
            yield map_levels(one.x_m, one.y_m, one.time_ns, one.dh_m, outline, one.sigma_m)
        except SolutionError as problem:
            notes.append(str(problem))


def _compare(levels, station, place, agreements, notes):
    """Add the agreement of one station, or a note why there is none."""
    near, sigma = heights_near(station.time_ns, station.up_m, station.sigma_m, levels.time_ns)
    height, covariance = levels.at(place)
    try:
        agreements[station.station] = agreement(
            levels.time_ns, height, covariance, near, np.diag(sigma**2)
        )
    except SolutionError as problem:
        notes.append(f"{station.station} against altimetry: {problem}")


def _curves(levels, stations, shares):
    """Return (LevelCurve of all, LevelCurve of passes alone); None where there is nothing."""
    if levels is None:
        return None, None
    spans = [levels.time_ns[[0, -1]], *(s.time_ns[[0, -1]] for s in stations)]
    begin, end = min(s[0] for s in spans), max(s[1] for s in spans)
    begin, end = int(begin) // NS_PER_DAY * NS_PER_DAY, int(end) + NS_PER_DAY
    heights = [
        LevelStation(
            s.station, s.time_ns, s.up_m, np.broadcast_to(s.sigma_m, np.shape(s.up_m)),
            shares[s.station][0], max(shares[s.station][1], LEAST_SHARE_SIGMA), step_ns=s.step_ns,
        )
        for s in stations
    ]  # fmt: skip
    alone = level_curve(begin, end, levels)
    return (level_curve(begin, end, levels, heights) if heights else alone), alone


def altimetry_files(found):
    """Return {name: bytes} of the tables of a :class:`LakeAltimetry`; times are GPS time.

    A table without rows is left out.
    """
    tables = {
        LEVELS: _levels_table(found),
        MAPS: _maps_table(found),
        AGREEMENT: _agreement_table(found),
        SUMMARY: _summary_table(found),
        CURVE: _curve_table(found),
        SEEN: _seen_table(found),
    }
    decimals = {"p_value": 4, "slope": 4, "slope_sigma": 4, "over_sigma": 2, "delay_d": 2}
    decimals |= {"interval_d": 2, "chi_square": 2, "difference_over_sigma": 2}
    return {
        name: write_plain_table(columns, dict.fromkeys(columns, 4) | decimals)
        for name, columns in tables.items()
        if columns and len(next(iter(columns.values())))
    }


def _levels_table(found):
    levels = found.levels
    if levels is None:
        return {}
    level, sigma = levels.since()
    return {
        "time_gps": _seconds(levels.time_ns), "cycle": levels.cycle, "level_m": level,
        "sigma_m": sigma,
        "points_inside": levels.inside, "points_around": levels.around,
        "pass_bias_m": levels.bias_m, "bend_m": levels.bend_m,
        "tracks": np.array(levels.tracks, object),
    }  # fmt: skip


def _maps_table(found):
    if not found.maps:
        return {}
    names = ("change_m", "sigma_m", "inside_m", "around_m", "seen")
    columns = {n: np.concatenate([getattr(m, n) for m in found.maps]) for n in names}
    time_ns = np.concatenate([m.time_ns for m in found.maps])
    return {"time_gps": _seconds(time_ns)} | columns


def _agreement_table(found):
    rows = [
        (station, *row)
        for station, a in found.agreements.items()
        for row in zip(a.time_ns, a.difference_m, a.sigma_m, strict=True)
    ]
    if not rows:
        return {}
    station, time_ns, difference, sigma = map(np.array, zip(*rows, strict=True))
    return {
        "station": station, "time_gps": _seconds(time_ns), "altimetry_minus_station_m": difference,
        "sigma_m": sigma, "difference_over_sigma": difference / sigma,
    }  # fmt: skip


def _summary_table(found):
    items = list(found.agreements.items())
    if not items:
        return {}
    columns = {"station": [n for n, _ in items], "passes": [len(a.time_ns) for _, a in items]}
    columns["share"] = [found.shares[n][0] for n, _ in items]
    columns["share_sigma"] = [found.shares[n][1] for n, _ in items]
    names = ("offset_m", "offset_sigma_m", "slope", "slope_sigma", "chi_square", "freedom")
    columns |= {n: [getattr(a, n) for _, a in items] for n in (*names, "p_value")}
    return {n: np.array(v) for n, v in columns.items()}


def _curve_table(found):
    if found.curve is None:
        return {}
    alone = found.passes_alone
    return {
        "time_gps": found.curve.time_ns, "level_m": found.curve.level_m,
        "sigma_m": found.curve.sigma_m, "passes_alone_m": alone.level_m,
        "passes_alone_sigma_m": alone.sigma_m,
    }  # fmt: skip


def _seen_table(found):
    if not found.seen:
        return {}
    times = found.levels.time_ns
    columns = {name: [] for name in _SEEN_NAMES}
    for s in found.seen:
        passes = [None if k is None else times[k] for k in (s.before, s.after, s.known)]
        row = [s.event.kind, s.event.onset_ns, s.event.end_ns, s.event.change_m, s.verdict, *passes]
        row += [s.change_m, s.sigma_m, s.over_sigma, s.delay_d, *(s.interval_ns or (None, None))]
        for name, value in zip(_SEEN_NAMES, [*row, s.width_d], strict=True):
            columns[name].append(value)
    return {n: _column(n, v) for n, v in columns.items()}


_SEEN_NAMES = (
    *("kind", "onset_gps", "end_gps", "change_m", "verdict"),
    *("last_pass_before_gps", "first_pass_after_gps", "known_with_pass_gps"),
    *("seen_change_m", "seen_sigma_m", "over_sigma", "delay_d"),
    *("onset_after_gps", "onset_before_gps", "interval_d"),
)


def _column(name, values):
    """Return an array of a column; times that are missing become empty."""
    if name.endswith("_gps") and any(v is None for v in values):
        texts = ["" if v is None else iso(_seconds(v)) for v in values]
        return np.array(texts, object)
    return _seconds(values) if name.endswith("_gps") else np.array(values)


def _seconds(time_ns):
    """Return times to the second. [ns]"""
    return (np.asarray(time_ns, np.int64) + NS_PER_S // 2) // NS_PER_S * NS_PER_S


def altimetry_figures(found):
    """Return {name: bytes} of the figures of a :class:`LakeAltimetry`, as SVG."""
    files = {}
    levels = found.levels
    if levels is None:
        return files
    curve, alone = found.curve, found.passes_alone
    _, sigma = levels.since()
    sigma[0] = sigma[1:].min()  # of a difference; the first pass by itself has none
    times = tuple((s.event.kind, s.event.onset_ns, s.event.end_ns) for s in found.seen)
    lines = LevelLines(
        found.lake, curve.time_ns, curve.level_m, curve.sigma_m, alone.level_m, alone.sigma_m,
        levels.time_ns, levels.level_m, sigma, times,
    )  # fmt: skip
    files[LEVELS_FIGURE] = svg_bytes(draw_levels(lines, "\n".join(_agreement_words(found))))
    if found.seen:
        rows = [_seen_row(levels, s) for s in found.seen]
        files[SEEN_FIGURE] = svg_bytes(draw_seen(found.lake, rows, levels.time_ns, _SEEN_NOTE))
    return files


_SEEN_NOTE = (
    f"Seen: the level differs from that of the last pass before by more than {LIMIT:g} sigma. "
    "A lake that drains and fills again between two passes shows nothing."
)


def _agreement_words(found):
    """Return a sentence for each station on how altimetry agrees with it."""
    return [
        f"{name}: {len(a.time_ns)} passes, chi-square {a.chi_square:.1f} of {a.freedom} "
        f"(p {a.p_value:.2g}), slope {a.slope:.3f} ± {a.slope_sigma:.3f}"
        for name, a in found.agreements.items()
    ]


def altimetry_words(found):
    """Return sentences on what altimetry tells of a lake."""
    levels = found.levels
    if levels is None:
        lines = [f"{found.lake}: no level from passes"]
    else:
        span = " to ".join(iso(_seconds(t))[:10] for t in levels.time_ns[[0, -1]])
        lines = [f"{found.lake}: {len(levels.time_ns)} levels from passes, {span}"]
    lines += [f"against {sentence}" for sentence in _agreement_words(found)]
    for one in found.seen:
        event, row = one.event, _seen_row(levels, one)
        day = iso(_seconds(event.onset_ns))[:10]
        lines.append(f"by the satellite alone, {event.kind} of {day}: {row.words}")
    return [*lines, *(f"note: {note}" for note in found.notes)]


def _seen_row(levels, seen):
    """Return the line of one event in the panel."""
    if seen.known is None:
        words = seen.verdict
        if np.isfinite(seen.change_m):
            words += f": {seen.change_m:+.2f} m to the next pass, {seen.over_sigma:+.1f} sigma"
        return SeenRow(seen.event.kind, seen.event.onset_ns, seen.event.end_ns, None, None, words)
    change, sigma = levels.change(seen.before, seen.known)
    words = f"{change:+.2f} m, {change / sigma:+.0f} sigma, known after {seen.delay_d:.0f} d"
    return SeenRow(
        seen.event.kind, seen.event.onset_ns, seen.event.end_ns, *seen.interval_ns, words
    )
