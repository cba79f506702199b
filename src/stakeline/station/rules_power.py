"""Rules of supply and charging: switch, pulses, restart loops, frost, gas, fuses, sources."""

from dataclasses import replace

import numpy as np

from .battery import (
    LITHIUM,
    charge_limit_V,
    freezing_degC,
    gassing_V,
    least_charge,
    short_circuit_A,
)
from .box import HEATERS, film_W_m2_K, loss_in_air_W_K
from .cautions import BATTERIES, ESTIMATE, ROTORS
from .gas import ventilation
from .rules import BAD, DOUBT, GOOD, OPEN, Finding, answered, volts
from .supply import SAMPLE_S, Supply, calm_reconnect_V, pulse_course, switch_course, unseen_share

DAYS = 3  # d; of the courses of the switch
MINUTES = 1440  # in a day
STARTS_A_DAY = 1.0  # 1/d; more is a loop, own choice
SUN_SHARE = 3.0  # -; noon of the first sun by the load, own choice
HEATER_SHARES = (0.2, 0.5)  # -; of all energy in the coldest month: doubt, bad; own choice
OVER_V = 15.5  # V; that electronics of a nominal 12 V stand for long, common practice, no source
FREEZE_MARGIN_K = 3.0  # K; between the coldest battery and its acid's freezing, own choice


def dark_minutes():
    """Return what comes in on dark days: nothing, (DAYS x 1440,). [W]"""
    return np.zeros(DAYS * MINUTES)


def first_sun_minutes(load_W):
    """Return the first sun's short noons, (DAYS x 1440,): up to three times the load. [W]"""
    noon = np.sin(2.0 * np.pi * np.arange(DAYS * MINUTES) / MINUTES - 0.5 * np.pi)
    return SUN_SHARE * load_W * np.maximum(noon - 0.7, 0.0) / 0.3


def loops(design, about):
    """Simulate an empty bank in the dark and in the first sun: how often do loads start?"""
    supply, load = Supply(design.bank, about.winter_degC), max(design.mean_W, 1e-3)
    begin = supply.charge_at_cut(load)
    days = {"in the dark": dark_minutes(), "in the first sun": first_sun_minutes(load)}
    starts = {
        name: switch_course(supply, begin, load, course).starts_a_day
        for name, course in days.items()
    }
    when = max(starts, key=starts.get)
    cut, back = design.bank.switch_V
    found = (
        f"off at {volts(cut)}, on at {volts(back)}, {about.winter_degC:.0f} degC: "
        f"{starts[when]:.1f} starts a day {when}"
    )
    state = GOOD if starts[when] <= STARTS_A_DAY else BAD
    calm = np.nanmax([calm_reconnect_V(supply, load, course) for course in days.values()])
    remedy = f"raise the voltage at which loads come back to {volts(calm)}"
    if begin >= 1.0:
        state, found = BAD, f"at {about.winter_degC:.0f} degC even a full bank gives nothing"
        remedy = "keep the bank warmer, or take another chemistry"
    return Finding(
        "No restart loop",
        state,
        found,
        "without load a bank recovers; loads that come back too early pull it down again, and each "
        "start costs energy and can damage files",
        "" if state == GOOD else remedy,
        simulated=True,
    )


def pulse(design, about):
    """Simulate the largest pulse on a bank about to be cut off, in the cold."""
    load = max(design.loads, key=lambda one: one.peak_W)
    reason = (
        "a modem's pulse is shorter than the switch looks: the voltage at a receiver falls and it "
        "resets, though no protection has seen anything"
    )
    if load.peak_W == 0.0:
        return Finding("Pulses", GOOD, "no load has a pulse", reason)
    supply, scale = Supply(design.bank, about.coldest_degC), design.bank.nominal_V / 12.0
    base = max(design.mean_W, 1e-3)
    least = supply.bank.switch_V[0] if load.least_V is None else load.least_V * scale
    charge = _charge_at(supply, max(least, supply.bank.switch_V[0]), base)
    course = pulse_course(
        supply, charge, base, load.peak_W, load.peak_s, needs_V=about.brown_out_V * scale
    )
    state = BAD if course.resets else GOOD
    if state == GOOD and course.lowest_V < supply.bank.switch_V[0] - 0.3 * scale:
        state = DOUBT
    found = (
        f"{load.name}: {load.peak_W:g} W for {load.peak_s:g} s at {about.coldest_degC:.0f} degC "
        f"leaves {volts(course.lowest_V)} at the loads; {unseen_share(load.peak_s):.0%} of such "
        f"pulses fall between looks {SAMPLE_S:g} s apart"
    )
    remedy = (
        "shorter or thicker wires, more strings in parallel, or no sending below a higher voltage"
    )
    return Finding("Pulses", state, found, reason, "" if state == GOOD else remedy, simulated=True)


