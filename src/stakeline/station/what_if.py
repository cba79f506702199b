"""What a design hangs on, and what would help it most: each change tried on the same years."""

from dataclasses import dataclass, replace

import numpy as np

from ..errors import SettingsError
from .battery import LEAD_ACID, LITHIUM
from .box import area_m2
from .survival import parts_power, survival
from .turbine import Turbine

MORE, LESS = 1.2, 0.8  # -; of a load or of light, own choice
CLOUDIER = 0.2  # -; of the sky, own choice
ALBEDO_APART = 0.15  # -; of the ground, own choice
COLDER_K = 5.0  # K; own choice
OLDER_A = 3.0  # a; own choice
WALL_M = 0.05  # m; of insulation added, own choice
WALL_KG_M2 = 2.0  # kg/m2; of 5 cm foam with its skin, common practice, no source
SAVED_W = 0.5  # W; own choice
TURBINE_LIVES = 0.8  # -; chance of a turbine added to last a year, common practice, no source
SEEKER_KG = 1.0  # kg; of a controller that seeks the best power, common practice, no source


@dataclass(frozen=True)
class Masses:
    """Mass of what is added: one string of the bank, one turbine, all else that stays. [kg]"""

    string_kg: float
    turbine_kg: float = 12.0
    rest_kg: float = 0.0


@dataclass(frozen=True)
class Change:
    """A design with one thing changed.

    ``chance``, ``lost_h``, ``lowest_charge``: as :class:`~.survival.Survival`; ``gain``: of the
    chance; ``hours_gain``: fewer hours lost; ``charge_gain``: of the lowest charge; ``mass_kg``:
    added.
    """

    words: str
    chance: float
    lost_h: float
    lowest_charge: float
    gain: float
    hours_gain: float
    charge_gain: float
    mass_kg: float = 0.0


def sensitivities(design, around, base):
    """Return what happens if something is otherwise than planned, worst first.

    Parameters
    ----------
    design : Design
    around : Circumstances
    base : Survival
        Of the design as planned.

    Returns
    -------
    tuple of Change
    """
    offered = parts_power(design, around)
    tried = [
        ("a fifth more load", _loads(design, MORE), {"offered": offered}),
        ("a fifth less load", _loads(design, LESS), {"offered": offered}),
        (f"the bank {OLDER_A:g} years older", _older(design), {"offered": offered}),
        *_losses(design, offered),
    ]
    found = [_change(words, survival(one, around, **more), base) for words, one, more in tried]
    for albedo in (design.site.albedo - ALBEDO_APART, min(design.site.albedo + ALBEDO_APART, 0.95)):
        words = f"albedo {max(albedo, 0.0):.2f} in place of {design.site.albedo:.2f}"
        found.append(_change(words, survival(design, around, albedo=max(albedo, 0.0)), base))
    found += [
        _change(words, survival(design, replace(around, weather=weather)), base)
        for words, weather in _weathers(around.weather)
    ]
    return tuple(sorted(found, key=_help))


def _change(words, after, base, mass_kg=0.0):
    return Change(
        words=words,
        chance=after.chance,
        lost_h=after.lost_h,
        lowest_charge=after.lowest_charge,
        gain=after.chance - base.chance,
        hours_gain=base.lost_h - after.lost_h,
        charge_gain=after.lowest_charge - base.lowest_charge,
        mass_kg=mass_kg,
    )


def _loads(design, factor):
    """Return the design with every load, and what it saves down to, changed by a factor."""
    loads = tuple(
        replace(
            load,
            power_W=factor * load.power_W,
            saved_W=None if load.saved_W is None else factor * load.saved_W,
        )
        for load in design.loads
    )
    return replace(design, loads=loads)


def _older(design):
    return replace(design, bank=replace(design.bank, age_a=design.bank.age_a + OLDER_A))


def _counted(design, index, change):
    """Return the design with more or fewer panels of one group."""
    groups = list(design.panels)
    groups[index] = replace(groups[index], count=max(groups[index].count + change, 0))
    return replace(design, panels=tuple(groups))


def _losses(design, offered):
    """Return (words, design, keywords) for each part lost."""
    lost = [
        (f"one {group.name} lost", _counted(design, i, -group.series), {"offered": offered})
        for i, group in enumerate(design.panels)
    ]
    if design.bank.parallel > 1:
        bank = replace(design.bank, parallel=design.bank.parallel - 1)
        lost.append(("one string of the bank lost", replace(design, bank=bank),
                     {"offered": offered}))  # fmt: skip
    if design.turbine is not None:
        lost.append(("the turbine dead from the first day", design,
                     {"offered": offered, "turbines": 0}))  # fmt: skip
    return lost


