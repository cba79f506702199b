"""Rules of what loads do by themselves: start, log, wake, record in blocks; and of the outside."""

from .duty import block_advice
from .rules import BAD, DOUBT, GOOD, OPEN, Finding, answered


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
    """Whether receivers that save energy record in one long block a day."""
    saving = [one for one in design.loads if one.kind == "receiver" and one.duty < 1.0]
    reason = "carrier phases need half an hour and more together before a position is good"
    if not saving:
        found = "receivers record all day" if design.loads else "no receiver"
        return Finding("One long block", GOOD, found, reason)
    load = max(saving, key=lambda one: one.blocks_d)
    advice = block_advice(load.duty, load.blocks_d)
    state = GOOD if load.blocks_d <= 1.0 else BAD if advice.worse_by > 1.5 else DOUBT
    remedy = "" if state == GOOD else f"one block of {advice.one_block_h:.1f} h a day"
    return Finding("One long block", state, f"{load.name}: {advice.words}", reason, remedy)


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
