"""Rules of what loads do by themselves: start, log, wake, record in blocks; and of the outside."""

from .design import RECEIVER
from .duty import DAY_H, block_advice
from .rules import BAD, DOUBT, GOOD, OPEN, STATES, Finding, answered

LEAST_BLOCK_H = 0.5  # h; of phases together before a position is good, common practice, no source


def starts(design, about):
    """Whether every load starts when power comes back."""
    return _asked(
        design.loads, about, "starts", "Starts by itself",
        "starts when power comes back", "waits for a key",
        "after a dark winter nobody is there to press a key",
        "switch the supply off for an hour and on again, at the lowest voltage it comes back at",
    )  # fmt: skip


def logs(design, about):
    """Whether receivers and loggers record again without a command."""
    recording = [one for one in design.loads if one.records]
    return _asked(
        recording, about, "logs", "Records by itself",
        "records on boot", "is on, but does not record",
        "a receiver that is up but records nothing looks well from afar, and the season is lost",
        "set recording on boot, then cut the power and look whether a file grows",
    )  # fmt: skip


def wakes(design, about):
    """Whether loads that sleep wake even where they were told nothing."""
    sleepers = [one for one in design.loads if one.sleeps]
    return _asked(
        sleepers, about, "wakes", "Wakes by itself",
        "wakes at a fixed time whatever it was told", "sleeps until it is called",
        "a sleep without a fail-safe wake is for ever: a lost command leaves a good station mute",
        "set a wake that no command can take away, and try it",
    )  # fmt: skip


def _asked(loads, about, name, rule, yes, no, reason, remedy):
    """Return the finding on one answer about several loads: the worst counts."""
    if not loads:
        return Finding(rule, GOOD, "no load needs it", reason)
    told = {one.name: getattr(about.of(one), name) for one in loads}
    bad = [load for load, answer in told.items() if answer is False]
    untried = [load for load, answer in told.items() if answer is None]
    worst = False if bad else None if untried else True
    state, words = answered(worst, yes, no)
    who = ", ".join(bad or untried or told)
    return Finding(rule, state, f"{who}: {words}", reason, "" if state == GOOD else remedy)


def blocks(design, about):
    """Whether receivers record in one long block a day, by their duty and while they save."""
    rule = "One long block"
    reason = "carrier phases need half an hour and more together before a position is good"
    receivers = [one for one in design.loads if one.kind == RECEIVER]
    if not any(one.sleeps for one in receivers):
        return Finding(rule, GOOD, "all day" if receivers else "no receiver", reason)
    told = [(one, *mode) for one in receivers for mode in _modes(one, about)]
    judged = [_judged(one, duty) for one, _, duty in told]
    state = min((one[0] for one in judged), key=STATES.index)
    found = "; ".join(
        f"{load.name}{when}: {words}"
        for (load, when, _), (_, words, _) in zip(told, judged, strict=True)
    )
    remedy = next((one[2] for one in judged if one[0] == state), "")
    return Finding(rule, state, found, reason, remedy)


def _modes(load, about):
    """Return (when, share of the day that it is on) of a load's usual and its saving mode."""
    found = [("", load.duty)]
    if load.saves:
        days = about.saving.get(load.name)
        often = "" if days is None else f" ({days:.0%} of the simulated days)"
        found.append((f" below {load.saves_below:.0%} charge{often}", load.low_W / load.power_W))
    return found


def _judged(load, duty):
    """Return (state, words, remedy) of a receiver that is on for that share of the day."""
    if duty == 1.0:
        return GOOD, "all day", ""
    if duty == 0.0:
        return GOOD, "off, no positions", ""
    advice = block_advice(duty, load.blocks_d)
    if advice.block_h < LEAST_BLOCK_H and load.blocks_d <= 1.0:
        least_W = load.power_W * LEAST_BLOCK_H / DAY_H
        return DOUBT, advice.words, f"half an hour at least, {least_W:.2g} W in the mean"
    if load.blocks_d <= 1.0:
        return GOOD, advice.words, ""
    state = BAD if advice.worse_by > 1.5 else DOUBT
    return state, advice.words, f"one block of {advice.one_block_h:.1f} h a day"


def saves_late(design, about):
    """Whether something is switched off before the bank is empty."""
    saving = [one for one in design.loads if one.saves_below > 0.0]
    reason = "a station that saves below half charge lives weeks longer on what is left"
    state = GOOD if saving else DOUBT
    found = ", ".join(f"{one.name} below {one.saves_below:.0%}" for one in saving)
    remedy = "" if saving else "give saves_below and saved_W of the largest load"
    return Finding("Saves before it dies", state, found or "nothing saves", reason, remedy)


def static(design, about):
    """Charge by drifting snow: only looking at the parts can tell."""
    return Finding(
        "Static", OPEN, "drifting snow charges masts and antennas",
        "a spark along the antenna's cable kills the receiver's port",
        "bond mast, box and ground plate; a surge arrestor in the antenna's cable",
    )  # fmt: skip


def screws(design, about):
    """What vibration and cold do to plugs and cables."""
    return Finding(
        "Plugs and cables", OPEN, "wind shakes for months, and cold makes plastics brittle",
        "screws come loose and ties break: most faults of a winter are mechanical",
        "spring terminals, cold-proof cables, slack at each bend, plugs below snow tight",
    )  # fmt: skip


RULES = (starts, logs, wakes, blocks, saves_late, static, screws)
"""Rules about logic and the outside: ``rule(design, about)`` returns a :class:`Finding`."""
