"""Figures of tides: the table of constituents, admittance along the glacier, the spectrum."""

from dataclasses import dataclass

import numpy as np
from matplotlib.ticker import FuncFormatter, LogLocator, NullLocator

from .style import (
    BAND,
    DEEP,
    INK,
    PALE,
    RUST,
    WARM,
    footnote,
    line,
    new_figure,
    styled,
)

MARKERS = ("o", "s", "^", "D", "v", "P")
_LIGHT = (DEEP, WARM, INK, "#5f9fc4", RUST, PALE)
_BANDS = ((0.85, 1.12, "daily"), (1.80, 2.10, "twice daily"))  # cycles per day
SIDEREAL_DAY_CPD = 1.002737909  # cycles per day; IERS Conventions (2010), table 1.1


@dataclass(frozen=True)
class TideTable:
    """Constituents of one axis of one station.

    ``amplitude_mm``, ``phase_deg`` (k,) with half their 95 % intervals; ``doubtful`` (k,) where
    errors of positioning repeat at the same period; ``inferred`` (k,) where it was not estimated.
    """

    axis: str
    names: tuple
    amplitude_mm: np.ndarray
    amplitude_half_width_mm: np.ndarray
    phase_deg: np.ndarray
    phase_half_width_deg: np.ndarray
    doubtful: np.ndarray
    inferred: np.ndarray


@dataclass(frozen=True)
class Admittance:
    """Tides of all stations against their distance from the front.

    ``gain`` (k, n) and ``lag_deg`` (k, n) of constituents ``names`` at ``distance_km`` (n,), with
    half their 95 % intervals; NaN where there is none. ``quantity`` names the gain with its unit.
    """

    title: str
    stations: tuple
    names: tuple
    distance_km: np.ndarray
    gain: np.ndarray
    gain_half_width: np.ndarray
    lag_deg: np.ndarray
    lag_half_width_deg: np.ndarray
    quantity: str = "gain (m/m)"
    lag_name: str = "lag (deg)"
    distance_name: str = "distance from the front, up-glacier (km)"
    note: str = ""


@dataclass(frozen=True)
class Spectrum:
    """Power of what is left of one axis, and of the noise fitted to it.

    ``frequency_cpd`` (n,), ``power`` (n,) and ``model`` (n,), one-sided [mm2/cpd]; ``white`` its
    floor. Below ``motion_cpd`` changes count as motion and are not left. ``lines``: names and
    frequencies [cpd] of tidal constituents. ``interval`` (2,): factors of the 95 % interval of one
    value of the power.
    """

    title: str
    frequency_cpd: np.ndarray
    power: np.ndarray
    model: np.ndarray
    white: float
    lines: tuple
    motion_cpd: float = np.nan
    interval: tuple = ()
    note: str = ""


@styled
def draw_tide_table(tables, title, note=""):
    """Return amplitudes and phases of :class:`TideTable` axes, one row of panels each."""
    most = max(len(table.names) for table in tables)
    figure = new_figure(9.0, 1.0 + len(tables) * (0.8 + 0.19 * most), title)
    grid = figure.subplots(len(tables), 2, squeeze=False, width_ratios=[1.6, 1.0])
    for row, table in zip(grid, tables, strict=True):
        place = np.arange(len(table.names))
        _amplitudes(row[0], table, place)
        _phases(row[1], table, place)
        for panel in row:
            panel.set_yticks(place, table.names)
            panel.set_ylim(len(place) - 0.4, -0.6)
            panel.grid(visible=False, axis="y")
    grid[-1, 0].set_xlabel("amplitude (mm)")
    grid[-1, 1].set_xlabel("Greenwich phase lag (deg)")
    marks = "Hatched: errors of positions repeat at this period."
    hollow = "White: inferred from a neighbour. Phase hollow: either. Whiskers: 95 %."
    footnote(figure, f"{marks} {hollow} {note}".strip())
    return figure


