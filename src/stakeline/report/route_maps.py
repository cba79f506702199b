"""Figures: where the lakes' water may run, on the map and along the way."""

from dataclasses import dataclass, field

import numpy as np
from matplotlib.colors import ListedColormap
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from .map_parts import Ground, draw_ground, map_sheet, name_sides, nice_below
from .style import DEEP, INK, PALE, RUST, WARM, WATER, footnote, new_figure, styled

ODDS = (0.05, 0.25, 0.5, 0.75, 1.0)  # -, edges of the shades; choice
_SHADES = ("#e3ecf1", "#b4cddb", "#7fa9c2", "#4a82a4")
_LAND, _ICE = "#cfc8bf", "#f1f6f9"
_MARGIN = 0.06  # of the longer side of the map
_LEAST_SHARE = 0.3  # of the longer side of a map: no map is a thread
_LIKELY = 0.5  # from which a station's name is printed bold
_NAME_SHARE = 0.06  # of the way: closer stations write to either side of their poles; choice
_TICKS = {0.1: "6 min", 0.5: "30 min", 2: "2 h", 6: "6 h", 24: "1 d", 72: "3 d", 240: "10 d",
          720: "30 d", 2400: "100 d", 8766: "1 a"}  # fmt: skip
_HEAD_LINES = 10.0  # of the head on the map, about; choice


@dataclass(frozen=True)
class RouteMap:
    """The lakes' water on a map; coordinates in map kilometres.

    ``x_km`` (n,), ``y_km`` (m,) are the axes of ``head_m`` and ``probability`` (m, n), that of any
    lake's water. ``routes``: (lake, x (k,), y (k,)), from the outlet to the end. ``changed``: the
    same under a changed surface. ``predicted``: rings (x, y) of sinks. ``odds`` (s,): that a lake's
    water passes a station; ``ground`` holds outlines and surface.
    """

    title: str
    chart: str
    x_km: np.ndarray
    y_km: np.ndarray
    head_m: np.ndarray
    probability: np.ndarray
    routes: tuple
    names: tuple
    station_km: np.ndarray
    odds: np.ndarray
    changed: tuple = ()
    predicted: tuple = ()
    map_scale: float = 1.0
    north_rad: float = 0.0
    ground: Ground = field(default_factory=Ground)
    note: str = ""


@dataclass(frozen=True)
class Passed:
    """A station on a lake's way: distance from the outlet, lowest, likely and highest. [km]

    ``beside_km``: off the drawn route, positive to the left.
    """

    station: str
    along_km: tuple
    beside_km: float
    odds: float


@dataclass(frozen=True)
class RouteProfile:
    """Heights along one lake's way, from its outlet; arrays (k,).

    ``lakes``: (name, from, to) of other lakes on it. [km] ``speed_m_s``: of the water.
    """

    title: str
    lake: str
    distance_km: np.ndarray
    head_m: np.ndarray
    bed_m: np.ndarray
    surface_m: np.ndarray
    stations: tuple
    lakes: tuple
    speed_m_s: tuple
    end: str = ""
    note: str = ""


@styled
def draw_route_map(record):
    """Return the map of a :class:`RouteMap`."""
    figure, axis = map_sheet(
        record.title, record.chart, _corners(record), record.map_scale, record.north_rad
    )
    _shades(axis, record)
    _head(axis, record)
    draw_ground(axis, record.ground)
    for x, y in record.predicted:
        axis.plot(*_closed(x, y), color=DEEP, linewidth=0.6, linestyle=(0, (2, 1.5)), zorder=2)
    for _, x, y in record.changed:
        axis.plot(x, y, color=RUST, linewidth=1.3, linestyle=(0, (4, 1.5)), zorder=4)
    for _, x, y in record.routes:
        axis.plot(x, y, color="white", linewidth=3.2, zorder=3.5, solid_capstyle="round")
        axis.plot(x, y, color=DEEP, linewidth=1.6, zorder=4, solid_capstyle="round")
        axis.plot(x[-1], y[-1], marker="s", markersize=4.5, color=DEEP, zorder=4.5)
    _stations(axis, record)
    _legend(axis, record)
    footnote(figure, record.note)
    return figure


def _closed(x, y):
    return np.append(x, x[0]), np.append(y, y[0])


