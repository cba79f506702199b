"""Figures of decisions: speeds around events, effects and lags, chance, power, other choices."""

from dataclasses import dataclass

import numpy as np

from .style import BAND, DEEP, INK, PALE, RUST, WARM, WATER, footnote, new_figure, styled

_ROW_IN = 1.05
_EVENT_LOOKS = (
    {"linestyle": "-"},
    {"linestyle": (0, (5, 1.5))},
    {"linestyle": (0, (1, 1.2))},
    {"linestyle": (0, (4, 1.2, 1, 1.2))},
)


@dataclass(frozen=True)
class AlignedRow:
    """One station around the events of a lake.

    ``since_d`` (n,) days since the onset; ``each`` (events, n) and ``mean`` (n,) change from the
    days before [%]; ``fitted`` (n,) the response estimated [%], of NaN where there is none.
    """

    label: str
    since_d: np.ndarray
    each: np.ndarray
    mean: np.ndarray
    fitted: np.ndarray
    placebo: bool = False


@dataclass(frozen=True)
class Effect:
    """One line of the plot of effects: value, low and high; None where there is none."""

    label: str
    change: tuple
    lag: tuple | None = None
    strong: bool = False


@dataclass(frozen=True)
class ChanceResult:
    """What chance makes (draws,), what was observed [sigma], p and the least there can be."""

    label: str
    null: np.ndarray
    observed: float
    p: float
    least: float


@dataclass(frozen=True)
class PowerCurve:
    """Share called (n,) of changes (n,) [%], power by formula; the change called with 80 %."""

    label: str
    change: np.ndarray
    called: np.ndarray
    formula: np.ndarray
    smallest: float
    found: float


@styled
def draw_aligned(rows, title, events, lasts_d, note=""):
    """Return speeds of each station around the events, stations in the order of the route.

    Parameters
    ----------
    rows : sequence of AlignedRow
    title : str
    events : sequence of str
        Names, in the order of ``each``.
    lasts_d : float
        Median length of the drainages. [d]
    """
    figure = new_figure(7.5, 1.3 + _ROW_IN * len(rows), title)
    panels = figure.subplots(len(rows), 1, sharex=True, sharey=True, squeeze=False)[:, 0]
    for panel, row in zip(panels, rows, strict=True):
        _aligned(panel, row, lasts_d)
    low, high = _reach(rows)
    panels[0].set_ylim(low, high)
    panels[0].set_xlim(rows[0].since_d[0], rows[0].since_d[-1])
    panels[-1].set_xlabel("days after the onset of the drainage")
    figure.supylabel("change from the days before (%)", fontsize=8.5)
    handles = [
        panels[0].plot([], [], color=PALE, linewidth=0.9, **_looks(k))[0]
        for k in range(len(events))
    ]
    handles += [panels[0].plot([], [], color=INK, linewidth=1.4)[0]]
    handles += [panels[0].plot([], [], color=WARM, linewidth=2.2)[0]]
    figure.legend(handles, [*events, "mean of the events", "response estimated"],
                  loc="outside lower left", ncols=3, frameon=False, fontsize=7.5,
                  title=note or None, title_fontsize=7.5, alignment="left")  # fmt: skip
    return figure


def _aligned(panel, row, lasts_d):
    panel.axvspan(0.0, lasts_d, color=WATER, zorder=0)
    panel.axvline(0.0, color=INK, linewidth=0.7)
    panel.axhline(0.0, color=INK, linewidth=0.5)
    for number, values in enumerate(row.each):
        panel.plot(row.since_d, values, color=PALE, linewidth=0.9, **_looks(number))
    panel.plot(row.since_d, row.fitted, color=WARM, linewidth=2.4)
    panel.plot(row.since_d, row.mean, color=INK, linewidth=1.3)
    style = "italic" if row.placebo else "normal"
    panel.set_title(row.label, loc="left", fontsize=8.5, pad=2, style=style)


def _looks(number):
    return _EVENT_LOOKS[number % len(_EVENT_LOOKS)]


def _reach(rows):
    """Return the common limits: all means and responses, and nearly all single values."""
    inner = np.concatenate([r.each[np.isfinite(r.each)] for r in rows])
    firm = np.concatenate([v[np.isfinite(v)] for r in rows for v in (r.mean, r.fitted)])
    low, high = np.quantile(inner, [0.01, 0.99]) if len(inner) else (-1.0, 1.0)
    low, high = min(low, firm.min(initial=low)), max(high, firm.max(initial=high))
    margin = 0.06 * (high - low) or 1.0
    return low - margin, high + margin


