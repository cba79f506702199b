"""A station's energy of late as it is told: each figure with its doubt, or why there is none."""

import numpy as np

from ..constants import NS_PER_DAY
from ..station.health_cover import TOLD_D
from ..station.health_energy import LONG_D, MEAN_D, SPAN_D, designed_loss_W_K
from ..station.health_parts import PANELS, TURBINE
from ..time import iso

ENERGY_COLUMNS = ("station", "what", "is", "from", "to", "unit", "days", "said")
TWO = 2.0  # -, sigmas from the figure to its ends
PERCENT = 100.0
BALANCE = {
    "panel": ("panels brought", "by the meters, after what a full bank did not take"),
    "turbine": ("turbine brought", "by the meters, after what a full bank did not take"),
    "load": ("load took", "by the meters, heater and all"),
    "lost": ("lost in the bank", "what charging does not keep and it loses by itself, as fitted"),
    "stored": ("stored in the bank", "by its voltage at rest, or full, ten days ago and now"),
    "unexplained": ("not explained", "stored less what the meters leave for it"),
}  # fmt: skip


def energy_figures(health, design):
    """Return the figures of the last day as plain dicts of :data:`ENERGY_COLUMNS` less the station.

    ``from`` and ``to``: two sigmas either side, of the panels 5 and 95 %. A figure that cannot be
    told has no number, and ``said`` why.

    Parameters
    ----------
    health : Health
    design : Design
    """
    last = {name: float(values[-1]) for name, values in health.energy.items()}
    found = [_load(last, design)]
    if design.panels:
        found.append(_panels(health))
    if design.turbine is not None:
        found.append(_turbine(last, health))
    found += [_box(last, design), *_balance(last, health, design), *_charged(health)]
    return tuple(found)


def _figure(what, value, low, high, unit, days, said):
    """Return one figure; without numbers where there is none."""
    numbers = (None,) * 3 if value is None else tuple(float(f"{x:.4g}") for x in (value, low, high))
    return {"what": what, "is": numbers[0], "from": numbers[1], "to": numbers[2], "unit": unit,
            "days": int(days), "said": said}  # fmt: skip


def _about(what, value, sigma, unit, days, said):
    return _figure(what, value, value - TWO * sigma, value + TWO * sigma, unit, days, said)


def _load(last, design):
    """Return the real load against the plan's."""
    if not np.isfinite(last["load_W"]):
        why = f"no meter of the load in the last {MEAN_D} days"
        return _figure("load", None, 0, 0, "W", last["load_days"], f"cannot be told: {why}")
    more = PERCENT * (last["load_W"] / design.mean_W - 1.0)
    said = f"without the heater; {design.mean_W:.2f} W in the plan: {more:+.0f} %"
    return _about("load", last["load_W"], last["load_sigma_W"], "W", last["load_days"], said)


def _panels(health):
    """Return the panels' share of what clean ones would bring."""
    what, cover = "panels by clean ones", health.cover
    day = health.hours.days - 1
    if not np.isfinite(health.hours.panel_A[-TOLD_D * 24 :]).any():
        why = "the panels have no meter"
    elif _holds(health, PANELS):
        why = "they give nothing, see the findings"
    else:
        why = cover.why_not(day)
    if why:
        return _figure(what, None, 0, 0, "%", 0, f"cannot be told: {why}")
    return _figure(
        what, *(PERCENT * x[day] for x in (cover.share, cover.low, cover.high)), "%", TOLD_D,
        f"by {cover.hours[day]:.0f} hours in which the bank took all; less is rime, snow, dirt or "
        "shade; 5 to 95 %",
    )  # fmt: skip


def _holds(health, kind):
    return any(finding.kind == kind for finding in health.holding(health.hours.days - 1))


