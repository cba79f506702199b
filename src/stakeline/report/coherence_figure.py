"""Figure of coherence: how alike pairs of stations are, and how late the lower one is, by band."""

from dataclasses import dataclass

import numpy as np

from .style import DEEP, INK, PALE, footnote, new_figure, styled


@dataclass(frozen=True)
class BandPairs:
    """Pairs (n,) of stations in one band.

    ``apart_km``: how much further along the flow the second stands. ``coherence`` is squared,
    ``level`` what chance passes in 5 of 100 cases; ``lag_h`` > 0: the lower station is later, with
    half its 95 % interval.
    """

    title: str
    apart_km: np.ndarray
    coherence: np.ndarray
    level: np.ndarray
    lag_h: np.ndarray
    lag_half_width_h: np.ndarray


@styled
def draw_coherence(bands, title, note=""):
    """Return one row of panels for each :class:`BandPairs`: coherence, and lags above the level."""
    figure = new_figure(9.0, 1.2 + 2.4 * len(bands), title)
    grid = figure.subplots(len(bands), 2, squeeze=False, sharex=True)
    for row, record in zip(grid, bands, strict=True):
        _alike(row[0], record)
        _late(row[1], record)
    for panel in grid[-1]:
        panel.set_xlabel("distance between the two along the flow (km)")
    footnote(figure, note)
    return figure


def _alike(panel, record):
    above = record.coherence > record.level
    looks = {"linestyle": "none", "marker": "o", "markersize": 4.0, "zorder": 3}
    panel.plot(record.apart_km[above], record.coherence[above], color=DEEP, **looks)
    panel.plot(
        record.apart_km[~above], record.coherence[~above], color=PALE, markerfacecolor="white",
        **looks,
    )  # fmt: skip
    order = np.argsort(record.apart_km)
    panel.plot(
        record.apart_km[order], record.level[order], color=INK, linewidth=0.9,
        linestyle=(0, (4, 2)), marker="_", markersize=7.0, zorder=2,
        label="chance passes this in 5 of 100",
    )  # fmt: skip
    panel.set_ylim(0.0, 1.02)
    panel.set_ylabel("coherence, squared (-)")
    panel.set_title(record.title, loc="left", fontsize=9)
    panel.legend(loc="lower right", bbox_to_anchor=(1.0, 0.98), frameon=False, fontsize=7.5)


def _late(panel, record):
    """Draw the lags of the pairs that are above the level."""
    above = record.coherence > record.level
    panel.axhline(0.0, color=PALE, linewidth=0.6, zorder=1)
    panel.errorbar(
        record.apart_km[above], record.lag_h[above], yerr=record.lag_half_width_h[above],
        fmt="o", markersize=4.0, color=DEEP, ecolor=INK, elinewidth=0.8, capsize=2.0, zorder=3,
    )  # fmt: skip
    if not above.any():
        panel.text(0.5, 0.5, "none above chance", transform=panel.transAxes, ha="center")
    panel.set_ylabel("lower station later by (h)")
