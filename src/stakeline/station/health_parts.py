"""Parts that no longer do what they did: panels, rotor, load; each day by what is known then.

Each rule returns findings: since when, said when, and why. A rule says nothing of a day that cannot
tell, such as panels by night. The bank is in :mod:`.health_ageing`.
"""

from dataclasses import dataclass

import numpy as np

from .battery import charge_limit_V
from .health_forecast import UNSATURATED_CHARGE, UNSATURATED_V
from .health_turbine import BLOCK_H
from .telemetry import DAY_H, day_medians

ZERO_A = 0.03  # A, of a meter to 0.01 A: nothing flows; common practice
RIMED_SHARE = 0.25  # -, of a closed sky's light that thick rime leaves a panel; own choice
LEAST_PANEL_A = 0.05  # A, to be expected even then; own choice
DARK_HOURS, DARK_DAYS = 14, 3  # h and d of light without current, to call panels dead; own choice
ONE_SIDED = 3.0  # -, by which one group outshines the others together; own choice
ALIVE = 0.40  # -, of the clear sky's power, which no group gives by diffuse light alone; own choice
FAIR = 0.55  # -, of the clear sky's, by which the other side shows that the Sun was out; own choice
SIDE_AT = 4.0  # -, logarithm of the odds at which one group is called dead; set on seeds 0 to 23
STANDING_BLOCKS = 6  # of six windy hours each, to say that a rotor stands; own choice
LOAD_SHARE, LOAD_DAYS = 1.5, 2  # -, more than usual; d in which it stays; own choice
DOUBT_K, LEAST_LOAD_H = (
    1.0,
    4,
)  # K about the thermostat's limit left out; h a day needed; own choice
USUAL_D = 30  # d, before, that make the usual load; own choice

