"""Hydrogen in a box: how much a full bank gives off, what air carries it away, at what heat.

It burns and explodes from 4 % in air, without smell or colour: these are estimates beside the
standard for battery rooms, local codes and licensed practice decide.
"""

from dataclasses import dataclass, field

from .battery import LITHIUM, hydrogen_m3
from .cautions import BATTERIES, ESTIMATE

EXPLODES = 0.04  # -; of hydrogen in air, by volume: lower explosive limit, EN IEC 62485-2, from
# memory
KEPT_BELOW = 0.25  # -; of that limit, common practice of gas alarms, no source
OPENING_CM2_H_M3 = 28.0  # cm2 h/m3; of each of two openings, one low and one high, by the flow of
# air: 28 Q, EN IEC 62485-2, from memory
AIR_J_M3_K = 1310.0  # J/(m3 K); of air at 0 degC: 1.30 kg/m3 x 1006 J/(kg K)
CHARGING_V = 13.0  # V of 12; at which a turbine's or seeker's power is current, common practice
HOUR_S, DAY_H = 3600.0, 24

GAS = (
    "Battery gas burns without smell or colour: air the box before work, no flame, no spark; local "
    "codes and licensed practice decide."
)


@dataclass(frozen=True)
class Ventilation:
    """What a bank's gas asks of its box.

    Attributes
    ----------
    current_A : float
        All that the sources can give at once: into a full bank, where the regulator fails.
    hydrogen_m3_d : float
        Set free in a day of it. [m3/d at 0 degC]
    air_m3_h, opening_cm2 : float
        That keep it below a quarter of the explosive limit: flow, and each of two openings.
    loss_W_K : float
        Heat that this flow takes.
    """

    current_A: float
    hydrogen_m3_d: float
    air_m3_h: float
    opening_cm2: float
    loss_W_K: float
    cautions: tuple = field(default=(GAS, BATTERIES, ESTIMATE))


def highest_current_A(design):
    """Return the current that panels and turbine can give the bank at once. [A]

    Short circuit of each string, or rated power at 13 V of a nominal 12 where the best point is
    sought; the turbine by its rated power.
    """
    volts = CHARGING_V * design.bank.nominal_V / 12.0
    total = 0.0 if design.turbine is None else design.turbine.rated_W / volts
    for group in design.panels:
        one = group.panel
        best = one.rated_W * group.series / volts
        each = max(best, one.short_A) if one.tracking else one.short_A
        total += group.count / group.series * each
    return total


def ventilation(design):
    """Return the :class:`Ventilation` that a design's bank asks for; all 0 for lithium.

    Notes
    -----
    Every ampere of a full bank makes gas (Faraday; EN IEC 62485-2 takes less, as its chargers hold
    a voltage). Sealed cells recombine most of it until a valve opens: for them it is the worst.
    """
    bank = design.bank
    current = 0.0 if bank.chemistry == LITHIUM else highest_current_A(design)
    hydrogen = float(hydrogen_m3(bank, current))
    share = KEPT_BELOW * EXPLODES
    air = hydrogen * (1.0 - share) / share
    return Ventilation(current, DAY_H * hydrogen, air, OPENING_CM2_H_M3 * air, air_loss_W_K(air))


def air_loss_W_K(air_m3_h):
    """Return the heat that a flow of air through a box takes. [W/K]"""
    return AIR_J_M3_K * air_m3_h / HOUR_S
