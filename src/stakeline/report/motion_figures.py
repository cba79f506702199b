"""Figures of the motion of stations through time: displacement, speed, height budget, anomaly."""

from dataclasses import dataclass

import numpy as np

from ..constants import DAYS_PER_YEAR
from .style import (
    BAND,
    DEEP,
    INK,
    PALE,
    RUST,
    WARM,
    WARM_BAND,
    band,
    dots,
    footnote,
    hold,
    line,
    new_figure,
    opened,
    styled,
    time_axis,
)

_DOTS = {"linestyle": "none", "marker": ".", "markersize": 3.0, "color": PALE}
_ROW_BINS = 350
_ROOM = 0.62  # in, of one station in the stack
_AXES = ("along flow", "across flow (left)", "up")


@dataclass(frozen=True)
class Marks:
    """What happened to a station at times (k,). [ns]

    ``kind`` (k,): ``step`` (the log says the antenna moved), ``found`` (a step no log names, taken
    out too), ``visit`` (nothing moved), ``slip`` (the ice jumped: stays in the motion).
    """

    time_ns: np.ndarray
    kind: tuple


NO_MARKS = Marks(np.array([], np.int64), ())
_MARKS = {
    "step": ("logged step, taken out", {"linestyle": (0, (5, 2)), "linewidth": 1.0}),
    "found": ("unlogged step, taken out", {"linestyle": (0, (4, 1, 1, 1)), "linewidth": 0.8}),
    "visit": ("visit", {"linestyle": (0, (1, 2)), "linewidth": 1.0}),
    "slip": ("slip", {"linestyle": "none", "marker": "|", "markersize": 5.0}),
}


@dataclass(frozen=True)
class Displacement:
    """Positions of a station less a steady motion.

    ``measured_ns`` (n,) and ``measured_m`` (n, 3) are positions along, across and up, less what
    ``steady`` says (a text for each axis); ``time_ns`` (m,), ``smooth_m`` and ``half_width_m``
    (m, 3) the estimate and half its 95 % interval. Rows further apart than ``longest_gap_d`` are
    not joined, nor are rows about a NaN.
    """

    title: str
    measured_ns: np.ndarray
    measured_m: np.ndarray
    time_ns: np.ndarray
    smooth_m: np.ndarray
    half_width_m: np.ndarray
    steady: tuple
    longest_gap_d: float
    marks: Marks = NO_MARKS
    note: str = ""


@dataclass(frozen=True)
class Speed:
    """Speed along the flow of a station: two estimators, and windows.

    ``smooth_m_d``, ``causal_m_d`` (m,) at ``time_ns``; ``window_start_ns``, ``window_end_ns``,
    ``window_m_d`` (k,) straight lines in windows; half widths are those of 95 % intervals.
    """

    title: str
    time_ns: np.ndarray
    smooth_m_d: np.ndarray
    smooth_half_width_m_d: np.ndarray
    causal_m_d: np.ndarray
    causal_half_width_m_d: np.ndarray
    window_start_ns: np.ndarray
    window_end_ns: np.ndarray
    window_m_d: np.ndarray
    window_half_width_m_d: np.ndarray
    window_name: str
    longest_gap_d: float
    marks: Marks = NO_MARKS
    note: str = ""


@dataclass(frozen=True)
class HeightTerm:
    """One term of the budget: value and half its 95 % interval (n,), and what it comes to."""

    name: str
    value_m: np.ndarray
    half_width_m: np.ndarray
    total: str = ""


@dataclass(frozen=True)
class HeightBudget:
    """Residual up motion (first) and the terms that were taken from what was measured."""

    title: str
    time_ns: np.ndarray
    residual: HeightTerm
    terms: tuple
    longest_gap_d: float
    marks: Marks = NO_MARKS
    note: str = ""


@dataclass(frozen=True)
class StationAnomaly:
    """Speed of one station less its own baseline, as share of it, at ``time_ns`` (n,). [%]"""

    name: str
    distance_km: float
    time_ns: np.ndarray
    anomaly_percent: np.ndarray
    half_width_percent: np.ndarray


@dataclass(frozen=True)
class Stack:
    """Anomalies of all stations on one axis of time.

    ``stations`` in any order; they are drawn by distance along the flow, the furthest down-glacier
    at the bottom. ``scale_percent``: what one row's height means; None: from the data.
    """

    title: str
    stations: tuple
    longest_gap_d: float
    scale_percent: float | None = None
    note: str = ""


