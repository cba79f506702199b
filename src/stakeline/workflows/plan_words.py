"""A plan in words: the page that the terminal shows, and the texts of the sheet."""

import textwrap
from dataclasses import replace

import numpy as np

from ..station.box import rise_K
from ..station.cautions import brief
from ..station.gas import GAS, ventilation
from ..station.rules import BAD, DOUBT, GOOD, OPEN
from ..station.surroundings import box_around
from .plan_lines import worst_state

WIDTH = 78
TOLD_LOSS = 0.005  # -; of a year's light by own shadows, from which it is told
SWAYS = "mast shaken by vortices"  # a margin's name
MARK = {BAD: "no", DOUBT: "?", OPEN: "try", GOOD: "ok"}
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December")  # fmt: skip


def number(value, unit=""):
    """Return a number as people read it: three digits that count, its unit behind."""
    if not np.isfinite(value):
        return "none" if np.isposinf(value) else "not known"
    size = abs(value)
    text = f"{value:.0f}" if size >= 99.5 or value == round(value) else (
        f"{value:.1f}" if size >= 9.95 else f"{value:.2f}"
    )  # fmt: skip
    return f"{text} {unit}".strip()


def share(value):
    """Return a share in percent."""
    return f"{100.0 * value:.0f} %"


def verdict(plan):
    """Return (state, sentence) of a whole plan: does it live, and what stands against it."""
    bad = [one for one in plan.lines if one.state == BAD]
    rules = [one for one in plan.findings if one.state == BAD]
    state = worst_state([*(one.state for one in plan.lines), *(one.state for one in plan.findings)])
    if not bad and not rules:
        doubts = sum(one.state in (DOUBT, OPEN) for one in (*plan.lines, *plan.findings))
        return state, (
            f"Ready to build; {doubts} points are in doubt or can only be tried."
            if doubts
            else "Ready to build."
        )
    return state, f"Not ready: {_counted(bad, 'margin')} short, {_counted(rules, 'rule')} broken."


def _counted(rows, what):
    return f"{len(rows) or 'no'} {what}{'s' if len(rows) != 1 else ''}"


def survival_sentence(plan):
    """Return how many winters it lives through, against what is wanted."""
    found = plan.energy.survival
    low, high = found.interval
    years = len(found.first_h)
    return (
        f"Lives through {share(found.chance)} of {years} simulated years (95 %: {100 * low:.0f} "
        f"to {100 * high:.0f}); wanted {share(plan.description.settings.aim.survival)}."
    )


def limit_sentence(plan):
    """Return the limiting month and cause, or where it comes nearest."""
    found = plan.energy.survival
    month = MONTHS[found.limiting_month - 1]
    if found.chance == 1.0:
        return (
            f"Nearest to failing in {month}: charge {share(found.lowest_charge)} at the lowest, "
            "in 95 of 100 years more."
        )
    lost = found.lost_h / 24.0
    return f"Fails mostly in {month}: {found.why}. Mean loss {lost:.1f} days a year."


def date_text(time_ns):
    """Return day and month of a GPS time, as of any year: 12 March."""
    year_month_day = str(np.datetime64(int(time_ns), "ns").astype("datetime64[D]"))
    _, month, day = year_month_day.split("-")
    return f"{int(day)} {MONTHS[int(month) - 1]}"


def first_sentence(found):
    """Return when a :class:`~stakeline.station.survival.Survival` fails first; empty for never."""
    every, *causes = found.first_failures
    if not causes:
        return ""
    early, middle, late = (date_text(one) for one in every.dates_ns)
    text = (
        f"Of the {share(every.share)} that fail, half have by {middle} (5 and 95 % by {early} and "
        f"{late})"
    )
    if len(causes) == 1:
        return f"{text}."
    told = (f"{one.why} ({share(one.share)}, {date_text(one.dates_ns[1])})" for one in causes)
    return f"{text}: {'; '.join(told)}."


def restart_sentence(found):
    """Return how dark years of a ``Survival`` end, when they wake; empty where none is dark."""
    restart = found.restart
    if restart.dark == 0:
        return ""
    if restart.share == 0.0:
        return f"Of {restart.dark} dark years none is awake by itself at its end."
    early, middle, late = (date_text(one) for one in restart.wakes_ns)
    return (
        f"Of {restart.dark} dark years {share(restart.share)} wake by themselves, half by {middle} "
        f"(5 and 95 % by {early} and {late}), with {restart.starts:.1f} starts in the mean."
    )


