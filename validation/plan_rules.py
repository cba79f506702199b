"""Rules of design: pulses and restart loops simulated, known failures found, remedies that help.

    python validation/plan_rules.py

Exit code 1 where one falls short.
"""

import time
from dataclasses import replace

import numpy as np
from _measured import Table

from stakeline.station import rules_logic, rules_power
from stakeline.station.battery import Bank
from stakeline.station.box import Box
from stakeline.station.design import Design, Load, PlacedPanel, Site
from stakeline.station.duty import block_advice
from stakeline.station.panel import Panel
from stakeline.station.rules import Answers, Facts
from stakeline.station.rules_power import dark_minutes, first_sun_minutes
from stakeline.station.supply import (
    Supply,
    at_load_V,
    calm_reconnect_V,
    pulse_course,
    switch_course,
    unseen_share,
)
from stakeline.station.turbine import Turbine

LAW = "arithmetic of the law"
OWN = "own choice"
FIELD = "failures told in field reports"
ALONE = Answers(True, True, True)
LOADS = (
    Load("receiver", "receiver", 3.5),
    Load("modem", "telemetry", 2.0, 0.05, 15.0, 0.5, 0.5, 0.0, 4.0, 12.5),
)
SOUND = Design(
    "HV01",
    Site(79.0, 17.0, 200.0),
    tuple(PlacedPanel(str(a), Panel(), 1, 80.0, a) for a in (60.0, 180.0, 300.0)),
    Bank(disconnect_V=12.2, reconnect_V=12.8),
    Box(heater_W=5.0, heater_on_degC=-35.0, heater_off_degC=-30.0),
    LOADS,
    Turbine(),
    dump_W=300.0,
)
FACTS = Facts(
    coldest_degC=-45.0, winter_degC=-20.0, answers={"receiver": ALONE, "modem": ALONE},
    trip_V=11.0, ventilated=True, second_cutout=True,
)  # fmt: skip
WEAK = Bank(parallel=1, block_Ah=20.0, block_ohm=0.4, disconnect_V=11.0)
KNOWN = {  # what killed real stations: the rule that must find it, and how the design is broken
    "up, but records nothing": (rules_logic.logs, {},
                                {"answers": {"receiver": Answers(True, False)}}),
    "sleeps for ever": (rules_logic.wakes, {}, {"answers": {"modem": Answers(True, True, False)}}),
    "ripple looks like an empty bank": (rules_power.ripple, {}, {}),
    "a breaker trips and stays off": (rules_power.breaker, {}, {"trip_V": 12.3}),
    "dies when the modem dials": (rules_power.pulse, {"bank": WEAK}, {}),
    "heater empties the bank": (rules_power.heater_share, {"box": Box(
        heater_W=40.0, heater_on_degC=5.0, heater_off_degC=8.0)}, {}),
    "one shorted string takes all": (rules_power.diodes, {"panels": tuple(
        replace(one, panel=Panel(diode_V=0.0)) for one in SOUND.panels)}, {}),
    "regulator burns in a storm": (rules_power.dump, {"dump_W": 20.0}, {}),
    "lives on the turbine alone": (rules_power.sources, {"panels": ()}, {}),
    "cells freeze when empty": (rules_power.frost, {"bank": Bank(disconnect_V=11.0)},
                                {"coldest_degC": -50.0}),
    "saves in half-hours": (rules_logic.blocks, {"loads": (replace(
        LOADS[0], saves_below=0.6, saved_W=1.2, blocks_d=16.0), LOADS[1])}, {}),
    "never full in the cold": (rules_power.charge_voltage, {}, {"compensated": False}),
}  # fmt: skip


def pulses(table):
    """Print the law of constant power, and how often a switch looks away."""
    power, ohm, volts = 15.0, 0.4, 12.0
    level = volts
    for _ in range(300):  # the same by turning round: current of the last voltage
        level = volts - ohm * power / level
    found = float(at_load_V(volts, power, ohm))
    table.line(
        "voltage under constant power, against iteration", abs(found - level), 1e-9, "V", LAW
    )
    edge = volts**2 / (4.0 * ohm)
    kept = np.isfinite(at_load_V(volts, edge * np.array([0.999, 1.001]), ohm))
    table.line("collapse between 0.999 and 1.001 of E2/4R", float(kept[0] and not kept[1]), 1.0, "",
               LAW, least=True)  # fmt: skip
    supply = Supply(Bank(parallel=1), -20.0)
    seen = [pulse_course(supply, 0.7, 2.0, 15.0, 0.3, phase=p).seen for p in np.arange(200) / 200.0]
    off = abs(1.0 - np.mean(seen) - unseen_share(0.3))
    table.line("pulses of 0.3 s that a switch of 1 s misses, apart", 100.0 * off, 1.0, "%", LAW)


