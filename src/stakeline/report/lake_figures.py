"""Figures of a lake: its level and events, water and discharge, the map of what stations see."""

from dataclasses import dataclass, field

import numpy as np
from matplotlib.colors import ListedColormap

from .map_parts import Ground, draw_ground, map_sheet, name_sides
from .style import (
    BAND,
    DEEP,
    INK,
    PALE,
    RUST,
    WARM,
    WARM_BAND,
    WATER,
    dots,
    footnote,
    hold,
    line,
    new_figure,
    opened,
    styled,
    time_axis,
)

_ONSET_BINS = 25  # of an onset's distribution
_COLUMNS, _MOST_EVENTS = 3, 12  # panels of events
_STATION_IN = 0.55  # in, of one station's row
_SHARES = np.array([0.05, 0.2, 0.4, 0.6, 0.8, 1.0, 1.4])  # contours of surface over roof
_SHADES = ("#eef4f8", "#dbe9f1", "#bfd6e5", "#9cbfd6", "#76a5c3", "#5088ad")
_ENDS = {"drain": RUST, "fill": WARM}


@dataclass(frozen=True)
class EventMark:
    """One event: samples of its onset and end (s,), what it is; ``faint`` where it was rejected."""

    name: str
    kind: str
    onset_ns: np.ndarray
    end_ns: np.ndarray
    faint: bool = False


@dataclass(frozen=True)
class StationHeight:
    """Height of a station over the lake, or beside it, about its mean (n,). [m]"""

    name: str
    role: str
    time_ns: np.ndarray
    up_m: np.ndarray


@dataclass(frozen=True)
class LakeLevel:
    """Level of a lake: means ``measured_m`` (n,), course (3, n): low, median, high."""

    title: str
    time_ns: np.ndarray
    measured_m: np.ndarray
    level_m: np.ndarray
    events: tuple
    stations: tuple
    longest_gap_d: float
    note: str = ""


@dataclass(frozen=True)
class LakeWater:
    """Water below the ice since the first row and discharge out of the lake, each (3, n)."""

    title: str
    time_ns: np.ndarray
    stored_m3: np.ndarray
    outflow_m3_s: np.ndarray
    events: tuple
    longest_gap_d: float
    note: str = ""


@dataclass(frozen=True)
class LakeMap:
    """Map of a lake.

    ``rings_km``: outlines (k, 2), the first drawn stronger; ``share`` (y, x) surface over roof on
    ``x_km``, ``y_km``, empty where not known; ``stations``: (name, role, x, y). ``seen_km`` (n, 2):
    points of a satellite.
    """

    title: str
    chart: str
    rings_km: tuple
    x_km: np.ndarray
    y_km: np.ndarray
    share: np.ndarray
    stations: tuple
    corners: tuple
    map_scale: float = 1.0
    north_rad: float = 0.0
    ground: Ground = field(default_factory=Ground)
    note: str = ""
    seen_km: np.ndarray = field(default_factory=lambda: np.zeros((0, 2)))


@styled
def draw_lake_level(record):
    """Return level and stations of a :class:`LakeLevel`, one above the other; events shaded."""
    count = len(record.stations)
    figure = new_figure(9.0, 3.8 + _STATION_IN * count, record.title)
    heights = [3.2] + [_STATION_IN] * count
    panels = figure.subplots(1 + count, 1, sharex=True, height_ratios=heights, squeeze=False)[:, 0]
    _level(panels[0], record)
    for axis, station in zip(panels[1:], record.stations, strict=True):
        _station(axis, station)
    for axis in panels:
        _shade(axis, record.events)
    _within(panels[0], record.time_ns)
    time_axis(panels[-1])
    footnote(figure, record.note)
    return figure