def sentences(plan):
    """Return what is said of the simulated years, those that say something."""
    found = plan.energy.survival
    said = survival_sentence(plan), limit_sentence(plan), first_sentence(found)
    return [one for one in (*said, restart_sentence(found)) if one]


def advice(plan):
    """Return what to add first and what it hangs on, in sentences; empty where neither is known."""
    found = []
    if plan.energy.first:
        found.append(f"To add first: {plan.energy.first}.")
    if plan.energy.weakest:
        found.append(f"Hangs most on: {plan.energy.weakest}.")
    lightest = plan.energy.sizing.lightest
    if lightest is not None:
        panels = sum(lightest.panels)
        found.append(
            f"Lightest that reaches it: {lightest.strings} strings, {panels} panels, "
            f"{lightest.turbines or 'no'} turbine, {lightest.mass_kg:.0f} kg in all."
        )
    return " ".join(found)


def power_rows(plan):
    """Return (what, mean) texts of what brings and what takes energy."""
    design, mean = plan.description.design, plan.energy.survival.mean_W
    rows = [(f"{name}, to the bank", f"{value:.2f} W") for name, value in mean.items()]
    rows += [
        (f"{name}, light lost to own shadows", share(lost))
        for name, lost in plan.energy.shadow_losses.items()
        if lost >= TOLD_LOSS
    ]
    rows += [(load.name, f"{load.mean_W:.2f} W") for load in design.loads]
    rows.append(("controller", f"{design.controller_W:.2f} W"))
    gas = ventilation(design)
    if gas.hydrogen_m3_d > 0.0:
        rows.append((f"hydrogen a day, at most ({number(gas.current_A, 'A')})",
                     number(gas.hydrogen_m3_d, "m3")))  # fmt: skip
        rows.append(("air against it, and its heat",
                     f"{number(gas.air_m3_h, 'm3/h')}, {number(gas.loss_W_K, 'W/K')}"))  # fmt: skip
    if design.box.heater_W > 0.0:
        rows.append(("heater, of all that is used", share(plan.energy.survival.heater_share)))
    return rows


def gas_text(plan):
    """Return what the bank's gas asks of the box, in sentences; empty where none is set free."""
    design = plan.description.design
    asked = ventilation(design)
    if asked.hydrogen_m3_d == 0.0:
        return ""
    closed = replace(design, box=replace(design.box, air_m3_h=0.0))
    own = float(box_around(closed, plan.energy.around.weather)[1].mean())
    simulated = design.box.air_m3_h
    told = f"Simulated with {number(simulated, 'm3/h')}" if simulated else (
        "Simulated without: give air_m3_h of [box]"
    )  # fmt: skip
    warm = (rise_K(design.mean_W, own), rise_K(design.mean_W, own + asked.loss_W_K))
    return (
        f"Gas: a full bank that takes all the sources give, {number(asked.current_A, 'A')}, sets "
        f"free {number(asked.hydrogen_m3_d, 'm3')} of hydrogen a day. "
        f"{number(asked.air_m3_h, 'm3/h')} of air, two openings of "
        f"{number(asked.opening_cm2, 'cm2')}, one low and one high, keep it below a quarter of "
        f"what explodes, and take {number(asked.loss_W_K, 'W/K')} where the box loses "
        f"{number(own, 'W/K')}: the loads warm it by {number(warm[1], 'K')} in place of "
        f"{number(warm[0], 'K')}. {told}. {GAS}"
    )


def bank_text(plan):
    """Return the bank in words."""
    bank = plan.description.design.bank
    return (
        f"{bank.series * bank.parallel} x {bank.block_Ah:g} Ah {bank.block_V:g} V {bank.chemistry}"
    )


