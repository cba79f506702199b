"""Figure: motion found by a solution against the true motion of an invented station."""

from dataclasses import dataclass

import numpy as np

from .style import BAND, DEEP, INK, WARM, new_figure, styled

AXES = ("east", "north", "up")


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


@styled
def draw(stations, title, start):
    """Return the figure of :class:`Recovered` stations, one column each.

    Parameters
    ----------
    stations : sequence of Recovered
    title : str
    start : str
        What the hours are counted from.
    """
    figure = new_figure(9.0, 7.6, title)
    grid = figure.subplots(
        5, len(stations), sharex=True, squeeze=False, height_ratios=[1.5, 1.2, 1, 1, 1]
    )
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
        axis.plot(station.hours, true, color=WARM, linewidth=4.0, solid_capstyle="butt")
        axis.plot(station.hours, found, color=DEEP, linewidth=1.0)
        axis.set_ylabel(name)
    axes[0].plot([], [], color=WARM, linewidth=4.0, label="true")
    axes[0].plot([], [], color=DEEP, linewidth=1.0, label="found")
    axes[0].legend(loc="upper left", frameon=False, handlelength=1.8)


def _errors(axes, station):
    for k, axis in enumerate(axes):
        width, error = 1e3 * station.half_width_m[:, k], 1e3 * station.error_m[:, k]
        axis.fill_between(station.hours, -width, width, color=BAND, linewidth=0.0)
        axis.axhline(0.0, color=INK, linewidth=0.5)
        axis.plot(station.hours, error, color=DEEP, linewidth=0.8)
        axis.set_ylabel(f"{AXES[k]} (mm)")
    axes[0].set_title("found less true; band: 95 %", loc="right", fontsize=8, pad=2.0)


def _even(grid):
    """Give the panels of a row the same range; east and north share theirs."""
    for rows in ((0,), (1,), (2, 3), (4,)):
        panels = [panel for row in rows for panel in grid[row]]
        limits = np.array([panel.get_ylim() for panel in panels])
        for panel in panels:
            panel.set_ylim(limits[:, 0].min(), limits[:, 1].max())