def _amplitudes(panel, table, place):
    for k, doubtful, inferred in zip(place, table.doubtful, table.inferred, strict=True):
        panel.barh(
            k, table.amplitude_mm[k], height=0.62, edgecolor=DEEP, linewidth=0.7, zorder=2,
            facecolor="white" if doubtful or inferred else BAND,
            hatch="//////" if doubtful else None,
        )  # fmt: skip
    half = np.nan_to_num(table.amplitude_half_width_mm)
    looks = {"ecolor": INK, "elinewidth": 1.0, "capsize": 2.0, "capthick": 0.8, "zorder": 3}
    low = np.minimum(half, table.amplitude_mm)
    panel.errorbar(table.amplitude_mm, place, xerr=[low, half], fmt="none", **looks)
    panel.set_xlim(left=0.0)
    panel.set_title(table.axis, loc="left", fontsize=9)
    for k in place:
        text = f"{table.amplitude_mm[k]:.1f} \N{PLUS-MINUS SIGN} {half[k]:.1f}"
        panel.annotate(
            text, (table.amplitude_mm[k] + half[k], k), (5, 0), textcoords="offset points",
            va="center", fontsize=6.5, color=INK,
        )  # fmt: skip
    right = np.max(table.amplitude_mm + half, initial=0.0)
    panel.set_xlim(0.0, 1.18 * right if right > 0.0 else 1.0)


def _phases(panel, table, place):
    """Draw phases that are known to better than a quarter of a turn."""
    known = table.phase_half_width_deg < 90.0
    for hollow in (False, True):
        rows = known & ((table.doubtful | table.inferred) == hollow)
        for turn in (-360.0, 0.0, 360.0):  # whiskers come in again on the other side
            panel.errorbar(
                table.phase_deg[rows] + turn, place[rows], xerr=table.phase_half_width_deg[rows],
                fmt="o", markersize=4.0, color=DEEP, markerfacecolor="white" if hollow else DEEP,
                ecolor=INK, elinewidth=1.0, capsize=2.0, zorder=3,
            )  # fmt: skip
    for k in place[~known]:
        panel.text(4.0, k, "not known", fontsize=6.5, va="center", color=PALE)
    panel.set_xlim(0.0, 360.0)
    panel.set_xticks(np.arange(0.0, 361.0, 90.0))


@styled
def draw_admittance(record):
    """Return gain and lag of an :class:`Admittance` against the distance from the front."""
    figure = new_figure(9.0, 5.4, record.title)
    panels = figure.subplots(2, 1, sharex=True, height_ratios=[1.3, 1.0])
    order = np.argsort(record.distance_km)
    x = record.distance_km[order]
    spread = 0.004 * (np.ptp(x) or 1.0)
    for k, name in enumerate(record.names):
        looks = {"color": _LIGHT[k % len(_LIGHT)], "marker": MARKERS[k % len(MARKERS)]}
        looks |= {"markersize": 4.5, "linewidth": 0.8, "capsize": 2.0, "elinewidth": 0.9}
        shifted = x + spread * (k - 0.5 * (len(record.names) - 1))
        gain, half = record.gain[k, order], record.gain_half_width[k, order]
        low = np.minimum(half, 0.999 * gain)
        panels[0].errorbar(shifted, gain, yerr=[low, half], label=name, **looks)
        lag, known = record.lag_deg[k, order], record.lag_half_width_deg[k, order] < 90.0
        lag = np.where(known, lag, np.nan)
        looks |= {"linestyle": "none"}  # lags jump by a turn: no line between them
        panels[1].errorbar(shifted, lag, yerr=record.lag_half_width_deg[k, order], **looks)
    _admittance_axes(panels, record, x, order)
    footnote(figure, record.note)
    return figure


def _admittance_axes(panels, record, x, order):
    good = record.gain[np.isfinite(record.gain) & (record.gain > 0.0)]
    if good.size:
        panels[0].set_yscale("log")
        panels[0].set_ylim(0.5 * good.min(), 2.0 * good.max())
    panels[0].set_ylabel(record.quantity)
    panels[1].set_ylabel(record.lag_name)
    panels[1].set_xlabel(record.distance_name)
    panels[0].legend(
        loc="lower right", bbox_to_anchor=(1.0, 1.09), ncols=6, frameon=False, fontsize=8
    )
    row, last = 0, -np.inf
    for distance, k in zip(x, order, strict=True):
        row = 1 - row if distance - last < 0.05 * np.ptp(x) else 0
        last = distance
        panels[0].annotate(
            record.stations[k], (distance, 1.0), (0, 2 + 9 * row), textcoords="offset points",
            xycoords=panels[0].get_xaxis_transform(), ha="center", va="bottom", fontsize=7.5,
        )  # fmt: skip