def page(plan, *, whole=True):
    """Return the verdict of one station as text.

    ``whole``: every margin and caution, as the file has it; without, what is good is named only
    and cautions are short, as the terminal shows it.
    """
    _, sentence = verdict(plan)
    lines = [f"{plan.name}  {plan.place.side_by_side.minutes}", sentence, ""]
    for one in (*sentences(plan), *typed_sentences(plan.description)):
        lines += _wrapped(one)
    lines += _wrapped(advice(plan))
    lines += _wrapped(gas_text(plan))
    lines += ["", *_margins(plan, whole), ""]
    if plan.snow.sentences:
        lines += ["snow and melt", *(row for one in plan.snow.sentences for row in _item(one)), ""]
    lines.append("rules")
    for one in plan.findings:
        if one.state != GOOD:
            lines += _item(f"{MARK[one.state]:<4}{finding_text(one)}")
    good = [one.rule for one in plan.findings if one.state == GOOD]
    lines += _item(f"{MARK[GOOD]:<4}{', '.join(good)}")
    lines += ["", *_wrapped(storm_text(plan))]
    if plan.kept.messages is not None:
        lines += ["", *_wrapped(f"Sends {plan.kept.sent_words}.")]
    lines += ["", *cargo_lines(plan), "", "cautions"]
    for one in plan.cautions if whole else _short(plan.cautions):
        lines += _item(one)
    return "\n".join(line.rstrip() for line in lines) + "\n"


def typed_sentences(description):
    """Return in which notation the place was typed, and what else it can mean; none for numbers."""
    typed = description.typed
    if typed is None:
        return ()
    return (f"Place typed in {typed.form}: {typed.text}.", *(f"{s}." for s in typed.sentences))


def finding_text(one):
    """Return what a rule says: what there is, and what to do."""
    remedy = f" Do: {one.remedy}." if one.remedy else ""
    return f"{one.rule}: {one.found}.{remedy}"


def margin_text(one):
    """Return (has, needs) of a line in words."""
    return number(one.value, one.unit), number(one.needed, one.unit)


def sorted_lines(plan):
    """Return the margins, the worst first, else in their order."""
    return sorted(plan.lines, key=_worst_first)


def _margins(plan, whole):
    lines = [f"{'margin':<42}{'has':>12}{'needs':>12}"]
    for one in sorted_lines(plan):
        if whole or one.state != GOOD:
            has, needs = margin_text(one)
            lines.append(f"{one.name[:41]:<42}{has:>12}{needs:>12}  {MARK[one.state]}")
    if not whole:
        good = [one.name for one in plan.lines if one.state == GOOD]
        lines += _item(f"{MARK[GOOD]:<4}{', '.join(good)}")
    return lines


def storm_text(plan):
    """Return the design storm in sentences: its pressure, how often it comes, what sways."""
    found, winds = plan.storm, plan.storm.winds
    level, sigma = winds.once_in(winds.return_a)
    often = winds.source
    if winds.extremes is not None:
        often = (
            f"once in {winds.return_a:g} years {number(level, 'm/s')} (sigma {number(sigma)}; "
            f"{winds.source}); more than designed for within {winds.stay_a:.1f} a: "
            f"{100.0 * winds.chance:.2g} %"
        )
    sways = next(one.words for one in found.lines if one.name == SWAYS)
    return (
        f"Storm: designed for {found.mean_m_s:g} m/s, in gusts {found.gust_m_s:.0f} m/s that press "
        f"with {found.pressure_Pa:.0f} Pa. Wind here: {often}. The antenna goes aside by "
        f"{number(found.mast.usual.bending.top_mm, 'mm')} in a usual gale, "
        f"{number(found.mast.answer.bending.top_mm, 'mm')} in the storm. The mast {sways}. "
        "Confirm with licensed practice and local codes."
    )


def _short(cautions):
    """Return the first caution whole, of the others one short line each."""
    return (cautions[0], *(brief(one) for one in cautions[1:]), "Whole: verdict.txt.")


def _worst_first(line):
    return (BAD, DOUBT, OPEN, GOOD).index(line.state)


def _wrapped(text):
    return textwrap.wrap(text, WIDTH)


def _item(text):
    return textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="      ")


def cargo_lines(plan):
    """Return what must fly, in lines."""
    totals, loads = plan.totals, plan.loads
    lines = [
        f"cargo: {totals.pieces} pieces, {totals.mass_kg:.0f} kg, {totals.volume_m3:.2f} m3; "
        f"flights: {len(loads.flights)} (at least {loads.fewest}); comes back: "
        f"{totals.back_kg:.0f} kg"
    ]
    lines += [
        f"  {one.number} {one.called}: {', '.join(one.items)}, {one.mass_kg:.0f} kg; "
        "ask the carrier"
        for one in plan.reminders
    ]
    return lines