def _corners(record):
    """Return lower left and upper right corner (2,) of what matters, with a margin. [km]"""
    lines = [np.stack(line[1:], axis=1) for line in (*record.routes, *record.changed)]
    lines += [np.stack(lake[1:], axis=1) for lake in record.ground.lakes]
    points = np.concatenate([np.reshape(record.station_km, (-1, 2)), *lines])
    low, high = points.min(axis=0), points.max(axis=0)
    longer = (high - low).max() or 2.0
    room = 0.5 * np.maximum(_LEAST_SHARE * longer - (high - low), 0.0) + _MARGIN * longer
    return low - room, high + room


def _shades(axis, record):
    """Shade the odds in steps; below the first nothing is drawn."""
    if np.nanmax(record.probability, initial=0.0) >= ODDS[0]:
        axis.contourf(
            record.x_km, record.y_km, record.probability, [*ODDS[:-1], 1.001],
            cmap=ListedColormap(_SHADES), vmin=0.0, vmax=1.0, zorder=0.4,
        )  # fmt: skip


def _head(axis, record):
    """Draw lines of equal head inside the map."""
    inside = np.ix_(*(
        _between(values, ends)
        for values, ends in ((record.y_km, axis.get_ylim()), (record.x_km, axis.get_xlim()))
    ))  # fmt: skip
    head = record.head_m[inside]
    if min(head.shape) < 2 or not np.isfinite(head).any():
        return
    low, high = np.nanpercentile(head, (2.0, 98.0))
    step = nice_below(max((high - low) / _HEAD_LINES, 1.0)) if high > low else 1.0
    axis.contour(
        record.x_km[inside[1].ravel()], record.y_km[inside[0].ravel()], head,
        step * np.arange(low // step, high // step + 1.0),
        colors=WARM, linewidths=0.5, linestyles="solid", zorder=0.8, alpha=0.75,
    )  # fmt: skip


def _between(values, ends):
    return np.flatnonzero((values >= ends[0]) & (values <= ends[1]))


def _stations(axis, record):
    """Draw stations and their names, bold where water likely passes."""
    if not record.names:
        return
    x, y = np.asarray(record.station_km).T
    longer = max(np.ptp(axis.get_xlim()), np.ptp(axis.get_ylim()))
    sides = name_sides(x, y, longer, np.ones(x.size))
    for k, name in enumerate(record.names):
        likely = record.odds[k] >= _LIKELY
        axis.plot(
            x[k], y[k], marker="o", markersize=5, zorder=6, markeredgewidth=1.0,
            markeredgecolor=INK, color=WARM if likely else "white",
        )  # fmt: skip
        axis.annotate(
            name, (x[k], y[k]), (0.0, 6.0 * sides[k]), textcoords="offset points", ha="center",
            va="bottom" if sides[k] > 0.0 else "top", fontsize=7.5, zorder=7,
            fontweight="bold" if likely else "normal",
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.6, "pad": 0.2},
        )  # fmt: skip


def _legend(axis, record):
    """Explain shades and lines above the map."""
    edges = zip(_SHADES, ODDS[:-1], ODDS[1:], strict=True)
    handles = [Patch(facecolor=c, label=f"probability {a:g} to {b:g}") for c, a, b in edges]
    handles += [
        Line2D([], [], color=DEEP, linewidth=1.6, label="drawn route"),
        Line2D([], [], color=DEEP, linewidth=0, marker="s", markersize=4.5, label="its end"),
        Line2D([], [], color=WARM, linewidth=0.8, label="equal head"),
        Line2D([], [], color="#c4c4c4", linewidth=0.8, label="surface"),
        Patch(facecolor=WATER, edgecolor=DEEP, label="lake"),
    ]
    if record.predicted:
        handles.append(
            Line2D([], [], color=DEEP, linewidth=0.8, linestyle=(0, (2, 1.5)), label="sink of head")
        )
    if record.changed:
        handles.append(
            Line2D([], [], color=RUST, linewidth=1.3, linestyle=(0, (4, 1.5)), label="what if")
        )
    axis.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(-0.01, 1.0), frameon=False, fontsize=7.5,
        ncols=6, columnspacing=1.6, handlelength=1.8, borderpad=0.2,
    )  # fmt: skip


@styled
def draw_profile(record):
    """Return the heights along one lake's way, and when water passes by its speed."""
    figure = new_figure(9.0, 6.0, record.title)
    heights, times = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    _heights(heights, record)
    _times(times, record)
    for axis in (heights, times):
        for _, first, last in record.lakes:
            axis.axvspan(first, last, color=WATER, zorder=0, linewidth=0.0)
    times.set_xlabel(f"distance along the water's way from the outlet of {record.lake} (km)")
    times.set_xlim(record.distance_km[0], record.distance_km[-1])
    footnote(figure, record.note)
    return figure