def _level(axis, record):
    measured = np.asarray(record.time_ns, np.int64).astype("datetime64[ns]")
    low, middle, high = record.level_m
    time, middle, low, high = opened(record.time_ns, record.longest_gap_d, middle, low, high)
    dots(axis, measured, record.measured_m, color=PALE, zorder=2.5)
    axis.fill_between(time, low, high, color=BAND, linewidth=0.0, zorder=2, alpha=0.8)
    line(axis, time, middle, color=DEEP, linewidth=1.1, zorder=3)
    hold(axis, record.measured_m, low, high)
    axis.set_ylabel("level of the surface (m)")


def _shade(axis, events):
    """Shade events from the median onset to the median end."""
    for event in events:
        ends = [np.median(v).astype("datetime64[ns]") for v in (event.onset_ns, event.end_ns)]
        color = "#f0f0f0" if event.faint else (WARM_BAND if event.kind == "fill" else WATER)
        axis.axvspan(*ends, color=color, linewidth=0.0, zorder=0)


def _within(axis, time_ns):
    """Hold the axis of time to the record, whatever events reach beyond."""
    first, last = int(time_ns[0]), int(time_ns[-1])
    room = (last - first) // 50
    axis.set_xlim(*(np.array([first - room, last + room]).astype("datetime64[ns]")))


