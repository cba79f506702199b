"""The figure of the snow below an antenna: how high it stands, when it was moved."""

from dataclasses import dataclass

import numpy as np

from .style import DEEP, INK, PALE, RUST, WARM, footnote, hold, new_figure, styled, time_axis


@dataclass(frozen=True)
class SnowHeights:
    """Heights of an antenna above the snow, (n,), with half their 95 % intervals.

    ``logged_m`` (n,) is its height above the marker by the log. ``line_ns``, ``line_m`` (k,) are
    the straight line through the last weeks, on to where it is drawn; ``least_m`` the height below
    which it is warned. ``visits_ns`` are marked.
    """

    title: str
    time_ns: np.ndarray
    height_m: np.ndarray
    half_width_m: np.ndarray
    logged_m: np.ndarray
    visits_ns: np.ndarray
    least_m: float
    line_ns: np.ndarray
    line_m: np.ndarray
    note: str = ""


@styled
def draw_snow(record):
    """Return the figure of :class:`SnowHeights`."""
    figure = new_figure(9.0, 3.6, record.title)
    axis = figure.subplots()
    time = record.time_ns.astype("datetime64[ns]")
    axis.step(
        time, record.logged_m, where="mid", color=PALE, linewidth=1.4, linestyle=(0, (5, 2)),
        label="above the marker, by the log",
    )  # fmt: skip
    there = np.isfinite(record.height_m)
    axis.errorbar(
        time[there], record.height_m[there], yerr=record.half_width_m[there], fmt="o",
        markersize=2.8, color=DEEP, ecolor=DEEP, elinewidth=0.9, zorder=3,
        label="above the snow, by reflections (95 %)",
    )  # fmt: skip
    if record.line_ns.size:
        axis.plot(
            record.line_ns.astype("datetime64[ns]"), record.line_m, color=WARM, linewidth=1.8,
            label="line through the last weeks",
        )  # fmt: skip
    axis.axhline(record.least_m, color=INK, linewidth=0.9, linestyle=(0, (1, 2)))
    axis.annotate(
        "nearer: may be buried", (0.0, record.least_m), (2, 2), textcoords="offset points",
        xycoords=axis.get_yaxis_transform(), fontsize=7.5,
    )  # fmt: skip
    for k, visit in enumerate(record.visits_ns.astype("datetime64[ns]")):
        looks = {"color": RUST, "linewidth": 1.0, "linestyle": (0, (4, 1, 1, 1)), "zorder": 1.5}
        axis.axvline(visit, label=None if k else "visit", **looks)
    edges = (record.height_m - record.half_width_m, record.height_m + record.half_width_m)
    hold(axis, *edges, record.logged_m, record.line_m, np.array([0.0, record.least_m]))
    axis.set_ylabel("height of the antenna (m)")
    time_axis(axis)
    axis.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4, frameon=False, fontsize=8)
    footnote(figure, record.note)
    return figure
