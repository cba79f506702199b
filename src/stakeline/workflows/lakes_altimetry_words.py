"""Figures and sentences of what altimetry tells of a lake."""

import numpy as np

from ..lakes.satellite_view import LIMIT
from ..report.lake_altimetry_figures import LevelLines, SeenRow, draw_levels, draw_seen
from ..report.style import svg_bytes
from ..time import iso
from .lakes_altimetry_tables import seconds, side_name, word

LEVELS_FIGURE, SEEN_FIGURE = "altimetry_levels.svg", "satellite_alone.svg"
ONE = {"passes": "pass", "maps": "map", "series": "value"}  # of the levels of a source


def altimetry_figures(found):
    """Return {name: bytes} of the figures of a :class:`LakeAltimetry`, as SVG."""
    files = {}
    for side in found.sides:
        files[side_name(LEVELS_FIGURE, found, side)] = svg_bytes(
            draw_levels(_lines(found, side), "\n".join(_agreement_words(side)))
        )
        if side.seen:
            rows = [_seen_row(side, s) for s in side.seen]
            words = (_seen_note(ONE[word(side)]), word(side), ONE[word(side)])
            figure = draw_seen(found.lake, rows, side.levels.time_ns, *words)
            files[side_name(SEEN_FIGURE, found, side)] = svg_bytes(figure)
    return files


def _lines(found, side):
    """Return the :class:`LevelLines` of one side."""
    levels, curve, alone = side.levels, side.curve, side.alone
    _, sigma = levels.since()
    sigma[0] = sigma[1:].min()  # of a difference; the first one by itself has none
    times = tuple((s.event.kind, s.event.onset_ns, s.event.end_ns) for s in side.seen)
    return LevelLines(
        found.lake, curve.time_ns, curve.level_m, curve.sigma_m, alone.level_m, alone.sigma_m,
        levels.time_ns, levels.level_m, sigma, times, word(side), ONE[word(side)],
    )  # fmt: skip


def _seen_note(one):
    return (
        f"Seen: the level differs from that of the last {one} before by more than {LIMIT:g} sigma. "
        f"A lake that drains and fills again between two of them shows nothing."
    )


def _agreement_words(side):
    """Return a sentence for each station on how altimetry agrees with it."""
    number = {"passes": "passes", "maps": "maps", "series": "values"}[word(side)]
    return [
        f"{name}: {len(a.time_ns)} {number}, chi-square {a.chi_square:.1f} of {a.freedom} "
        f"(p {a.p_value:.2g}), slope {a.slope:.3f} ± {a.slope_sigma:.3f}"
        for name, a in side.agreements.items()
    ]


def altimetry_words(found):
    """Return sentences on what altimetry tells of a lake."""
    lines = [] if found.sides else [f"{found.lake}: no level from passes, maps or series"]
    for side in found.sides:
        lines += _side_words(found.lake, side)
    return [*lines, *(f"note: {note}" for note in found.notes)]


def _side_words(lake, side):
    levels = side.levels
    span = " to ".join(iso(seconds(t))[:10] for t in levels.time_ns[[0, -1]])
    yield f"{lake}: {len(levels)} levels from {side.source}, {span}"
    for sentence in _agreement_words(side):
        yield f"against {sentence}"
    by = "by the satellite alone" if side.source == "passes" else f"by {side.source} alone"
    for one in side.seen:
        day = iso(seconds(one.event.onset_ns))[:10]
        yield f"{by}, {one.event.kind} of {day}: {_seen_row(side, one).words}"


def _seen_row(side, seen):
    """Return the line of one event in the panel."""
    if seen.known is None:
        words = seen.verdict
        if np.isfinite(seen.change_m):
            one = ONE[word(side)]
            words += f": {seen.change_m:+.2f} m to the next {one}, {seen.over_sigma:+.1f} sigma"
        return SeenRow(seen.event.kind, seen.event.onset_ns, seen.event.end_ns, None, None, words)
    change, sigma = side.levels.change(seen.before, seen.known)
    words = f"{change:+.2f} m, {change / sigma:+.0f} sigma, known after {seen.delay_d:.0f} d"
    return SeenRow(
        seen.event.kind, seen.event.onset_ns, seen.event.end_ns, *seen.interval_ns, words
    )