def _turbine(last, health):
    """Return the turbine's share of what the wind offers while it turns."""
    what, days = "turbine by its curve", last["turbine_share_days"]
    share, sigma = last["turbine_share"], last["turbine_share_sigma"]
    recent = slice(-LONG_D * 24, None)
    if np.isfinite(share):
        said = (
            "while it turns and the bank takes all; less is rime on the blades, or wind of a gust"
        )
        return _about(what, PERCENT * share, PERCENT * sigma, "%", days, said)
    if not np.isfinite(health.hours.wind_m_s[recent]).any():
        why = "no wind is measured"
    elif not np.isfinite(health.hours.turbine_A[recent]).any():
        why = "the turbine has no meter"
    elif _holds(health, TURBINE):
        why = "it stands in the wind, see the findings"
    else:
        why = f"calm, rime, or a full bank on all but {days:.0f} of the last {LONG_D} days"
    return _figure(what, None, 0, 0, "%", days, f"cannot be told: {why}")


def _box(last, design):
    """Return the loss of the box against the design's."""
    days, loss = last["box_loss_days"], last["box_loss_W_K"]
    if not np.isfinite(loss):
        why = "it takes load, box and air temperature, and a box warmer than the air"
        return _figure("loss of the box", None, 0, 0, "W/K", days, f"cannot be told: {why}")
    said = f"{designed_loss_W_K(design):.2f} W/K by the plan's walls in 5 m/s; snow keeps warm"
    return _about("loss of the box", loss, last["box_loss_sigma_W_K"], "W/K", days, said)


def _balance(last, health, design):
    """Return the terms of the balance of the last ten days."""
    days = last["balance_days"]
    if not days:
        why = _no_balance(health)
        return [_figure("balance", None, 0, 0, "W h/d", 0, f"cannot be told: {why}")]
    rows = []
    for name, (what, said) in BALANCE.items():
        if name == "turbine" and design.turbine is None:
            continue
        sure = name not in ("stored", "unexplained")
        sigma = 0.0 if sure else last["balance_sigma_Wh_d"]
        rows.append(_about(what, last[f"balance_{name}_Wh_d"], sigma, "W h/d", days, said))
    return rows


def _no_balance(health):
    """Return why there is no balance of the last ten days."""
    if not (health.nights.hours[-SPAN_D:] > 0).any():
        return f"no telemetry in the last {SPAN_D} days"
    if not np.isfinite(health.hours.load_A[-SPAN_D * 24 :]).any():
        return "no meter of the load"
    return (
        "it takes a night at rest, or a full bank, ten days ago and now, with the logger awake "
        "between, and not below what an empty bank can have"
    )


def _charged(health):
    """Return the days on which the bank was charged at all, and charged full."""
    energy, rows = health.energy, []
    for name, what in (("charged", "days charged"), ("full", "days charged full")):
        known = np.isfinite(energy[name][-LONG_D:])
        count = int(np.nansum(energy[name][-LONG_D:]))
        days = health.hours.first_day + np.flatnonzero(np.nan_to_num(energy[name]))
        said = f"last on {iso(days[-1] * NS_PER_DAY)[:10]}" if days.size else "never in the record"
        value = (count,) * 3 if known.any() else (None, 0, 0)
        said = said if known.any() else f"cannot be told: no telemetry in the last {LONG_D} days"
        rows.append(_figure(what, *value, "d", known.sum(), said))
    return rows


def energy_rows(stations):
    """Return a row for each figure of each station with a plan."""
    return [
        {"station": one.station, **{k: "" if v is None else v for k, v in figure.items()}}
        for one in stations
        for figure in one.energy
    ]


def energy_lines(one):
    """Return the lines of the summary on a station's energy; the balance is one of them."""
    terms = [figure for figure in one.energy if figure["unit"] == "W h/d" and figure["days"]]
    lines = [
        f"{figure['what']}: {_number(figure)}{figure['said']}"
        for figure in one.energy
        if figure not in terms
    ]
    if terms:
        listed = ", ".join(f"{one['what']} {one['is']:g}{_doubt(one)}" for one in terms)
        lines.append(f"balance of {terms[0]['days']} days [W h/d]: {listed}")
    return lines


def _number(figure):
    """Return a figure with its doubt and days; '' where it cannot be told."""
    if figure["is"] is None:
        return ""
    return f"{figure['is']:g} {figure['unit']}{_doubt(figure)}, of {figure['days']} days; "


def _doubt(figure):
    ends = figure["from"], figure["to"]
    return "" if ends[0] == ends[1] else f" ({ends[0]:g} to {ends[1]:g})"