def loops(table):
    """Print energy of the switch's minutes, and starts by the distance of its limits."""
    supply = Supply(Bank(parallel=2), -10.0)
    course = switch_course(supply, 0.9, 5.0, np.zeros(600))
    used = (0.9 - course.charge[-1]) * supply.bank.full_J
    table.line("energy of 10 h, apart", abs(used / (600 * 60.0 * 5.0) - 1.0), 1e-9, "", LAW)
    supply = Supply(Bank(), -40.0)
    begin = supply.charge_at_cut(4.5)
    for back, bar, least in ((11.6, 10.0, True), (12.6, 1.0, False)):
        count = switch_course(supply, begin, 4.5, dark_minutes(), reconnect_V=back).starts_a_day
        name = f"starts a day at -40 degC, on again at {back} V"
        table.line(name, count, bar, "", OWN + "; one a day is a loop", least=least)
    rng, calm, tried = np.random.default_rng(7), 0, 60
    for _ in range(tried):
        bank = Bank(parallel=int(rng.integers(2, 20)), disconnect_V=rng.uniform(11.0, 11.8))
        load, supply = rng.uniform(1.0, 8.0), Supply(bank, rng.uniform(-45.0, 5.0))
        sun = first_sun_minutes(load)
        back = calm_reconnect_V(supply, load, sun)
        begin = supply.charge_at_cut(load)
        calm += switch_course(supply, begin, load, sun, reconnect_V=back).starts_a_day <= 1.0
    table.line("random designs whose advised voltage ends the loop", 100.0 * calm / tried, 100.0,
               "%", "the advice itself", least=True)  # fmt: skip


def failures(table):
    """Print whether each known failure is found, and that a sound design has none."""
    found = 0
    for words, (rule, design, facts) in KNOWN.items():
        state = rule(replace(SOUND, **design), replace(FACTS, **facts)).state
        found += state != "good"
        table.say(f"{words}: {state}")
    table.line("known failures found", found, len(KNOWN), "", FIELD, least=True)
    every = (*rules_power.RULES, *rules_logic.RULES)
    begin = time.process_time()
    states = [rule(SOUND, FACTS).state for rule in every]
    seconds = time.process_time() - begin
    false = sum(state in ("bad", "doubt") for state in states)
    table.line("rules that a sound design breaks", false, 0, "", OWN)
    table.line("all rules of one design", seconds, 0.5, "s", OWN)
    rng, helped, tried = np.random.default_rng(3), 0, 0
    for _ in range(60):
        facts = replace(FACTS, coldest_degC=rng.uniform(-55.0, -20.0))
        bank = Bank(disconnect_V=rng.uniform(10.8, 12.0), reconnect_V=13.2)
        told = rules_power.frost(replace(SOUND, bank=bank), facts)
        if "cut off at" not in told.remedy:
            continue
        cut = float(told.remedy.split("cut off at ")[1].split(" V")[0]) + 0.01
        again = rules_power.frost(replace(SOUND, bank=replace(bank, disconnect_V=cut)), facts)
        helped, tried = helped + (again.state == "good"), tried + 1
    share = 100.0 * helped / max(tried, 1)
    table.line(f"advice against frost that helps, of {tried}", share, 100.0, "%",
               "the advice itself", least=True)  # fmt: skip


def blocks(table):
    """Print what many short blocks cost."""
    advice = block_advice(3.0 / 24.0, 18.0)
    table.say(advice.words)
    table.line("eighteen blocks of 10 min against one of 3 h, worse by", advice.worse_by, 1.5, "",
               "own solutions of an open day, interpolated", least=True)  # fmt: skip


def main():
    table = Table("Rules of design")
    pulses(table)
    loops(table)
    failures(table)
    blocks(table)
    table.end()


if __name__ == "__main__":
    main()
