"""Figures of receivers' quality: a calendar of a campaign, and one station-day."""

from dataclasses import dataclass

import matplotlib as mpl
import numpy as np

from ..constants import NS_PER_DAY
from .style import DEEP, INK, PALE, WARM, footnote, new_figure, styled

PANELS = {  # what, label, least and most of the colours
    "percent": ("satellite epochs of those promised (%)", 70.0, 100.0),
    "multipath_1_m": ("multipath, first signal (m)", 0.1, 0.8),
    "epochs_per_slip": ("satellite epochs for each slip", 10.0, 30_000.0),
    "strength_1_high_dB_Hz": ("strength at 45 to 60 deg (dB-Hz)", 38.0, 52.0),
    "power_swing": ("swing of the received power above 30 deg (-)", 0.0, 0.4),
}
MAP = "cividis"  # even for colour-blind readers, and in grey


@dataclass(frozen=True)
class Calendar:
    """Quality by station and day: ``grids`` holds (stations, days) of each of :data:`PANELS`."""

    stations: tuple
    begin_ns: int
    grids: dict


@styled
def draw_calendar(record):
    """Return the figure of a :class:`Calendar`."""
    rows = len(record.stations)
    figure = new_figure(9.0, 1.3 + len(PANELS) * (0.55 + 0.17 * rows), "Quality of receivers' days")
    axes = figure.subplots(len(PANELS), 1, sharex=True)
    count = next(iter(record.grids.values())).shape[1]
    begin = record.begin_ns / NS_PER_DAY
    for axis, (name, (label, low, high)) in zip(axes, PANELS.items(), strict=True):
        log = low > 0.0 and high / low > 100.0
        norm = (mpl.colors.LogNorm if log else mpl.colors.Normalize)(low, high, clip=True)
        axis.set_facecolor("white")
        image = axis.imshow(
            np.ma.masked_invalid(record.grids[name]), aspect="auto", cmap=MAP, norm=norm,
            extent=(begin, begin + count, rows - 0.5, -0.5), interpolation="nearest",
        )  # fmt: skip
        axis.set_yticks(range(rows), record.stations)
        axis.grid(visible=False)
        axis.set_title(label, loc="left", fontsize=8.5)
        figure.colorbar(image, ax=axis, pad=0.01, fraction=0.03)
    axes[-1].xaxis_date()
    axes[-1].xaxis.set_major_formatter(
        mpl.dates.ConciseDateFormatter(axes[-1].xaxis.get_major_locator())
    )
    footnote(figure, "White: no file of that day. Days by GPS time.")
    return figure


@dataclass(frozen=True)
class StationDayFigure:
    """One station-day by epoch (n,) and satellite (m,).

    ``multipath_m`` and ``strength`` (2, n, m), ``elevation_deg`` (n, m), ``slip`` (n, m) bool.
    """

    title: str
    time_ns: np.ndarray
    names: tuple
    elevation_deg: np.ndarray
    multipath_m: np.ndarray
    strength: np.ndarray
    slip: np.ndarray
    note: str = ""


@styled
def draw_station_day(record):
    """Return the figure of a :class:`StationDayFigure`: sky, multipath and strength."""
    figure = new_figure(9.0, 9.0, record.title)
    sky, paths, power = figure.subplots(3, 1, height_ratios=(2.2, 1.0, 1.0))
    hours = (record.time_ns - record.time_ns[0] // NS_PER_DAY * NS_PER_DAY) / 3.6e12
    _sky(figure, sky, record, hours)
    for k, (colour, label) in enumerate(((DEEP, "first signal"), (WARM, "second signal"))):
        shown = np.isfinite(record.multipath_m[k]) & np.isfinite(record.elevation_deg)
        some = slice(None, None, max(1, int(shown.sum()) // 6000))
        looks = {"markersize": 1.6 - 0.5 * k, "color": colour, "linestyle": "", "rasterized": True}
        paths.plot(record.elevation_deg[shown][some], record.multipath_m[k][shown][some], "o",
                   label=label, **looks)  # fmt: skip
        shown = np.isfinite(record.strength[k]) & np.isfinite(record.elevation_deg)
        some = slice(None, None, max(1, int(shown.sum()) // 6000))
        power.plot(record.elevation_deg[shown][some], record.strength[k][shown][some], "o",
                   label=label, **looks)  # fmt: skip
    paths.set_ylabel("multipath (m)")
    power.set_ylabel("strength (dB-Hz)")
    for axis in (paths, power):
        axis.set_xlim(0.0, 90.0)
        axis.legend(loc="upper right", frameon=False, markerscale=3.0)
    power.set_xlabel("elevation (deg)")
    footnote(figure, record.note)
    return figure


def _sky(figure, axis, record, hours):
    """Draw a line for each satellite, coloured by elevation, and its slips."""
    size = float(np.clip(350.0 / max(len(record.names), 1), 3.5, 7.0))
    for row, name in enumerate(record.names):
        there = np.isfinite(record.elevation_deg[:, row]) & np.isfinite(record.strength[0, :, row])
        points = axis.scatter(
            hours[there], np.full(there.sum(), row), c=record.elevation_deg[there, row], s=2.0,
            cmap=MAP, vmin=0.0, vmax=90.0, marker="s", linewidths=0.0, rasterized=True,
        )  # fmt: skip
        slips = record.slip[:, row]
        axis.plot(hours[slips], np.full(slips.sum(), row), "|", color=INK, markersize=5.0)
        axis.annotate(
            name, (0.0, row), (-2, 0), textcoords="offset points", ha="right", va="center",
            fontsize=size, xycoords=axis.get_yaxis_transform(), color=PALE,
        )  # fmt: skip
    axis.set_yticks([])
    axis.set_ylim(len(record.names), -1.0)
    axis.set_xlabel("hour of the GPS day")
    axis.grid(visible=False)
    if record.names:
        figure.colorbar(points, ax=axis, label="elevation (deg)", pad=0.01, fraction=0.03)
    axis.set_title("satellites; upright strokes: slips", loc="left", fontsize=8.5)
