"""Parts that no longer do what they did: panels, rotor, load; each day by what is known then.

Each rule returns findings: since when, said when, and why. A rule says nothing of a day that cannot
tell, such as panels by night: what is found then holds on, until the contrary is seen. The bank is
in :mod:`.health_ageing`, one group of panels in :mod:`.health_side`.
"""

from dataclasses import dataclass, replace

import numpy as np

from .health_turbine import BLOCK_H
from .telemetry import DAY_H, day_medians

ZERO_A = 0.03  # A, of a meter to 0.01 A: nothing flows; common practice
RIMED_SHARE = 0.30  # -, of a closed sky's light that thick rime leaves a panel; set on 100 winters
LEAST_PANEL_A = 0.04  # A, to be expected even then; set on the same
DARK_HOURS, DARK_DAYS = 10, 3  # h and d of light without current, to call panels dead; likewise
BACK_HOURS = 3  # h with current in 24, to call panels told dead alive again; own choice
STANDING_BLOCKS = 4  # of six hours each, windy, to say that a rotor stands; on seeds 8500 to 8719
LOAD_SHARE, LOAD_DAYS = 1.5, 2  # -, more than usual; d in which it stays; own choice
DOUBT_K, LEAST_LOAD_H = (
    1.0,
    4,
)  # K about the thermostat's limit left out; h a day needed; own choice
USUAL_D = 30  # d, before, that make the usual load; own choice
CURRENT_D = 3  # d; what needs fresh signs holds so long after its last; own choice

PANELS, ONE_PANEL, TURBINE, LOAD, BANK, COVER = (
    "panels give nothing",
    "one group of panels gives nothing",
    "turbine stands in the wind",
    "load has grown",
    "bank holds less than it did",
    "panels rimed or dirty",
)


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong: days count from the first of the telemetry, ``last`` inclusive.

    ``begins``: since when, as far as can be told; ``told``: the day at whose end it was clear.
    ``why``: figures and the likeliest reason, in a sentence. ``ended``: the day on which the
    contrary was seen; -1 where it was not, or where no such thing is looked for.
    """

    kind: str
    begins: int
    told: int
    last: int
    why: str
    ended: int = -1

    def holds(self, day):
        """Say whether it holds at a day's end, by what is known then.

        A part that was found dead stays so until the contrary is seen, however long nothing tells;
        other findings while their last sign is no older than :data:`CURRENT_D` days.
        """
        if self.told > day:
            return False
        return day < self.ended if self.ended >= 0 else self.last >= day - CURRENT_D


def runs(flags):
    """Return (first, last) of each run of True, inclusive."""
    edge = np.diff(np.concatenate(([0], np.asarray(flags, int), [0])))
    return list(zip(np.flatnonzero(edge == 1), np.flatnonzero(edge == -1) - 1, strict=True))


def dead_panels(hours, expected, volts=12.0):
    """Return findings of panels that give no current in light that even rime lets through.

    Once told it holds until :data:`BACK_HOURS` hours of a day and a night give current: a meter at
    rest reads a little now and then.
    """
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
        holds = bool(found) and found[-1].ended < 0
        if gives[k] and not (holds and gives[max(k + 1 - DAY_H, 0) : k + 1].sum() < BACK_HOURS):
            found = ended(found, k // DAY_H)
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
    if found and found[-1].begins == begins and found[-1].ended < 0:
        last = found.pop()
        return [*found, Finding(kind, begins, last.told, day, why)]
    return [*found, Finding(kind, begins, day, day, why)]


def ended(found, day):
    """Return findings whose last one was seen to be over on a day, if it was not before."""
    if not found or found[-1].ended >= 0:
        return found
    return [*found[:-1], replace(found[-1], ended=day)]


def held_on(found, day):
    """Return findings whose last one holds on through a day that does not tell."""
    if not found or found[-1].ended >= 0:
        return found
    return [*found[:-1], replace(found[-1], last=day)]


def standing_rotor(rotor, hours):
    """Return findings of a rotor that stands in the wind, with rime as a reason where it is one.

    Once told it holds through calm and silence, until the rotor gives current again.
    """
    found = []
    for k in range(rotor.stood.size):
        count, first = rotor.standing_blocks(k)
        day = k * BLOCK_H // DAY_H
        if rotor.turned[k]:
            found = ended(found, day)
        if count < STANDING_BLOCKS or not rotor.stood[k]:
            found = held_on(found, day)
            continue
        begins = first * BLOCK_H // DAY_H
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