def _charge_at(supply, volts_V, load_W):
    """Return the least charge that keeps a voltage under a load; full where none does."""
    charge = np.linspace(0.0, 1.0, 401)
    enough = supply.working_V(charge) - load_W / volts_V * supply.ohm >= volts_V
    return float(charge[np.argmax(enough)]) if enough.any() else 1.0


def sends_first_off(design, about):
    """Whether sending ends before the switch cuts everything off."""
    senders = [one for one in design.loads if one.kind == "telemetry"]
    reason = "what is sent is worth less than what is recorded: sending ends first, recording last"
    if not senders:
        return Finding("Sending ends first", GOOD, "nothing is sent", reason)
    late = [s.name for s in senders if s.least_V is None or s.least_V <= design.bank.disconnect_V]
    state = DOUBT if late else GOOD
    told = f"{', '.join(late)}: no lowest voltage above {design.bank.disconnect_V:g} V"
    fine = f"sending ends at {min(s.least_V for s in senders if s.least_V is not None):g} V" if (
        not late) else ""  # fmt: skip
    remedy = "give least_V of the load half a volt above the switch" if late else ""
    return Finding("Sending ends first", state, told if late else fine, reason, remedy)


def breaker(design, about):
    """Whether a breaker that stays off trips before the switch does."""
    reason = "a breaker that trips at a low voltage stays off until somebody comes"
    if about.trip_V is None:
        found = "no voltage is given at which a breaker trips"
        remedy = "make sure that none does, or give trip_V"
        return Finding("Breaker below the switch", OPEN, found, reason, remedy)
    good = about.trip_V < design.bank.disconnect_V
    found = f"breaker at {about.trip_V:g} V, switch at {design.bank.disconnect_V:g} V"
    remedy = "" if good else "raise disconnect_V above trip_V, or take the breaker out"
    return Finding("Breaker below the switch", GOOD if good else BAD, found, reason, remedy)


def frost(design, about):
    """Whether the acid freezes in the charge at which the switch opens."""
    bank, reason = design.bank, "the acid of an empty bank is nearly water: it freezes, cases crack"
    cautions = (BATTERIES, ESTIMATE)
    if bank.chemistry == LITHIUM:
        return Finding("Acid does not freeze", GOOD, "no acid", reason, cautions=cautions)
    supply = Supply(bank, about.coldest_degC)
    charge = supply.charge_at_cut(max(design.mean_W, 1e-3))
    freezes = float(freezing_degC(charge))
    room = about.coldest_degC - freezes
    state = GOOD if room >= FREEZE_MARGIN_K else DOUBT if room >= 0.0 else BAD
    found = (
        f"cut off at {charge:.0%} of its charge: freezes at {freezes:.0f} degC, coldest "
        f"{about.coldest_degC:.0f}"
    )
    least = float(least_charge(bank, about.coldest_degC - FREEZE_MARGIN_K))
    remedy = "a warmer place: box below the snow, more insulation"
    if least <= 1.0:
        at = float(supply.working_V(least)) * 12.0 / bank.nominal_V
        remedy = (
            f"cut off at {volts(at)} of a nominal 12 V ({least:.0%} of the charge), or " + remedy
        )
    return Finding(
        "Acid does not freeze", state, found, reason, "" if state == GOOD else remedy,
        cautions=cautions,
    )  # fmt: skip