def _heights(axis, record):
    """Draw bed, ice, head, lakes and stations."""
    x, bed, surface = record.distance_km, record.bed_m, record.surface_m
    finite = np.concatenate([bed, surface, record.head_m])
    low, high = np.nanmin(finite), np.nanmax(finite)
    floor, top = low - 0.08 * (high - low), high + 0.22 * (high - low)
    axis.fill_between(x, floor, bed, color=_LAND, linewidth=0.0, zorder=1)
    axis.fill_between(x, bed, surface, color=_ICE, linewidth=0.0, zorder=0.5)
    axis.plot(x, surface, color=INK, linewidth=1.2, zorder=3)
    axis.plot(x, bed, color="#7a6f63", linewidth=1.2, zorder=3)
    axis.plot(x, record.head_m, color=DEEP, linewidth=1.8, linestyle=(0, (5, 1.2)), zorder=4)
    for values, word, color, where, below in (
        (surface, "surface", INK, 0.65, False), (record.head_m, "head of water", DEEP, 0.3, True),
        (bed, "bed", "#5a5046", 0.82, False),
    ):  # fmt: skip
        k = int(where * (len(x) - 1))
        axis.annotate(
            word, (x[k], values[k]), (0, -4 if below else 4), textcoords="offset points",
            ha="center", va="top" if below else "bottom", fontsize=8, color=color, zorder=6,
        )  # fmt: skip
    for name, first, last in record.lakes:
        axis.annotate(
            name, (0.5 * (first + last), floor), (0, 3), textcoords="offset points", ha="center",
            va="bottom", fontsize=7.5, style="italic", color=DEEP, zorder=6,
        )  # fmt: skip
    _poles(axis, record, top)
    axis.set_ylim(floor, top)
    axis.set_ylabel("height (m)")


def _poles(axis, record, top):
    """Mark stations by the surface above their place on the way, names at the top."""
    ordered = sorted(record.stations, key=lambda one: one.along_km[1])
    at = np.array([one.along_km[1] for one in ordered])
    close = np.diff(at) < _NAME_SHARE * np.ptp(record.distance_km)
    for k, one in enumerate(ordered):
        height = np.interp(at[k], record.distance_km, record.surface_m)
        left = k < len(close) and close[k] and not (k > 0 and close[k - 1])
        axis.plot([at[k], at[k]], [height, top], color=PALE, linewidth=0.6, zorder=2)
        axis.plot(at[k], height, marker="o", markersize=5, color=WARM if one.odds >= _LIKELY else
                  "white", markeredgecolor=INK, zorder=5)  # fmt: skip
        axis.annotate(
            f"{one.station}\n{one.odds:.2f}", (at[k], top), (-3 if left else 3, -1),
            textcoords="offset points", ha="right" if left else "left", va="top", fontsize=7.5,
            linespacing=1.1, zorder=6,
        )  # fmt: skip


def _times(axis, record):
    """Draw the time that water needs, by its speed, and when it passes the stations."""
    far = max(record.distance_km[-1], 1e-3)
    slow, fast = min(record.speed_m_s), max(record.speed_m_s)
    x = np.geomspace(1e-3 * far, far, 200)
    for speed in record.speed_m_s:
        hours = x / speed / 3.6
        axis.plot(x, hours, color=DEEP, linewidth=0.9, zorder=3)
        axis.annotate(
            f"{speed:g} m/s", (x[-1], hours[-1]), (3, 0), textcoords="offset points", va="center",
            fontsize=7.5, color=DEEP, annotation_clip=False,
        )  # fmt: skip
    for one in record.stations:
        low, middle, high = one.along_km
        span = np.array([low / fast, high / slow]) / 3.6
        axis.plot([middle, middle], span, color=WARM, linewidth=2.0, zorder=4)
        for along, hours in zip((low, high), span, strict=True):
            axis.plot([along, middle], [hours, hours], color=WARM, linewidth=1.0, zorder=4)
    low, high = 0.03 * far / fast / 3.6, 1.5 * far / slow / 3.6
    axis.set_yscale("log")
    axis.set_ylim(low, high)
    shown = {hours: word for hours, word in _TICKS.items() if low <= hours <= high}
    axis.set_yticks(list(shown), list(shown.values()))
    axis.minorticks_off()
    axis.set_ylabel("time after leaving the lake")
