"""The lightest station that lives: many designs tried on the same years, mass against survival."""

from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from ..errors import SettingsError
from .surroundings import box_around
from .survival import FROZEN_H, parts_power, station_energy, wilson
from .year import simulate_years


@dataclass(frozen=True)
class Choice:
    """One design: strings of the bank, panels of each group, turbines, mass, and how it fares.

    ``chance``: share of the years without an outage, a frozen or spoilt bank, with its interval;
    ``lowest_charge``: what 95 % of the years stay above.
    """

    strings: int
    panels: tuple
    turbines: int
    mass_kg: float
    chance: float
    interval: tuple
    lowest_charge: float


@dataclass(frozen=True)
class Sizing:
    """All designs tried, those that none beats, and the lightest with the wanted chance or None."""

    wanted: float
    choices: tuple
    front: tuple
    lightest: Choice | None


def choices_between(design, strings, panel_factors, turbines):
    """Return (strings, panels of each group, turbines) of all combinations, as a list.

    Parameters
    ----------
    design : Design
    strings : sequence of int
        Of the bank, parallel.
    panel_factors : sequence of int
        Times the design's panels of each group, 0 for none.
    turbines : sequence of int
    """
    groups = [tuple(k * group.count for group in design.panels) for k in panel_factors]
    return list(product(strings, dict.fromkeys(groups), turbines))


def sized(design, around, masses, combinations, wanted):
    """Return the :class:`Sizing` of a design's parts in other numbers.

    Parameters
    ----------
    design : Design
        Its parts are what can be taken more or fewer of.
    around : Circumstances
    masses : Masses
    combinations : list of (int, tuple of int, int)
        From :func:`choices_between`.
    wanted : float
        Chance to live through the year.

    Raises
    ------
    SettingsError
        Without combinations, or with turbines where the design names none.

    Notes
    -----
    Outages, frozen and spoilt banks count; over-voltage and burial are looked at for the design
    chosen. The box keeps its walls; its heat follows the strings.
    """
    if not combinations:
        raise SettingsError("sizing: no designs to try; give strings, panels and turbines")
    if design.turbine is None and any(number for _, _, number in combinations):
        raise SettingsError("sizing: turbines asked for, but the station file names no [turbine]")
    offered = parts_power(design, around)
    surroundings, losses = box_around(design, around.weather, around.surface_m)
    surroundings = np.ascontiguousarray(surroundings)
    station = station_energy(design, float(losses.mean()))
    found = []
    for counts, turbines in dict.fromkeys((c, t) for _, c, t in combinations):
        total = offered.total_W(counts, turbines)
        for strings in (s for s, c, t in combinations if (c, t) == (counts, turbines)):
            tried = _with_strings(station, design, strings)
            done = simulate_years(tried, surroundings, total, loss_W_K=losses)
            found.append(_choice(design, masses, strings, counts, turbines, done))
    found = sorted(found, key=lambda one: (one.mass_kg, -one.chance))
    enough = [one for one in found if one.chance >= wanted]
    return Sizing(wanted, tuple(found), pareto(found), enough[0] if enough else None)


def _with_strings(station, design, strings):
    heat = design.box.heat_J_K * strings / design.bank.parallel
    return replace(
        station,
        bank=replace(station.bank, parallel=strings),
        box=replace(station.box, heat_J_K=heat),
    )


def _choice(design, masses, strings, counts, turbines, done):
    panels_kg = sum(n * group.mass_kg for n, group in zip(counts, design.panels, strict=True))
    mass = masses.rest_kg + strings * masses.string_kg + panels_kg + turbines * masses.turbine_kg
    lived = int((done.survived & (done.frozen_h < FROZEN_H) & (done.first_spoilt < 0)).sum())
    return Choice(
        strings=strings,
        panels=tuple(counts),
        turbines=turbines,
        mass_kg=mass,
        chance=lived / done.off_h.size,
        interval=wilson(lived, done.off_h.size),
        lowest_charge=float(np.quantile(done.lowest_charge, 0.05)),
    )


def pareto(choices):
    """Return the choices that no lighter or equally heavy one beats, by rising mass, as a tuple."""
    front, best = [], -1.0
    for one in sorted(choices, key=lambda one: (one.mass_kg, -one.chance)):
        if one.chance > best:
            front.append(one)
            best = one.chance
    return tuple(front)