PANELS, ONE_PANEL, TURBINE, LOAD, BANK = (
    "panels give nothing",
    "one group of panels gives nothing",
    "turbine stands in the wind",
    "load has grown",
    "bank holds less than it did",
)


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong: days count from the first of the telemetry, ``last`` inclusive.

    ``begins``: since when, as far as can be told; ``told``: the day at whose end it was clear.
    ``why``: figures and the likeliest reason, in a sentence.
    """

    kind: str
    begins: int
    told: int
    last: int
    why: str


def runs(flags):
    """Return (first, last) of each run of True, inclusive."""
    edge = np.diff(np.concatenate(([0], np.asarray(flags, int), [0])))
    return list(zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1) - 1, strict=True))


def dead_panels(hours, expected, volts=12.0):
    """Return findings of panels that give no current in light that even rime lets through."""
    load = np.nan_to_num(hours.load_A, nan=0.0)
    rimed = RIMED_SHARE * expected.overcast_W.sum(axis=0)
    all_of_it = rimed + np.nan_to_num(expected.turbine_W)
    part = rimed / np.maximum(all_of_it, 1e-9) * np.minimum(load, all_of_it / volts)
    with np.errstate(invalid="ignore"):
        telling = (part >= LEAST_PANEL_A) & np.isfinite(hours.panel_A)
        gives = hours.panel_A > ZERO_A
        nothing = telling & ~gives
    found, dark, days, begins = [], 0, set(), 0
    for k in range(telling.size):
        if gives[k]:
            dark, days = 0, set()
        elif nothing[k]:
            begins = k // DAY_H if not dark else begins
            dark += 1
            days.add(k // DAY_H)
        if dark >= DARK_HOURS and len(days) >= DARK_DAYS:
            why = (
                f"no current in {dark} hours of light since, though even a rimed panel would give "
                f"{LEAST_PANEL_A:g} A: cable, fuse or controller, or snow over them"
            )
            found = grown(found, PANELS, begins, k // DAY_H, why)
    return found


def grown(found, kind, begins, day, why):
    """Return findings with one more day of the last one, or with a new one."""
    if found and found[-1].begins == begins:
        last = found.pop()
        return [*found, Finding(kind, begins, last.told, day, why)]
    return [*found, Finding(kind, begins, day, day, why)]


def one_sided_panels(hours, design, expected, charge):
    """Return findings of one group of panels that gives nothing while another does.

    Only where the bank takes all there is. On a day when the other side shows the Sun, hours in
    which one group outshines the rest tell: logarithms of measured by clear-sky power are taken as
    normal about the other side's with sigma 0.5 where it lives, about what diffuse light alone
    gives with 0.4 where it does not.
    """
    power = hours.panel_A * hours.battery_V
    limit = charge_limit_V(design.bank, np.nan_to_num(hours.box_degC, nan=0.0))
    scale = design.bank.nominal_V / 12.0
    with np.errstate(invalid="ignore"):
        takes = hours.battery_V < limit - UNSATURATED_V * scale
        takes &= np.repeat(charge[: hours.days] < UNSATURATED_CHARGE, DAY_H) & np.isfinite(power)
    total = expected.clear_W.sum(axis=0)
    found = []
    for row in range(len(expected.clear_W)):
        own, rest = expected.clear_W[row], total - expected.clear_W[row]
        mine = takes & (own > ONE_SIDED * rest) & (own > 0.02 * design.panel_W)
        theirs = takes & (rest > ONE_SIDED * own) & (rest > 0.02 * design.panel_W)
        found += _one_side(row, design, power, own, rest, mine, theirs)
    return found


def _one_side(row, design, power, own, rest, mine, theirs):
    """Return findings of one group."""
    total, found, odds, begins = own + rest, [], 0.0, 0
    for day in range(power.size // DAY_H):
        rows = slice(day * DAY_H, (day + 1) * DAY_H)
        a, b = mine[rows], theirs[rows]
        if not (a.any() and b.any()):
            continue
        here = power[rows][a].sum() / total[rows][a].sum()
        there = power[rows][b].sum() / total[rows][b].sum()
        if (power[rows][a] / total[rows][a]).max() > ALIVE:
            odds = 0.0
        elif there > FAIR:
            ghost = max(rest[rows][a].sum() / total[rows][a].sum(), 0.03)
            ratio = np.log(max(here, 0.005) / there)
            alive = -0.5 * (ratio / 0.5) ** 2
            dead = -0.5 * ((ratio - np.log(ghost)) / 0.4) ** 2 if ratio > np.log(ghost) else 0.0
            begins = day if odds <= 0.0 else begins
            odds = max(odds + np.clip(dead - alive, -2.0, 2.5), 0.0)
        if odds > SIDE_AT:
            why = (
                f"{design.panels[row].name}: {100 * here:.0f} % of the clear sky's power while it "
                f"faces the Sun, the others {100 * there:.0f} %: its cable, fuse or diode, or shade"
            )
            found = grown(found, ONE_PANEL, begins, day, why)
    return found


def standing_rotor(rotor, hours):
    """Return findings of a rotor that stands in the wind, with rime as a reason where it is one."""
    found = []
    for k in range(rotor.stood.size):
        count, first = rotor.standing_blocks(k)
        if count < STANDING_BLOCKS or not rotor.stood[k]:
            continue
        begins, day = first * BLOCK_H // DAY_H, k * BLOCK_H // DAY_H
        rimed = rotor.rime[k] > rotor.rime_stop[k] - 0.1
        reason = "rime is likely" if rimed and not rotor.dead[k] else "rime may be the reason"
        if rotor.dead[k]:
            reason = "rime alone is no likely reason: bearing, blade, brake or cable"
        wind = hours.wind_m_s[first * BLOCK_H : (k + 1) * BLOCK_H]
        found = grown(found, TURBINE, begins, day, f"no current in {count * BLOCK_H} windy hours, "
                       f"up to {np.nanmax(wind):.0f} m/s; {reason}")  # fmt: skip
    return found


def grown_load(hours, design):
    """Return findings of a load above the usual, hours of the heater left out or put right."""
    power = hours.load_A * hours.battery_V
    box = np.where(np.isfinite(hours.box_degC), hours.box_degC, hours.air_degC)
    cold = box - design.box.heater_on_degC
    volts = design.box.heater_least_V * design.bank.nominal_V / 12.0
    with np.errstate(invalid="ignore"):
        heats = (cold < 0.0) & (hours.battery_V > volts)
        unsure = (np.abs(cold) < DOUBT_K) | ((cold < 0.0) & (np.abs(hours.battery_V - volts) < 0.1))
    if not design.box.heater_W:
        heats, unsure = np.zeros((2, power.size), bool)
    power = np.where(heats, power - design.box.heater_W, power)
    power = np.where(unsure, np.nan, power).reshape(-1, DAY_H)
    base, usual, found, count, begins = design.mean_W, [], [], 0, 0
    daily = day_medians(power, LEAST_LOAD_H)
    for day in np.flatnonzero(np.isfinite(daily)).tolist():
        today = float(daily[day])
        base = float(np.median(usual[-USUAL_D:])) if len(usual) >= 5 else base
        if today > LOAD_SHARE * base:
            begins = day if count == 0 else begins
            count += 1
        else:
            count = 0
            usual.append(today)
        if count >= LOAD_DAYS:
            why = (
                f"{today:.1f} W, usually {base:.1f} W, without the heater: a heater or modem that "
                "stays on, a short, or wet cables"
            )
            found = grown(found, LOAD, begins, day, why)
    return found