@styled
def draw_effects(effects, title, note=""):
    """Return the change and the lag of each station, event and lake, with 95 % intervals."""
    figure = new_figure(7.5, 1.3 + 0.24 * len(effects), title)
    panels = figure.subplots(1, 2, sharey=True, width_ratios=[1.6, 1.0])
    for place, effect in enumerate(effects):
        looks = {
            "color": DEEP if effect.strong else PALE,
            "linewidth": 2.6 if effect.strong else 1.4,
        }
        for panel, value in zip(panels, (effect.change, effect.lag), strict=True):
            if value is None:
                continue
            middle, low, high = value
            panel.plot([low, high], [place, place], solid_capstyle="butt", **looks)
            panel.plot(middle, place, marker="o", color=looks["color"], markeredgecolor="white",
                       markersize=6 if effect.strong else 4.5, zorder=5)  # fmt: skip
    for panel, name in zip(panels, ("change of speed (%)", "lag after the onset (d)"), strict=True):
        panel.axvline(0.0, color=INK, linewidth=0.8)
        panel.set_xlabel(name)
        panel.grid(axis="y", visible=False)
    panels[0].set_yticks(range(len(effects)), [e.label for e in effects], fontsize=7.5)
    for tick, effect in zip(panels[0].get_yticklabels(), effects, strict=True):
        tick.set_fontweight("bold" if effect.strong else "normal")
    panels[0].set_ylim(len(effects) - 0.4, -0.6)
    footnote(figure, note)
    return figure


@styled
def draw_chance(results, title, note=""):
    """Return what chance makes of the strongest change, and what was observed, by lake."""
    figure = new_figure(7.5, 0.9 + 1.5 * len(results), title)
    panels = figure.subplots(len(results), 1, sharex=True, squeeze=False)[:, 0]
    last = 1.06 * max(max(r.null.max(initial=0.0), r.observed) for r in results)
    edges = np.linspace(0.0, last, 60)
    for panel, result in zip(panels, results, strict=True):
        share = np.histogram(result.null, edges)[0] / max(len(result.null), 1)
        panel.stairs(100.0 * share, edges, fill=True, color=BAND)
        panel.stairs(100.0 * share, edges, color=DEEP, linewidth=0.8)
        panel.axvline(result.observed, color=RUST, linewidth=2.0)
        said = f"observed, p = {result.p:.2g}\n(smallest possible {result.least:.2g})"
        panel.annotate(said, (result.observed, 0.9), color=RUST,
                       xycoords=("data", "axes fraction"), textcoords="offset points",
                       xytext=(-5, 0), ha="right", va="top")  # fmt: skip
        panel.set_title(result.label, loc="left", fontsize=8.5)
        panel.set_ylabel("shifts (%)")
    panels[-1].set_xlabel("largest change over stations and lags (sigma)")
    panels[-1].set_xlim(0.0, last)
    footnote(figure, note)
    return figure


@styled
def draw_power(curves, title, note=""):
    """Return the power of each lake's test over the size of a change."""
    figure = new_figure(7.5, 3.3, title)
    panels = figure.subplots(1, len(curves), sharey=True, squeeze=False)[0]
    for panel, curve in zip(panels, curves, strict=True):
        panel.axhline(80.0, color=INK, linewidth=0.6, linestyle=(0, (3, 2)))
        panel.plot(curve.change, 100.0 * curve.formula, color=WARM, linewidth=2.6,
                   label="t test of the pooled change")  # fmt: skip
        panel.plot(curve.change, 100.0 * curve.called, color=DEEP, linewidth=1.4,
                   label="whole decision")  # fmt: skip
        if np.isfinite(curve.smallest):
            panel.plot([curve.smallest] * 2, [0.0, 80.0], color=RUST, linewidth=1.2)
            panel.annotate(f"{curve.smallest:.2g} %", (curve.smallest, 4.0), color=RUST,
                           textcoords="offset points", xytext=(4, 0))  # fmt: skip
        panel.set_title(f"{curve.label}\nfound: {curve.found:+.2g} %", loc="left", fontsize=8.5)
        panel.set_xlabel("size of a change (%)")
        panel.set_ylim(0.0, 102.0)
        panel.set_xlim(0.0, curve.change[-1])
    panels[0].set_ylabel("would have been called one (%)")
    panels[0].legend(frameon=False, fontsize=7.5, loc="center right")
    footnote(figure, note)
    return figure


@styled
def draw_choices(tables, title, note=""):
    """Return the pooled change under other choices, one panel for each (name, rows of Effect).

    A choice that one of them does not have, such as for the want of a tide, is left empty there.
    """
    labels = list(dict.fromkeys(effect.label for _, rows in tables for effect in rows))
    figure = new_figure(7.5, 1.5 + 0.27 * len(labels), title)
    panels = figure.subplots(1, len(tables), sharey=True, squeeze=False)[0]
    for panel, (name, rows) in zip(panels, tables, strict=True):
        low, high = rows[0].change[1:]
        panel.axvspan(low, high, color=BAND, linewidth=0.0, zorder=0)
        for effect in rows:
            place = labels.index(effect.label)
            middle, first, last = effect.change
            color = DEEP if effect.strong else INK
            panel.plot([first, last], [place] * 2, color=color, linewidth=1.8)
            panel.plot(middle, place, marker="o", color=color, markeredgecolor="white", zorder=5)
        panel.axvline(0.0, color=INK, linewidth=0.8)
        panel.set_title(name, loc="left", fontsize=8.5)
        panel.set_xlabel("change of speed (%)")
        panel.grid(axis="y", visible=False)
    panels[0].set_yticks(range(len(labels)), labels, fontsize=7.5)
    panels[0].set_ylim(len(labels) - 0.5, -0.5)
    footnote(figure, note)
    return figure
