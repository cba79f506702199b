"""Figure: motion found by a solution against the true motion of an invented station."""

import io
import re
from dataclasses import dataclass

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure

TRUE, FOUND, BAND, INK = "#e69f00", "#00466e", "#c9d6df", "#333333"  # apart in grey too
AXES = ("east", "north", "up")
_STYLE = {
    "font.size": 8.5,
    "font.family": "sans-serif",
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#e3e3e3",
    "grid.linewidth": 0.5,
    "text.color": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.major.width": 0.6,
    "ytick.major.width": 0.6,
    "svg.fonttype": "none",
    "svg.hashsalt": "stakeline",
}


@dataclass(frozen=True)
class Recovered:
    """What one column of the figure shows; NaN rows break the lines.

    ``hours`` (n,) since the start; ``along_m``, ``height_m`` are (n, 2), true and found;
    ``error_m`` and ``half_width_m`` (n, 3) are found minus true and half the 95 % interval, east,
    north, up.
    """

    title: str
    hours: np.ndarray
    along_m: np.ndarray
    height_m: np.ndarray
    error_m: np.ndarray
    half_width_m: np.ndarray


def draw(stations, title, start):
    """Return the figure of :class:`Recovered` stations, one column each.

    Parameters
    ----------
    stations : sequence of Recovered
    title : str
    start : str
        What the hours are counted from.
    """
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(9.0, 7.6), layout="constrained")
        grid = figure.subplots(
            5, len(stations), sharex=True, squeeze=False, height_ratios=[1.5, 1.2, 1, 1, 1]
        )
        figure.suptitle(title, x=0.01, ha="left", fontsize=11, fontweight="bold")
        for column, station in zip(grid.T, stations, strict=True):
            _motions(column[:2], station)
            _errors(column[2:], station)
            column[0].set_title(station.title, loc="left", fontsize=9)
            column[-1].set_xlabel(f"hours since {start}")
            column[-1].set_xlim(0.0, np.nanmax(station.hours))
            column[-1].set_xticks(np.arange(0.0, np.nanmax(station.hours) + 1.0, 6.0))
        _even(grid)
        figure.align_ylabels(grid[:, 0])
    return figure


def _motions(axes, station):
    for axis, (true, found), name in (
        (axes[0], station.along_m.T, "along flow (m)"),
        (axes[1], station.height_m.T, "height (m)"),
    ):
        axis.plot(station.hours, true, color=TRUE, linewidth=4.0, solid_capstyle="butt")
        axis.plot(station.hours, found, color=FOUND, linewidth=1.0)
        axis.set_ylabel(name)
    axes[0].plot([], [], color=TRUE, linewidth=4.0, label="true")
    axes[0].plot([], [], color=FOUND, linewidth=1.0, label="found")
    axes[0].legend(loc="upper left", frameon=False, handlelength=1.8)


def _errors(axes, station):
    for k, axis in enumerate(axes):
        width, error = 1e3 * station.half_width_m[:, k], 1e3 * station.error_m[:, k]
        axis.fill_between(station.hours, -width, width, color=BAND, linewidth=0.0)
        axis.axhline(0.0, color=INK, linewidth=0.5)
        axis.plot(station.hours, error, color=FOUND, linewidth=0.8)
        axis.set_ylabel(f"{AXES[k]} (mm)")
    axes[0].set_title("found less true; band: 95 %", loc="right", fontsize=8, pad=2.0)


def _even(grid):
    """Give the panels of a row the same range; east and north share theirs."""
    for rows in ((0,), (1,), (2, 3), (4,)):
        panels = [panel for row in rows for panel in grid[row]]
        limits = np.array([panel.get_ylim() for panel in panels])
        for panel in panels:
            panel.set_ylim(limits[:, 0].min(), limits[:, 1].max())


def svg_bytes(figure):
    """Return a figure as SVG: the same figure gives the same bytes, coordinates to 0.01 pt."""
    sink = io.StringIO()
    with mpl.rc_context(_STYLE):
        figure.savefig(sink, format="svg", metadata={"Date": None, "Creator": None})
    short = re.sub(r"(-?\d+\.\d\d)\d+(?=[ \"\n,)])", r"\1", sink.getvalue())
    return short.encode("utf-8")