@styled
def draw_displacement(record):
    """Return three panels, along, across and up, of a :class:`Displacement`."""
    figure = new_figure(9.0, 6.4, record.title)
    panels = figure.subplots(3, 1, sharex=True)
    measured = np.asarray(record.measured_ns, np.int64).astype("datetime64[ns]")
    for k, axis in enumerate(panels):
        time, smooth, half = opened(
            record.time_ns, record.longest_gap_d, record.smooth_m[:, k], record.half_width_m[:, k]
        )
        dots(axis, measured, record.measured_m[:, k], color=PALE, zorder=1)
        band(axis, time, smooth, half, zorder=2, alpha=0.8)
        line(axis, time, smooth, color=DEEP, linewidth=1.0, zorder=3)
        hold(axis, _middle(record.measured_m[:, k]), smooth - half, smooth + half)
        axis.set_ylabel(f"{_AXES[k]} (m)")
        axis.set_title(f"less {record.steady[k]}", loc="right", fontsize=8, pad=2.0)
        _marks(axis, record.marks)
    entries = [("measured", _DOTS)] if np.isfinite(record.measured_m).any() else []
    _legend(panels[0], record.marks, [*entries, ("estimated, 95 %", _found())], 1.6)
    figure.align_ylabels()
    _finish(figure, panels[-1], record)
    return figure


@styled
def draw_speed(record):
    """Return the two-sided and the causal speed of a :class:`Speed`, one below the other."""
    figure = new_figure(9.0, 6.0, record.title)
    panels = figure.subplots(2, 1, sharex=True, sharey=True)
    columns = (record.smooth_m_d, record.smooth_half_width_m_d)
    time, smooth, half = opened(record.time_ns, record.longest_gap_d, *columns)
    band(panels[0], time, smooth, half, zorder=2)
    line(panels[0], time, smooth, color=DEEP, linewidth=1.1, zorder=4)
    _windows(panels[0], record)
    line(panels[1], time, smooth, color=DEEP, linewidth=0.7, zorder=3)
    time, causal, causal_half = opened(
        record.time_ns, record.longest_gap_d, record.causal_m_d, record.causal_half_width_m_d
    )
    band(panels[1], time, causal, causal_half, color=WARM_BAND, zorder=2)
    line(panels[1], time, causal, color=WARM, linewidth=0.9, zorder=4)
    hold(panels[0], _middle(smooth - half), _middle(smooth + half), _middle(causal))
    for axis, name in zip(panels, ("looking both ways", "looking back only"), strict=True):
        axis.set_ylabel(f"speed (m/d), {name}")
        yearly = axis.secondary_yaxis(
            "right", functions=(lambda v: v * DAYS_PER_YEAR, lambda v: v / DAYS_PER_YEAR)
        )
        yearly.set_ylabel("speed (m/a)")
        _marks(axis, record.marks)
    window = (
        record.window_name,
        {"marker": "o", "markersize": 3.2, "color": RUST, "linewidth": 0.6},
    )
    _legend(panels[0], record.marks, (("estimated, 95 %", _found()), window))
    _legend(panels[1], NO_MARKS, (
        ("causal, 95 %", {"color": WARM}), ("both ways", {"color": DEEP, "linewidth": 0.7})
    ))  # fmt: skip
    _finish(figure, panels[-1], record)
    return figure


@styled
def draw_height_budget(record):
    """Return the residual up motion of a :class:`HeightBudget`, its terms in panels below."""
    count = len(record.terms)
    figure = new_figure(9.0, 2.6 + 1.05 * count, record.title)
    heights = [2.0] + [1.0] * count
    panels = figure.subplots(1 + count, 1, sharex=True, squeeze=False, height_ratios=heights)[:, 0]
    for k, (axis, term) in enumerate(zip(panels, (record.residual, *record.terms), strict=True)):
        time, value, half = opened(
            record.time_ns, record.longest_gap_d, 1e2 * term.value_m, 1e2 * term.half_width_m
        )
        band(axis, time, value, half, color=WARM_BAND if k else BAND, zorder=2)
        line(axis, time, value, color=INK if k else DEEP, linewidth=0.9, zorder=3)
        hold(axis, value, _middle(value - half), _middle(value + half), margin=0.12)
        axis.set_ylabel("cm")
        axis.set_title(term.name, loc="left", fontsize=8.5, pad=2.0, fontweight="normal")
        axis.set_title(term.total, loc="right", fontsize=8, pad=2.0)
        _marks(axis, record.marks)
    _legend(panels[0], record.marks, (("estimated, 95 %", _found()),), 1.6)
    figure.align_ylabels()
    _finish(figure, panels[-1], record)
    return figure


