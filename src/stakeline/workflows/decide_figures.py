"""From what was decided to the figures that show it."""

import numpy as np

from ..inference.shape import Events, ShapeGrid, columns
from ..report.decide_figures import (
    AlignedRow,
    ChanceResult,
    Effect,
    PowerCurve,
    draw_aligned,
    draw_chance,
    draw_choices,
    draw_effects,
    draw_power,
)
from .decide_station import mean_of
from .decide_tables import power_curve
from .lakes_parts import file_name

_BEFORE_D, _AFTER_D = 20.0, 40.0  # d, shown around an onset; choice


def decide_figures(part, lakes, every, each, campaign_name):
    """Return {name: Figure}; what could not be estimated is not drawn."""
    decisions = [d for d in ((every, *each) if len(each) > 1 else each) if d.pooled is not None]
    usable = [f for f in lakes if f.fitted]
    figures = {
        f"aligned_{file_name(f.question.lake)}": aligned(part, f, campaign_name) for f in usable
    }
    if not decisions:
        return figures
    figures["effects"] = draw_effects(
        effect_lines(usable, decisions), f"{campaign_name}: change of speed, and how late",
        "Bold: all stations and events of a lake together. Bars: 95 % intervals.\nLag of a "
        "station: the mean of its events'. One below 0 lies within half a step of 0.",
    )  # fmt: skip
    shifted = [
        ChanceResult(f.question.lake, f.null, f.observed, f.chance.p, f.chance.resolution)
        for f in usable if f.chance is not None
    ]  # fmt: skip
    if shifted:
        figures["chance"] = draw_chance(
            shifted, f"{campaign_name}: what chance alone can do",
            "Grey: the largest change after less before, over stations and lags, with the "
            "drainages shifted around the record.\nRed: at the days of the drainages themselves.",
        )  # fmt: skip
    curves = [_curve(d) for d in decisions if d.power is not None]
    if curves:
        figures["power"] = draw_power(
            curves, f"{campaign_name}: how small a change would have been called one",
            "Changes put into the record at other times and decided upon. Dashed: 80 %. Red: the "
            "change called one with 80 %.",
        )  # fmt: skip
    figures["robustness"] = draw_choices(
        [(d.name, _choices(d)) for d in decisions], f"{campaign_name}: other choices",
        "Pooled change with its 95 % interval. Band: as planned.",
    )  # fmt: skip
    return figures


def _curve(decision):
    return PowerCurve(
        decision.name, *power_curve(decision), decision.smallest, decision.pooled.effect
    )


def _choices(decision):
    rows = [Effect("as planned", _value(decision.pooled), strong=True)]
    return rows + [
        Effect(label, _value(other))
        for label, other in (decision.others or {}).items() if other is not None
    ]  # fmt: skip


def _value(pooled):
    return pooled.effect, *pooled.interval


def effect_lines(lakes, decisions):
    """Return the Effects: all lakes, then each lake with its events and stations."""
    by_name = {d.name: d for d in decisions}
    lines = []
    if len(decisions) > 1:
        lines.append(Effect(decisions[0].name, _value(decisions[0].pooled), strong=True))
    for found in lakes:
        if found.question.lake not in by_name:
            continue
        own = by_name[found.question.lake]
        lines.append(Effect(own.name, _value(own.pooled), strong=True))
        for number, pooled in found.by_event.items():
            day = found.question.names[number].removeprefix(f"{own.name} ").removesuffix(" drain")
            lines.append(Effect(f"event of {day}", _value(pooled)))
        distance = {s.station: s.distance_km for s in found.question.responding}
        for station in found.fitted:
            km = distance[station.station]
            where = f", {km:.0f} km" if np.isfinite(km) else ""
            fit = station.fit
            lines.append(Effect(f"{station.station}{where}", (fit.amplitude, *fit.interval),
                                (fit.lag, *fit.lag_interval)))  # fmt: skip
    return lines


def aligned(part, found, campaign_name):
    """Return the figure of all stations around the drainages of one lake."""
    question = found.question
    rows = []
    fits = {s.station: s for s in found.fitted}
    for speeds in question.responding:
        km = f", {speeds.distance_km:.1f} km down the route" * bool(np.isfinite(speeds.distance_km))
        rows.append(_row(part, question, speeds, fits.get(speeds.station), f"{speeds.station}{km}"))
    for speeds in question.placebos:
        label = f"{speeds.station}, off the route: must not respond"
        rows.append(_row(part, question, speeds, None, label, placebo=True))
    lasts = float(np.median(question.events.end - question.events.onset))
    names = [name.removeprefix(f"{question.lake} ") for name in question.names]
    return draw_aligned(
        rows, f"{campaign_name}: speed as {question.lake} drains", names, lasts,
        f"Change from the mean of the {part.before_d:g} days before. Shaded: the drainage, "
        f"{lasts:.0f} d (median).",
    )  # fmt: skip


def _row(part, question, speeds, station, label, placebo=False):
    since = np.arange(-_BEFORE_D, _AFTER_D + 0.5 * part.window_d, part.window_d)
    each = np.array([_around(part, question, speeds, at, since) for at in question.events.middle])
    return AlignedRow(label, since, each, mean_of(each), _fitted(question, station, since), placebo)


def _around(part, question, speeds, onset, since):
    """Return the values (n,) of the days nearest to an onset plus ``since``, less those before."""
    place = np.round((onset + since - question.days[0]) / part.window_d).astype(int)
    inside = (place >= 0) & (place < len(question.days))
    values = np.where(inside, speeds.percent[np.clip(place, 0, len(question.days) - 1)], np.nan)
    before = values[(since >= -part.before_d) & (since < 0.0)]
    before = before[np.isfinite(before)]
    return values - before.mean() if len(before) else np.full(len(since), np.nan)


def _fitted(question, station, since):
    """Return the response (n,) of the mean event at the most likely shape. [%]"""
    if station is None:
        return np.full(len(since), np.nan)
    fit = station.fit
    lag, rise, longer, decay = (float(v) for v in fit.shapes[fit.best])
    length = float(np.median(question.events.end - question.events.onset))
    grid = ShapeGrid((lag,), (rise,), (longer + length,), (decay,))
    shape = columns(since, Events(np.zeros(1)), grid, float(since[1] - since[0]), 0)[0, :, 0]
    return float(np.nanmean(fit.each)) * shape
