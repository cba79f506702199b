"""Figures: a lake's level by stations and satellite, and what the satellite alone sees."""

from dataclasses import dataclass

import numpy as np

from .style import (
    BAND,
    DEEP,
    INK,
    PALE,
    WARM,
    WARM_BAND,
    WATER,
    band,
    footnote,
    hold,
    line,
    new_figure,
    styled,
    time_axis,
)

HALF_95 = 1.96  # sigmas of half a 95 % interval; normal distribution


@dataclass(frozen=True)
class LevelLines:
    """Curves and passes of one lake.

    ``time_ns``, ``level_m``, ``sigma_m`` (n,): of stations and passes together; ``passes_alone_m``,
    ``passes_alone_sigma_m`` (n,): of passes; ``pass_ns``, ``pass_m``, ``pass_sigma_m`` (p,);
    ``events``: (kind, onset, end) in GPS time [ns]; ``source``, ``one``: what gives the levels, and
    one of them, as words.
    """

    lake: str
    time_ns: np.ndarray
    level_m: np.ndarray
    sigma_m: np.ndarray
    passes_alone_m: np.ndarray
    passes_alone_sigma_m: np.ndarray
    pass_ns: np.ndarray
    pass_m: np.ndarray
    pass_sigma_m: np.ndarray
    events: tuple = ()
    source: str = "passes"
    one: str = "pass"


@dataclass(frozen=True)
class SeenRow:
    """One event as passes see it; times in GPS time, None where there is none. [ns]

    ``begin_ns``, ``known_ns``: of the interval that passes alone give for the onset; ``words``:
    what is written beside it.
    """

    kind: str
    onset_ns: int
    end_ns: int
    begin_ns: int | None
    known_ns: int | None
    words: str


@styled
def draw_levels(lines, note=""):
    """Return the figure of a lake's level: both curves with 95 % intervals, passes, events."""
    figure = new_figure(9.0, 5.6, f"{lines.lake}: level by stations and satellite")
    upper, lower = figure.subplots(2, 1, sharex=True, sharey=True)
    time = lines.time_ns.astype("datetime64[ns]")
    passes = lines.pass_ns.astype("datetime64[ns]")
    together, by_it = f"stations and {lines.source} together", f"{lines.source} alone"
    curves = (
        (upper, lines.level_m, lines.sigma_m, DEEP, BAND, together),
        (lower, lines.passes_alone_m, lines.passes_alone_sigma_m, WARM, WARM_BAND, by_it),
    )
    for axis, level, sigma, colour, shade, name in curves:
        _shade_events(axis, lines.events)
        band(axis, time, level, HALF_95 * sigma, shade)
        here = np.interp(lines.pass_ns, lines.time_ns, level)
        shift = np.average(here - lines.pass_m, weights=lines.pass_sigma_m**-2.0)
        line(axis, time, level, color=colour, linewidth=1.4, label=f"{name}, 95 %")
        axis.errorbar(
            passes, lines.pass_m + shift, HALF_95 * lines.pass_sigma_m, color=INK, fmt="o",
            markersize=3.2, linewidth=0.9, capsize=2.0, label=f"{lines.one} of the lake, 95 %",
        )  # fmt: skip
        axis.set_ylabel("level (m)")
        axis.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), frameon=False, fontsize=8, ncols=4)
    hold(upper, lines.level_m, lines.passes_alone_m, margin=0.25)
    time_axis(lower)
    footnote(figure, note)
    return figure


def _shade_events(axis, events):
    """Shade the time of each event: drainings darker."""
    named = set()
    for kind, onset, end in events:
        colour = PALE if kind == "drain" else WATER
        ends = np.array([onset, end], np.int64).astype("datetime64[ns]")
        word = "drains" if kind == "drain" else "fills"
        label = None if kind in named else f"{word} (by stations)"
        axis.axvspan(*ends, color=colour, alpha=0.45, linewidth=0.0, label=label)
        named.add(kind)


@styled
def draw_seen(lake, rows, pass_ns, note="", source="passes", one="pass"):
    """Return the panel of what the satellite alone would have seen: one line an event.

    Parameters
    ----------
    lake : str
    rows : sequence of SeenRow
    pass_ns : int64 array (p,)
        Passes over the lake, or other times of levels.
    note : str
    source, one : str
        What gives the levels, and one of them.
    """
    title = f"{lake}: what the satellite alone would have seen"
    figure = new_figure(9.0, 1.9 + 0.42 * len(rows), title)
    axis = figure.subplots()
    for time_ns in np.asarray(pass_ns, np.int64).astype("datetime64[ns]"):
        axis.axvline(time_ns, color=PALE, linewidth=0.7, linestyle=(0, (2, 2)))
    ends = [t for row in rows for t in (row.onset_ns, row.end_ns)]
    late_ns = np.quantile([*pass_ns, *ends], [0.0, 1.0]) @ (0.35, 0.65)
    for place, row in enumerate(rows):
        _draw_row(axis, place, row, row.onset_ns > late_ns)
    axis.set_yticks(range(len(rows)), [_name(row) for row in rows])
    axis.set_ylim(len(rows) - 0.4, -0.9)
    axis.grid(visible=False)
    axis.tick_params(axis="y", length=0)
    _key(axis, source, one)
    time_axis(axis)
    footnote(figure, note)
    return figure


def _name(row):
    day = np.int64(row.onset_ns).view("datetime64[ns]").astype("datetime64[D]")
    return f"{'drains' if row.kind == 'drain' else 'fills'} {day}"


def _draw_row(axis, place, row, leftward):
    """Draw one event; its words end at the onset where they would leave the panel."""
    onset, end = np.array([row.onset_ns, row.end_ns], np.int64).astype("datetime64[ns]")
    if row.known_ns is not None:
        ends = np.array([row.begin_ns, row.known_ns], np.int64).astype("datetime64[ns]")
        axis.plot(
            ends, [place, place], color=WARM, linewidth=7.0, alpha=0.55, solid_capstyle="butt"
        )
        axis.plot(ends[1:], [place], marker="D", markersize=5.0, color=INK, linestyle="none")
    colour = DEEP if row.known_ns is not None else INK
    axis.plot([onset, end], [place, place], color=colour, linewidth=2.6, solid_capstyle="butt")
    axis.plot([onset], [place], marker="|", markersize=12, color=colour)
    axis.annotate(
        row.words, (onset, place), xytext=(0, 8), textcoords="offset points", fontsize=7.5,
        ha="right" if leftward else "left",
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6, "alpha": 0.85},
    )  # fmt: skip


def _key(axis, source, one):
    """Explain the marks above the panel."""
    looks = (
        ({"color": DEEP, "linewidth": 2.6}, "event by stations"),
        ({"color": WARM, "linewidth": 7.0, "alpha": 0.55}, f"onset by {source} alone"),
        ({"color": INK, "marker": "D", "linestyle": "none", "markersize": 5.0}, "known with it"),
        ({"color": PALE, "linewidth": 0.7, "linestyle": (0, (2, 2))}, one),
    )
    for how, words in looks:
        axis.plot([], [], label=words, **how)
    axis.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), frameon=False, fontsize=8, ncols=4)