@styled
def draw_lake_events(record):
    """Return each event of a :class:`LakeLevel` in a panel of its own, with its onset and end.

    None where there is no event.
    """
    events = record.events[:_MOST_EVENTS]
    if not events:
        return None
    columns = len(events) if len(events) < _COLUMNS else 2 if len(events) == 4 else _COLUMNS
    rows = -(-len(events) // columns)
    figure = new_figure(9.0, 0.9 + 2.5 * rows, f"{record.title}: events")
    panels = figure.subplots(rows, columns, squeeze=False).ravel()
    for axis, event in zip(panels, events, strict=False):
        _event(axis, record, event)
    for axis in panels[len(events) :]:
        axis.set_visible(False)
    footnote(
        figure,
        "Dots: means; line and band: level and 95 %. Below: distributions of onset (dark) and end "
        "(pale), each drawn to the same height.",
    )
    return figure


def _event(axis, record, event):
    onset, end = (np.quantile(v, [0.005, 0.5, 0.995]) for v in (event.onset_ns, event.end_ns))
    room = 0.4 * (end[1] - onset[1])
    first = max(onset[0] - room, record.time_ns[0])
    last = min(end[2] + room, record.time_ns[-1])
    near = (record.time_ns >= first) & (record.time_ns <= last)
    if near.sum() > 1:
        part = LakeLevel(
            "", record.time_ns[near], record.measured_m[near], record.level_m[:, near], (), (),
            record.longest_gap_d,
        )  # fmt: skip
        _level(axis, part)
    _shade(axis, (event,))
    strip = axis.inset_axes([0.0, 0.0, 1.0, 0.22], sharex=axis)
    _distribution(strip, event.end_ns, BAND)
    _distribution(strip, event.onset_ns, PALE if event.faint else _ENDS[event.kind])
    strip.set_ylim(0.0, 1.1)
    strip.set_axis_off()
    axis.set_xlim(*(np.array([first, last]).astype("datetime64[ns]")))
    axis.set_ylabel("level (m)")
    axis.set_title(event.name, fontsize=8, loc="left", fontweight="normal")
    time_axis(axis, "")
    axis.tick_params(axis="both", labelsize=7)


def _distribution(axis, samples_ns, color):
    """Fill the distribution of a time, its top at 1."""
    low, high = np.quantile(samples_ns, [0.001, 0.999])
    edges = np.linspace(low, max(high, low + 1.0), _ONSET_BINS + 1)
    density, _ = np.histogram(samples_ns, edges)
    middle = (0.5 * (edges[1:] + edges[:-1])).astype("datetime64[ns]")
    axis.fill_between(
        middle, 0.0, density / max(density.max(), 1), color=color, linewidth=0.6, edgecolor=INK,
    )  # fmt: skip


def _station(axis, station):
    own = station.role == "over"
    time, up = opened(station.time_ns, 1.0, station.up_m)
    line(axis, time, up, color=DEEP if own else INK, linewidth=0.7)
    hold(axis, up)
    word = "over" if own else "beside"
    axis.set_ylabel(f"{station.name}\n{word} (m)", rotation=0, ha="right", va="center", fontsize=7)
    axis.tick_params(axis="y", labelsize=6.5)


@styled
def draw_lake_water(record):
    """Return water and discharge of a :class:`LakeWater`, one above the other."""
    figure = new_figure(9.0, 5.4, record.title)
    panels = figure.subplots(2, 1, sharex=True)
    stored = (record.stored_m3 / 1e6, "water since the first day\n(million m$^3$)", DEEP, BAND)
    outflow = (record.outflow_m3_s, "discharge out of the lake\n(m$^3$/s)", RUST, WARM_BAND)
    for axis, (values, words, color, shade) in zip(panels, (stored, outflow), strict=True):
        low, middle, high = values
        time, middle, low, high = opened(record.time_ns, record.longest_gap_d, middle, low, high)
        axis.fill_between(time, low, high, color=shade, linewidth=0.0, zorder=2)
        line(axis, time, middle, color=color, linewidth=1.0, zorder=3)
        hold(axis, low, high)
        axis.set_ylabel(words)
    panels[1].axhline(0.0, color=INK, linewidth=0.5, zorder=1)
    _within(panels[0], record.time_ns)
    time_axis(panels[-1])
    figure.align_ylabels()
    footnote(figure, record.note)
    return figure


@styled
def draw_lake_map(record):
    """Return the map of a :class:`LakeMap`: outline, stations, share of surface over roof."""
    figure, axis = map_sheet(
        record.title, record.chart, record.corners, record.map_scale, record.north_rad
    )
    draw_ground(axis, record.ground)
    if record.share.size:
        filled = axis.contourf(
            record.x_km, record.y_km, record.share, levels=_SHARES,
            cmap=ListedColormap(_SHADES), zorder=0.4, alpha=0.85,
        )  # fmt: skip
        back = axis.inset_axes([0.6, 0.01, 0.39, 0.145], zorder=4.0)
        back.set(xticks=[], yticks=[], facecolor=(1.0, 1.0, 1.0, 0.8))
        back.spines[:].set_visible(False)
        place = axis.inset_axes([0.63, 0.105, 0.33, 0.025], zorder=4.1)
        bar = figure.colorbar(filled, cax=place, orientation="horizontal")
        bar.set_label("surface over mean of the roof", fontsize=7.5)
        bar.ax.tick_params(labelsize=7)
    for k, ring in enumerate(record.rings_km):
        closed = np.vstack([ring, ring[:1]])
        axis.plot(
            *closed.T, color=DEEP, linewidth=0.7 if k else 1.6, zorder=3,
            linestyle=(0, (4, 2)) if k else "solid",
        )  # fmt: skip
    dots(axis, *record.seen_km.T, size=1.4, color=WARM, zorder=2.0)
    _stations(axis, record)
    footnote(figure, record.note)
    return figure


def _stations(axis, record):
    if not record.stations:
        return
    x, y = (np.array([one[k] for one in record.stations], float) for k in (2, 3))
    longer = float(np.max(np.subtract(*record.corners[::-1])))
    sides = name_sides(x, y, longer, np.ones(len(x)))
    marks = {"over": ("o", DEEP), "control": ("s", "white"), "neither": (".", PALE)}
    for (name, role, *_), px, py, up in zip(record.stations, x, y, sides, strict=True):
        mark, fill = marks[role]
        axis.plot(
            px, py, marker=mark, markersize=5, color=fill, markeredgecolor=INK,
            markeredgewidth=1.0, zorder=5,
        )  # fmt: skip
        axis.annotate(
            name, (px, py), (0.0, 6.0 * up), textcoords="offset points", ha="center",
            va="bottom" if up > 0.0 else "top", fontsize=7.5, zorder=6,
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.6, "pad": 0.2},
        )  # fmt: skip