@styled
def draw_spectrum(record):
    """Return the spectrum: all of it above, the tidal bands below."""
    figure = new_figure(9.0, 6.2, record.title)
    panels = figure.subplot_mosaic([["all", "all"], [0, 1]], height_ratios=[1.25, 1.0])
    _whole(panels["all"], record)
    for k, (low, high, name) in enumerate(_BANDS):
        panel = panels[k]
        inside = (record.frequency_cpd >= low) & (record.frequency_cpd <= high)
        line(panel, record.frequency_cpd[inside], record.power[inside], color=DEEP, linewidth=0.8)
        panel.plot(record.frequency_cpd[inside], record.model[inside], color=WARM, linewidth=1.6)
        panel.set_yscale("log")
        panel.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 3.0, 5.0, 7.0)))
        panel.yaxis.set_major_formatter(FuncFormatter(lambda value, _: f"{value:g}"))
        panel.yaxis.set_minor_locator(NullLocator())
        panel.set_xlim(low, high)
        panel.set_xlabel(f"frequency (cycles per day), {name}")
        _days(panel, (low, high))
        _names(panel, record.lines, (low, high))
    panels[0].set_ylabel("power (mm$^2$ / cpd)")
    footnote(figure, record.note)
    return figure


def _whole(panel, record):
    """Draw the whole spectrum, the fitted noise, and how far one value may stray."""
    line(panel, record.frequency_cpd, record.power, color=DEEP, linewidth=0.7, label="what is left")
    panel.plot(
        record.frequency_cpd,
        record.model,
        color=WARM,
        linewidth=1.8,
        label="noise fitted",
        zorder=3,
    )
    panel.axhline(record.white, color=INK, linewidth=0.8, linestyle=(0, (1, 2)), label="white part")
    panel.set_xscale("log")
    panel.set_yscale("log")
    good = record.frequency_cpd[record.frequency_cpd > 0.0]
    if good.size:
        panel.set_xlim(good.min(), good.max())
    panel.set_ylabel("power (mm$^2$ / cpd)")
    panel.set_xlabel("frequency (cycles per day)")
    looks = {"color": RUST, "linewidth": 0.8}
    panel.plot([], [], label="sidereal day", linestyle=(0, (5, 2)), **looks)
    panel.plot([], [], label="solar day", linestyle=(0, (1, 2)), **looks)
    panel.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=5, frameon=False, fontsize=8)
    _days(panel, panel.get_xlim())
    if record.motion_cpd > good.min(initial=np.inf):
        panel.axvspan(panel.get_xlim()[0], record.motion_cpd, color="#eeeeee", zorder=0)
        panel.annotate(
            "slower: taken as motion", (record.motion_cpd, 0.03), (-4, 0), ha="right",
            xycoords=panel.get_xaxis_transform(), textcoords="offset points", fontsize=7.5,
        )  # fmt: skip
    if record.interval:
        _interval(panel, record.interval)


def _interval(panel, factors):
    """Draw the 95 % interval of one value as a bar at the left."""
    low, high = np.log10(panel.get_ylim())
    foot = low + 0.08 * (high - low)
    bar = 10.0**foot * np.array(factors) / factors[0]
    transform = panel.get_yaxis_transform()
    panel.plot([0.02, 0.02], bar, transform=transform, color=INK, linewidth=1.5, marker="_")
    panel.text(0.03, np.sqrt(bar.prod()), "95 %", transform=transform, va="center", fontsize=7.5)


def _days(panel, ends):
    """Mark whole cycles per sidereal and per solar day."""
    looks = {"color": RUST, "linewidth": 0.8, "zorder": 1}
    for turns in range(1, 5):
        for cpd, dashes in ((turns * SIDEREAL_DAY_CPD, (0, (5, 2))), (float(turns), (0, (1, 2)))):
            if ends[0] < cpd < ends[1]:
                panel.axvline(cpd, linestyle=dashes, **looks)


def _names(panel, lines, ends):
    """Write the names of tidal lines above the panel, apart where they are close."""
    inside = sorted((cpd, name) for name, cpd in lines if ends[0] < cpd < ends[1])
    least = 0.055 * (ends[1] - ends[0])
    place = -np.inf
    for cpd, name in inside:
        place = max(cpd, place + least)
        panel.annotate(
            name, (cpd, 1.0), (place, 1.06), xycoords=panel.get_xaxis_transform(),
            textcoords=panel.get_xaxis_transform(), ha="center", va="bottom", fontsize=7.0,
            arrowprops={"arrowstyle": "-", "color": PALE, "linewidth": 0.6, "shrinkA": 0,
                        "shrinkB": 0}, annotation_clip=False,
        )  # fmt: skip
        panel.axvline(cpd, ymin=0.92, color=INK, linewidth=0.8)
    panel.set_xlim(*ends)
