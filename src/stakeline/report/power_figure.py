"""Figure of a plan: the smallest change seen by stations, drainages and days of record."""

from dataclasses import dataclass

import numpy as np

from .style import DEEP, INK, RUST, WARM, new_figure, styled

NAMES = {
    "stations": "stations", "drainages": "drainages", "record_d": "days before and after",
    "days": "days of record",
}  # fmt: skip
INKS = (DEEP, WARM, RUST)  # usual season, most restless one, daily speeds of all seasons


@dataclass(frozen=True)
class PowerCurves:
    """``lines``: (along, season, power, x (n,), smallest change (n,)); ``unit`` of the changes.

    ``wished``: the change that is asked for, NaN where it cannot be drawn.
    """

    title: str
    lines: tuple
    unit: str
    wished: float
    note: str = ""


@styled
def draw_power(record):
    """Return the figure of :class:`PowerCurves`: a panel for each of :data:`NAMES`."""
    figure = new_figure(9.0, 4.2, record.title)
    names = {k: v for k, v in NAMES.items() if k in {line[0] for line in record.lines}}
    axes = figure.subplots(1, len(names), sharey=True)
    seasons = list(dict.fromkeys(line[1] for line in record.lines))
    powers = sorted({line[2] for line in record.lines})
    for axis, (along, words) in zip(axes, names.items(), strict=True):
        for _, season, power, x, y in (one for one in record.lines if one[0] == along):
            dashes = "-" if power == powers[0] else (0, (4, 2))
            label = f"{season}, {100 * power:.0f} %" if along in ("stations", "days") else None
            axis.plot(
                x,
                y,
                color=INKS[seasons.index(season) if along != "days" else -1],
                linestyle=dashes,
                label=label,
            )
        if np.isfinite(record.wished):
            axis.axhline(record.wished, color=INK, linewidth=0.8, linestyle=":")
        axis.set_xlabel(words)
        if along == "record_d":
            axis.set_xscale("log")
        axis.set_yscale("log")
    axes[0].set_ylabel(f"smallest change ({record.unit})")
    figure.legend(
        loc="outside lower left", frameon=False, fontsize=7.5, ncols=2, title=record.note or None,
        title_fontsize=7.5, alignment="left",
    )  # fmt: skip
    return figure