def _weathers(weather):
    """Return (words, weather) for each other weather."""
    cloud = np.clip(weather.cloud + CLOUDIER, 0.0, 1.0)
    rime = np.minimum(2.0 * weather.rime, 1.0)
    return [
        (f"cloud {CLOUDIER:g} more", replace(weather, cloud=cloud)),
        ("rime twice as thick", replace(weather, rime=rime)),
        (
            f"{COLDER_K:g} K colder",
            replace(weather, temperature_degC=weather.temperature_degC - COLDER_K),
        ),
        ("a fifth less wind", replace(weather, wind_m_s=LESS * weather.wind_m_s)),
    ]


def gains(design, around, base, masses):
    """Return what more or better parts would bring, most for its mass first.

    Parameters
    ----------
    design, around, base
        As :func:`sensitivities`.
    masses : Masses

    Returns
    -------
    tuple of Change
        Ordered by the gain in chance, then in hours, then in the lowest charge, each by the
        kilograms added; what adds none counts as one kilogram.
    """
    offered = parts_power(design, around)
    tried = [
        ("one string more", _strings(design, 1), {"offered": offered}, masses.string_kg),
        *(
            (f"one {g.name} more", _counted(design, i, g.series), {"offered": offered},
             g.series * g.mass_kg)
            for i, g in enumerate(design.panels)
        ),
        (f"{SAVED_W:g} W less load", _less_load(design), {"offered": offered}, 0.0),
        (f"{100 * WALL_M:.0f} cm more insulation", _warmer(design), {"offered": offered},
         WALL_KG_M2 * area_m2(design.box.outer_m)),
    ]  # fmt: skip
    if design.turbine is not None:
        tried.append(("a second turbine", design, {"offered": offered, "turbines": 2},
                      masses.turbine_kg))  # fmt: skip
    else:
        turned = replace(design, turbine=Turbine(), turbine_lives=TURBINE_LIVES)
        tried.append(("a turbine of 1.1 m", turned, {}, masses.turbine_kg))
    if design.box.heater_W > 0.0:
        box = replace(design.box, heater_W=0.0)
        tried.append(("no heater", replace(design, box=box), {"offered": offered}, 0.0))
    if design.panels and not design.panels[0].panel.tracking:
        tried.append(("a controller that seeks the panels' best power", _seeking(design), {},
                      SEEKER_KG))  # fmt: skip
    tried += [(words, one, {"offered": offered}, 0.0) for words, one in _safer(design)]
    found = [_change(w, survival(one, around, **k), base, mass) for w, one, k, mass in tried]
    return tuple(sorted(found, key=_worth, reverse=True))


def _safer(design):
    """Return (words, design) with each setting made safe that is not."""
    bank, found = design.bank, []
    if bank.chemistry == LITHIUM and not bank.frost_ban:
        found.append(("a ban on charging in frost", replace(bank, frost_ban=True)))
    if bank.chemistry == LEAD_ACID and not bank.compensated:
        found.append(("a controller that follows the cold", replace(bank, compensated=True)))
    if bank.trip_V is not None:
        found.append(("no breaker that stays off", replace(bank, trip_V=None)))
    found = [(words, replace(design, bank=one)) for words, one in found]
    if any(load.lost_after_cut for load in design.loads):
        alone = tuple(
            replace(load, starts_alone=True, logs_alone=True, wakes_alone=True)
            for load in design.loads
        )
        found.append(("loads that start, wake and record alone", replace(design, loads=alone)))
    return found


def _help(change):
    return change.gain, change.hours_gain, change.charge_gain


def _worth(change):
    kilograms = max(change.mass_kg, 1.0)
    return tuple(gain / kilograms for gain in _help(change))


def _strings(design, more):
    bank = design.bank
    if bank.parallel + more < 1:
        raise SettingsError(f"{design.name}: no string of the bank left; expected at least one")
    heat = design.box.heat_J_K * (bank.parallel + more) / bank.parallel
    return replace(
        design,
        bank=replace(bank, parallel=bank.parallel + more),
        box=replace(design.box, heat_J_K=heat),
    )


def _less_load(design):
    """Return the design whose largest load takes ``SAVED_W`` less."""
    largest = max(design.loads, key=lambda load: load.mean_W)
    mean = max(largest.mean_W - SAVED_W, 0.0)
    less = replace(largest, power_W=mean / max(largest.duty, 1e-9))
    return replace(design, loads=tuple(less if load is largest else load for load in design.loads))


def _warmer(design):
    return replace(design, box=replace(design.box, wall_m=design.box.wall_m + WALL_M))


def _seeking(design):
    panels = tuple(
        replace(group, panel=replace(group.panel, tracking=True)) for group in design.panels
    )
    return replace(design, panels=panels)