def charge_voltage(design, about):
    """Whether the controller follows the battery's temperature."""
    bank, cautions = design.bank, (BATTERIES, ESTIMATE)
    reason = (
        "charged to the same voltage, a cold lead-acid bank is never full and a warm one gasses"
    )
    if bank.chemistry == LITHIUM:
        found = "lithium cells keep one voltage"
        return Finding("Charge by temperature", GOOD, found, reason, cautions=cautions)
    follows = replace(bank, compensated=True)
    cold, warm = (float(charge_limit_V(follows, t)) for t in (about.winter_degC, 25.0))
    found = f"full at {volts(cold)} in winter, {volts(warm)} at 25 degC"
    remedy = "" if about.compensated else "a controller with a sensor on the battery"
    state = GOOD if about.compensated else BAD
    if about.compensated and cold * 12.0 / bank.nominal_V > OVER_V:
        state, remedy = DOUBT, f"ask whether the loads stand {volts(cold)}, or bound it"
    return Finding("Charge by temperature", state, found, reason, remedy, cautions=cautions)


def lithium_frost(design, about):
    """Whether lithium cells can be charged in frost."""
    reason = "charged below 0 degC lithium plates metal, is spoilt and can burn later"
    cautions = (BATTERIES, ESTIMATE)
    if design.bank.chemistry != LITHIUM:
        found = "no lithium"
        return Finding("No charge in frost", GOOD, found, reason, cautions=cautions)
    found = "the controller bans it" if about.frost_ban else "the controller does not ban it"
    remedy = "" if about.frost_ban else "a controller that bans it by the cells' own temperature"
    state = GOOD if about.frost_ban else BAD
    return Finding("No charge in frost", state, found, reason, remedy, cautions=cautions)


def dump(design, about):
    """Whether the turbine's regulator can burn all that it gives."""
    turbine, reason = (
        design.turbine,
        "a full bank takes nothing: in a storm the regulator burns it all, or burns",
    )
    cautions = (ROTORS, BATTERIES, ESTIMATE)
    if turbine is None:
        return Finding("Storm's surplus", GOOD, "no turbine", reason, cautions=cautions)
    if design.dump_W is None:
        return Finding(
            "Storm's surplus", OPEN, f"up to {turbine.rated_W:g} W, what is burnt is not given",
            reason, "find out and give dump_W", cautions=cautions,
        )  # fmt: skip
    good = design.dump_W >= turbine.rated_W
    found = f"burns {design.dump_W:g} of {turbine.rated_W:g} W"
    remedy = "" if good else f"a dump load of {turbine.rated_W:g} W or more, outside the box"
    return Finding(
        "Storm's surplus", GOOD if good else BAD, found, reason, remedy, cautions=cautions
    )


def ripple(design, about):
    """Whether a noisy regulator could look like an empty bank."""
    reason = (
        "ripple of a turbine's regulator looks like an empty bank: receivers stop at good voltage"
    )
    if design.turbine is None:
        return Finding("Ripple", GOOD, "no turbine", reason)
    return Finding(
        "Ripple", OPEN, "a turbine charges the bank that the receiver lives on", reason,
        "look at the voltage with the turbine running, by an oscilloscope",
    )  # fmt: skip


def heater_share(design, about):
    """What the heater takes of the coldest month's energy."""
    box, reason = design.box, "heaters with fixed limits have emptied banks in autumn"
    cautions = (HEATERS, BATTERIES, ESTIMATE)
    if box.heater_W == 0.0:
        return Finding("Heater's share", GOOD, "no heater", reason, cautions=cautions)
    loss = float(loss_in_air_W_K(box, film_W_m2_K(about.winter_m_s)))
    asked = loss * (box.heater_on_degC - about.winter_degC) - design.mean_W
    taken = float(np.clip(asked, 0.0, box.heater_W))
    share = taken / (taken + design.mean_W)
    state = GOOD if share <= HEATER_SHARES[0] else DOUBT if share <= HEATER_SHARES[1] else BAD
    if box.heater_least_V <= design.bank.disconnect_V:
        state = BAD
    found = (
        f"{taken:.1f} W in the coldest month, {share:.0%} of all; off below "
        f"{box.heater_least_V:g} V"
    )
    remedy = (
        "a colder thermostat, more insulation, off at a higher voltage" if state != GOOD else ""
    )
    return Finding("Heater's share", state, found, reason, remedy, cautions=cautions)


def heater_cutout(design, about):
    """Whether a heater has a second cut-out."""
    reason, cautions = "a thermostat that sticks cooks the box", (HEATERS, BATTERIES, ESTIMATE)
    if design.box.heater_W == 0.0:
        return Finding("Heater's cut-out", GOOD, "no heater", reason, cautions=cautions)
    state, found = answered(about.second_cutout, "a second cut-out in series", "only a thermostat")
    remedy = "" if state == GOOD else "put a second cut-out and a fuse in series"
    return Finding("Heater's cut-out", state, found, reason, remedy, cautions=cautions)