@styled
def draw_stack(record):
    """Return the anomalies of a :class:`Stack`, offset by station in the order of the flow."""
    stations = sorted(record.stations, key=lambda station: station.distance_km)
    figure = new_figure(9.0, max(2.4 + _ROOM * len(stations), 3.2), record.title)
    axis = figure.subplots()
    scale = record.scale_percent or _scale(stations)
    for row, station in enumerate(stations):
        _row(axis, station, -row, scale, record.longest_gap_d)
    axis.set_yticks(
        -np.arange(len(stations)),
        [f"{s.name}\n{s.distance_km:.1f} km" for s in stations],
    )
    axis.set_ylim(-len(stations) + 0.1, 0.8)
    axis.tick_params(axis="y", length=0)
    axis.set_ylabel("station, distance along the flow")
    axis.grid(visible=False, axis="y")
    axis.plot([1.015] * 2, [-0.5, 0.5], transform=axis.get_yaxis_transform(), color=INK,
              linewidth=2.0, solid_capstyle="butt", clip_on=False)  # fmt: skip
    axis.annotate(f"{scale:g} %", (1.025, 0.0), xycoords=axis.get_yaxis_transform(), va="center")
    _finish(figure, axis, record)
    return figure


def _row(axis, station, base, scale, longest_gap_d):
    """Draw one station: its baseline, band, line, and the excess above and below filled."""
    time, value, half = opened(
        station.time_ns, longest_gap_d,
        station.anomaly_percent / scale, station.half_width_percent / scale, bins=_ROW_BINS,
    )  # fmt: skip
    axis.axhline(base, color=PALE, linewidth=0.5, zorder=1)
    band(axis, time, base + value, half, color="#e6e6e6", zorder=2)
    for sign, color in ((1.0, WARM), (-1.0, DEEP)):
        beyond = np.where(np.isnan(value), np.nan, np.maximum(sign * value, 0.0))
        axis.fill_between(
            time, base, base + sign * beyond, color=color, alpha=0.55, linewidth=0.0, zorder=3
        )
    line(axis, time, base + value, color=INK, linewidth=0.7, zorder=4)


def _scale(stations):
    """Return a round percentage that most anomalies stay within."""
    every = np.abs(np.concatenate([station.anomaly_percent for station in stations]))
    every = every[np.isfinite(every)]
    most = max(np.percentile(every, 99.5), 0.1) if every.size else 1.0
    ten = 10.0 ** np.floor(np.log10(most))
    return float(next(ten * nice for nice in (1.0, 2.0, 5.0, 10.0) if ten * nice >= most))


def _windows(axis, record):
    """Draw each window as a dot in its middle, its length across, its 95 % interval upright."""
    start, end = (
        np.asarray(edge, np.int64) for edge in (record.window_start_ns, record.window_end_ns)
    )
    there = np.isfinite(record.window_m_d)
    middle = (start + (end - start) // 2).astype("datetime64[ns]")[there]
    half = np.nan_to_num(record.window_half_width_m_d[there])
    speed = record.window_m_d[there]
    looks = {"color": RUST, "linewidth": 0.6, "alpha": 0.4, "zorder": 3}
    axis.vlines(middle, speed - half, speed + half, **looks)
    axis.plot(
        middle, speed, linestyle="none", marker="o", markersize=3.2, color=RUST,
        markeredgecolor="white", markeredgewidth=0.4, zorder=5,
    )  # fmt: skip


def _middle(values):
    """Return the values without the outermost half per cent on either side."""
    good = values[np.isfinite(values)]
    return np.percentile(good, (0.5, 99.5)) if good.size else good


def _marks(axis, marks):
    """Draw upright lines, and slips as ticks at the lower edge."""
    for kind, (_, looks) in _MARKS.items():
        at = np.array([t for t, k in zip(marks.time_ns, marks.kind, strict=True) if k == kind])
        at = at.astype(np.int64).astype("datetime64[ns]")
        if kind == "slip":
            low = np.full(len(at), 0.02)
            axis.plot(at, low, transform=axis.get_xaxis_transform(), color=RUST, **looks)
            continue
        for time in at:
            axis.axvline(time, zorder=1.5, color=RUST, **looks)


def _found():
    return {"color": DEEP, "linewidth": 1.0}


def _legend(axis, marks, entries, lift=0.2):
    """Write what is drawn above the panel, in one row."""
    entries = list(entries)
    entries += [
        (text, {"color": RUST, **looks})
        for kind, (text, looks) in _MARKS.items()
        if kind in marks.kind
    ]
    handles = []
    for label, looks in entries:
        handles += axis.plot([], [], label=label, **{"linestyle": "-", **looks})
    handles = [h for h in handles if h.get_label()]
    axis.legend(
        handles=handles, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=len(handles),
        frameon=False, fontsize=8, borderaxespad=lift, handlelength=1.8, columnspacing=1.4,
    )  # fmt: skip


def _finish(figure, lowest, record):
    time_axis(lowest)
    footnote(figure, record.note)
