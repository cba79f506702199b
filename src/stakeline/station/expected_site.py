"""What to find at frame, guys and receiver, and every expectation of a station together."""

import math

from .expectation import Expectation, Sign
from .expected_panels import cable_expectation, panel_expectations
from .expected_power import (
    antenna_expectations,
    battery_expectations,
    charging_expectation,
    heater_expectation,
    load_expectations,
    switch_expectations,
    turbine_expectation,
)
from .storm import GRAVITY_M_S2

TENSION_SHARE = 0.15  # -; setting within 10 % of design (ANSI/TIA-222, quoted), and the meter's 5 %
PLUMB_DEG = 1.0  # deg; of the mast on the day of building, own choice
SATELLITES = 8  # -; at least, common practice, no source
STRENGTH_DBHZ = (38.0, 45.0, 54.0)  # dB-Hz; of the highest satellites, common practice, no source


def readings_of(design, guys, conditions, *, compensated=True):
    """Return every :class:`Expectation` of a station, in the order of the work.

    Parameters
    ----------
    design : design.Design
    guys : sequence of guys.Guy
    conditions : expected_panels.Conditions
    compensated : bool
        Whether the controller follows the battery's temperature.
    """
    bank = design.bank
    found = [*guy_expectations(guys), plumb_expectation(), *antenna_expectations()]
    found += battery_expectations(bank, conditions)
    for group in design.panels:
        found.append(cable_expectation(group, conditions.air_degC))
        found += panel_expectations(design, group, conditions)
    if design.turbine is not None:
        found.append(turbine_expectation(design.turbine, bank, conditions.wind_m_s))
    if design.panels or design.turbine is not None:
        found.append(charging_expectation(bank, conditions, compensated))
    if design.box.heater_W > 0.0:
        found.append(heater_expectation(design.box, bank))
    found += load_expectations(design.loads, bank, conditions)
    found += [*receiver_expectations(), *switch_expectations(bank)]
    return tuple(found)


def guy_expectations(guys):
    """Return the :class:`Expectation` of each guy's tension, from its pretension."""
    found = []
    for number, guy in enumerate(guys, 1):
        target = guy.pretension_N
        found.append(
            Expectation(
                f"guy_{number}_N", f"guy {number}", f"tension, toward {_toward(guy)}", "N",
                target * (1.0 - TENSION_SHARE), target, target * (1.0 + TENSION_SHARE),
                "Tension meter at breast height, mast plumb, no wind",
                "slack: tighten in turn, the opposite one too",
                "too tight: it loads mast and anchor before the storm does; slacken in turn",
                (Sign(0.85 / GRAVITY_M_S2, 1.15 / GRAVITY_M_S2,
                      "it fits if it was read in kg: times 9.8 for N"),),
            )
        )  # fmt: skip
    return tuple(found)


def _toward(guy):
    east, north = guy.anchor_m[0] - guy.top_m[0], guy.anchor_m[1] - guy.top_m[1]
    return f"{math.degrees(math.atan2(east, north)) % 360.0:.0f} deg"


def tightening_order(count):
    """Return the order in which guys are tightened, counted from 1: opposite ones in turn."""
    if count % 2:
        return tuple(range(1, count + 1))
    half = count // 2
    return tuple(number for i in range(1, half + 1) for number in (i, i + half))


def plumb_expectation():
    """Return the :class:`Expectation` of the mast's lean."""
    return Expectation(
        "mast_lean_deg", "mast", "lean from the plumb line", "deg", 0.0, 0.0, PLUMB_DEG,
        "Level on two sides a quarter turn apart; the larger", "", "guys uneven or foot not firm",
    )  # fmt: skip


def receiver_expectations():
    """Return the :class:`Expectation` of the receiver's first minutes."""
    inf = math.inf
    return (
        Expectation(
            "satellites", "receiver", "satellites tracked", "", SATELLITES, 20.0, inf,
            "After ten minutes", "sky hidden, antenna or cable bad: fewer than eight", "",
        ),
        Expectation(
            "strength_dBHz", "receiver", "signal strength, three highest satellites", "dBHz",
            *STRENGTH_DBHZ, "As the receiver shows it, first carrier",
            "cable, plug, water or rime", "not in dB-Hz?",
        ),
        Expectation(
            "file_grows_kB", "receiver", "growth of the file in ten minutes", "kB", 1.0, 100.0,
            inf, "Size of today's file, twice",
            "it does not log: the commonest way to lose a winter", "",
        ),
        Expectation(
            "place_off_m", "receiver", "its position from the planned one", "m", 0.0, 20.0, 500.0,
            "As the receiver shows it, WGS 84", "",
            "another place, or degrees and minutes mixed: check the plan's coordinates",
        ),
    )  # fmt: skip