def gas(design, about):
    """Whether gas can leave the box."""
    reason = "lead-acid banks give hydrogen when charged; from 4 % in air it explodes"
    cautions = (BATTERIES, ESTIMATE)
    if design.bank.chemistry == LITHIUM:
        return Finding("Gas leaves the box", GOOD, "no lead-acid", reason, cautions=cautions)
    state, found = answered(about.ventilated, "the box is ventilated", "the box is closed")
    at = float(gassing_V(design.bank, 25.0))
    asked = ventilation(design)
    size = f"two openings of {asked.opening_cm2:.0f} cm2"
    found += (
        f"; gas from {volts(at)} at 25 degC, up to {asked.hydrogen_m3_d:.2g} m3 of hydrogen a day "
        f"at {asked.current_A:.0f} A: {asked.air_m3_h:.2g} m3/h of air, {size}, keep it below a "
        f"quarter of what explodes and take {asked.loss_W_K:.2g} W/K"
    )
    if state == GOOD and 0.0 < design.box.air_m3_h < asked.air_m3_h:
        state, found = DOUBT, f"{found}; {design.box.air_m3_h:.2g} m3/h are let through"
    remedy = (
        "" if state == GOOD else f"{size}, one high up, that snow cannot close; air before work"
    )
    return Finding("Gas leaves the box", state, found, reason, remedy, cautions=cautions)


def fuse(design, about):
    """What a fuse must stand, and must break."""
    short = short_circuit_A(design.bank)
    works = (design.mean_W + design.peak_W + design.box.heater_W) / design.bank.nominal_V
    return Finding(
        "Fuse at the bank", OPEN, f"a short gives {short:.0f} A, loads take up to {works:.1f} A",
        "one short circuit outside takes the station, and can start a fire",
        f"a fuse at the bank of {max(1.25 * works, 1.0):.0f} A or the next size, below what the "
        f"wires stand, that breaks {short:.0f} A",
        cautions=(BATTERIES, ESTIMATE),
    )  # fmt: skip


def sources(design, about):
    """Whether one broken part takes all charging."""
    groups = sum(group.count // group.series for group in design.panels)
    kinds = groups + (design.turbine is not None)
    found = f"{groups} strings of panels, {'a' if design.turbine is not None else 'no'} turbine"
    state = GOOD if kinds >= 2 else BAD
    if kinds >= 2 and groups == 0:
        state = DOUBT
    return Finding(
        "No single source", state, found,
        "bearings, rime and lost panels happen each winter: no one part may be the only source",
        "" if state == GOOD else "a second string of panels, or panels beside the turbine",
    )  # fmt: skip


def diodes(design, about):
    """Whether a string that is shorted takes the others with it."""
    reason = "a cable bitten through or shorted by water takes every source on the same bar"
    groups = sum(group.count // group.series for group in design.panels)
    bare = [group.name for group in design.panels if group.panel.diode_V == 0.0]
    if groups + (design.turbine is not None) < 2 or not bare:
        found = "each string has a series diode" if groups else "no panels"
        return Finding("A diode in each input", GOOD, found, reason)
    found = f"{', '.join(bare)}: no series diode"
    return Finding("A diode in each input", DOUBT, found, reason, "a diode or fuse in each string")


def strings(design, about):
    """Whether one bad battery takes the bank."""
    count = design.bank.parallel
    state = GOOD if count >= 2 else DOUBT
    found = f"{count} in parallel, {design.bank.series} in series"
    return Finding(
        "No single battery", state, found,
        "one cell that fails takes its string; a bank of one string is gone with it",
        "" if state == GOOD else "two or more strings, each with its fuse",
        cautions=(BATTERIES, ESTIMATE),
    )  # fmt: skip


RULES = (
    loops, pulse, sends_first_off, breaker, frost, charge_voltage, lithium_frost, dump, ripple,
    heater_share, heater_cutout, gas, fuse, sources, diodes, strings,
)  # fmt: skip
"""Rules about the supply: ``rule(design, about)`` returns a :class:`Finding`."""
