"""Figure: when the water of dated drainings passes the stations downstream."""

from dataclasses import dataclass

import numpy as np

from .style import DEEP, INK, RUST, WARM, WATER, footnote, new_figure, styled, time_axis

_APART = 0.16  # of the step of a row, between front and peak


@dataclass(frozen=True)
class PassedStation:
    """One station: distance, probability, times of front and peak at 2.5 to 97.5 %. [ns]"""

    station: str
    along_km: float
    probability: float
    front_ns: tuple
    peak_ns: tuple


@dataclass(frozen=True)
class LakePassings:
    """Drainings of one lake.

    ``panels``: for each draining (onset, peak: low, median, high in GPS time [ns]; stations, the
    nearest first; lakes below that began to fill: name, distance [km], onset low, median, high).
    """

    lake: str
    panels: tuple
    note: str = ""


@styled
def draw_passings(record):
    """Return the figure: a panel for each draining, a row for each station by distance."""
    rows = [len(panel[2]) + len(panel[3]) + 1 for panel in record.panels]
    height = 1.5 + sum(0.9 + 0.3 * count for count in rows)
    figure = new_figure(9.0, height, f"{record.lake}: when its water passes")
    axes = figure.subplots(len(rows), 1, squeeze=False, height_ratios=[3 + n for n in rows])[:, 0]
    for axis, panel in zip(axes, record.panels, strict=True):
        _panel(axis, *panel)
    _key(axes[0], any(panel[3] for panel in record.panels))
    footnote(figure, record.note)
    return figure


def _panel(axis, onset, peak, stations, lakes):
    """Draw one draining: the lake itself, then what lies below it by distance."""
    rows = [(0.0, "leaves the lake", None)]
    rows += [(s.along_km, _name(s), s) for s in stations]
    rows += [(along, f"{name} fills, {along:.1f} km", span) for name, along, span in lakes]
    rows.sort(key=lambda row: row[0])
    for place, (_, _, what) in enumerate(rows):
        if what is None:
            _span(axis, place - _APART, onset, DEEP)
            _span(axis, place + _APART, peak, WARM)
        elif isinstance(what, tuple):
            _span(axis, place, what, RUST)
        else:
            _whisker(axis, place - _APART, what.front_ns, DEEP)
            _whisker(axis, place + _APART, what.peak_ns, WARM)
    axis.axvspan(_time(onset[0]), _time(onset[2]), color=WATER, alpha=0.6, linewidth=0.0)
    axis.set_yticks(range(len(rows)), [name for _, name, _ in rows])
    axis.set_ylim(len(rows) - 0.4, -0.7)
    axis.tick_params(axis="y", length=0)
    axis.grid(visible=False, axis="y")
    time_axis(axis)


def _name(station):
    return f"{station.station}, {station.along_km:.1f} km ({station.probability:.2f})"


def _whisker(axis, place, times, colour):
    """Draw 95 % thin, the middle half thick, the median as a mark."""
    ends = [_time(t) for t in times]
    axis.plot([ends[0], ends[4]], [place] * 2, color=colour, linewidth=1.0)
    axis.plot([ends[1], ends[3]], [place] * 2, color=colour, linewidth=4.5, solid_capstyle="butt")
    axis.plot(
        [ends[2]], [place], marker="o", markersize=4.6, color="white", markeredgecolor=INK,
        markeredgewidth=0.8, linestyle="none",
    )  # fmt: skip


def _span(axis, place, times, colour):
    ends = [_time(t) for t in times]
    axis.plot([ends[0], ends[2]], [place] * 2, color=colour, linewidth=1.0)
    axis.plot([ends[1]], [place], marker="D", markersize=4.2, color=colour, linestyle="none")


def _time(time_ns):
    return np.int64(time_ns).view("datetime64[ns]")


def _key(axis, filled):
    """Explain the marks above the first panel; ``filled``: fillings below are drawn."""
    looks = [
        ({"color": DEEP, "linewidth": 4.5}, "front of the water"),
        ({"color": WARM, "linewidth": 4.5}, "most of the water"),
    ]
    if filled:
        rust = {"color": RUST, "marker": "D", "markersize": 4.2}
        looks.append((rust, "onset of a filling below, as dated"))
    for how, words in looks:
        axis.plot([], [], label=words, **how)
    axis.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), frameon=False, fontsize=8, ncols=4)
