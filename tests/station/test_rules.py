"""Each rule against a design that breaks it and one that does not."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station import rules_logic, rules_power
from stakeline.station.battery import LITHIUM, Bank
from stakeline.station.box import Box
from stakeline.station.design import Design, Load, PlacedPanel, Site
from stakeline.station.duty import block_advice, block_sigma_mm
from stakeline.station.panel import Panel
from stakeline.station.rules import (
    BAD,
    DOUBT,
    GOOD,
    OPEN,
    Answers,
    Facts,
    Finding,
    ranked,
)
from stakeline.station.turbine import Turbine

RECEIVER = Load("receiver", "receiver", 3.5)
MODEM = Load("modem", "telemetry", 2.0, 0.05, 15.0, 0.5, 0.5, 0.0, 4.0, 12.5)
ALONE = Answers(True, True, True)
SOUND = Design(
    "HV01",
    Site(79.0, 17.0, 200.0),
    tuple(PlacedPanel(str(a), Panel(), 1, 80.0, a) for a in (60.0, 180.0, 300.0)),
    Bank(disconnect_V=12.2, reconnect_V=12.8),
    Box(heater_W=5.0, heater_on_degC=-35.0, heater_off_degC=-30.0),
    (RECEIVER, MODEM),
    Turbine(),
    dump_W=300.0,
)
ABOUT = Facts(
    coldest_degC=-45.0, winter_degC=-20.0, answers={"receiver": ALONE, "modem": ALONE},
    trip_V=11.0, ventilated=True, second_cutout=True,
)  # fmt: skip
ALWAYS_OPEN = {"Fuse at the bank", "Ripple", "Static", "Plugs and cables"}  # only a look can tell


def with_(load, **changed):
    return replace(SOUND, loads=tuple(
        replace(one, **changed) if one.name == load.name else one for one in SOUND.loads
    ))  # fmt: skip


def every(design=SOUND, about=ABOUT):
    return [rule(design, about) for rule in (*rules_power.RULES, *rules_logic.RULES)]


def test_a_sound_design_is_good_but_for_what_only_a_look_can_tell():
    found = {one.rule: one.state for one in every()}
    assert {name for name, state in found.items() if state != GOOD} == ALWAYS_OPEN


def test_every_finding_says_why_and_what_to_do():
    for one in every():
        assert one.found
        assert one.reason
        assert one.cautions
        assert bool(one.remedy) == (one.state != GOOD), one.rule


BROKEN = [
    (rules_power.loops, {"bank": Bank(disconnect_V=11.5, reconnect_V=11.6)}, {}, BAD),
    (rules_power.loops, {"bank": Bank(LITHIUM)}, {"winter_degC": -49.0}, BAD),
    (rules_power.breaker, {}, {"trip_V": 12.3}, BAD),
    (rules_power.breaker, {}, {"trip_V": None}, OPEN),
    (rules_power.frost, {"bank": Bank(disconnect_V=11.0)}, {"coldest_degC": -50.0}, BAD),
    (rules_power.charge_voltage, {}, {"compensated": False}, BAD),
    (rules_power.charge_voltage, {}, {"winter_degC": -40.0}, DOUBT),
    (rules_power.lithium_frost, {"bank": Bank(LITHIUM)}, {"frost_ban": False}, BAD),
    (rules_power.lithium_frost, {"bank": Bank(LITHIUM)}, {}, GOOD),
    (rules_power.dump, {"dump_W": 20.0}, {}, BAD),
    (rules_power.dump, {"dump_W": None}, {}, OPEN),
    (rules_power.dump, {"turbine": None, "dump_W": None}, {}, GOOD),
    (rules_power.heater_share, {"box": Box(heater_W=40.0, heater_on_degC=5.0,
                                           heater_off_degC=8.0)}, {}, BAD),
    (rules_power.heater_share, {"box": Box(heater_W=5.0, heater_least_V=11.0)}, {}, BAD),
    (rules_power.heater_cutout, {}, {"second_cutout": False}, BAD),
    (rules_power.heater_cutout, {}, {"second_cutout": None}, OPEN),
    (rules_power.gas, {}, {"ventilated": False}, BAD),
    (rules_power.gas, {"bank": Bank(LITHIUM)}, {"ventilated": False}, GOOD),
    (rules_power.sources, {"turbine": None, "panels": SOUND.panels[:1]}, {}, BAD),
    (rules_power.sources, {"panels": ()}, {}, BAD),
    (rules_power.strings, {"bank": Bank(parallel=1)}, {}, DOUBT),
    (rules_logic.starts, {}, {"answers": {"receiver": Answers(False)}}, BAD),
    (rules_logic.starts, {}, {"answers": {}}, OPEN),
    (rules_logic.logs, {}, {"answers": {"receiver": Answers(True, False)}}, BAD),
    (rules_logic.wakes, {}, {"answers": {"modem": Answers(True, True, False)}}, BAD),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "design", "about", "state"), BROKEN)
def test_what_breaks_a_rule_is_found(rule, design, about, state):
    found = rule(replace(SOUND, **design), replace(ABOUT, **about))
    assert found.state == state, found


def test_a_pulse_on_a_weak_supply_is_found():
    weak = replace(SOUND, bank=Bank(parallel=1, block_Ah=20.0, block_ohm=0.4, disconnect_V=11.0))
    found = rules_power.pulse(weak, ABOUT)
    assert found.state == BAD
    assert found.simulated
    assert "50% of such pulses fall between looks" in found.found


def test_sending_that_goes_on_to_the_end_is_doubted():
    assert rules_power.sends_first_off(with_(MODEM, least_V=None), ABOUT).state == DOUBT


def test_a_diode_that_is_missing_is_doubted():
    bare = [replace(one, panel=Panel(diode_V=0.0)) for one in SOUND.panels]
    assert rules_power.diodes(replace(SOUND, panels=tuple(bare)), ABOUT).state == DOUBT


def test_the_voltage_advised_against_frost_keeps_the_acid_fluid():
    cold = replace(ABOUT, coldest_degC=-40.0)
    found = rules_power.frost(replace(SOUND, bank=Bank(disconnect_V=11.0)), cold)
    cut = float(found.remedy.split("cut off at ")[1].split(" V")[0])
    mended = replace(SOUND, bank=Bank(disconnect_V=cut + 0.01, reconnect_V=13.0))
    assert found.state == BAD
    assert rules_power.frost(mended, cold).state == GOOD


def test_the_voltage_advised_against_loops_ends_them():
    looping = replace(SOUND, bank=Bank(disconnect_V=11.5, reconnect_V=11.6))
    remedy = rules_power.loops(looping, ABOUT).remedy
    back = float(remedy.split(" back to ")[1].split(" V")[0])
    mended = replace(SOUND, bank=Bank(disconnect_V=11.5, reconnect_V=back))
    assert rules_power.loops(mended, ABOUT).state == GOOD


def test_many_short_blocks_are_bad_and_one_long_is_good():
    assert rules_logic.blocks(with_(RECEIVER, duty=1 / 6, blocks_d=24.0), ABOUT).state == BAD
    assert rules_logic.blocks(with_(RECEIVER, duty=1 / 6, blocks_d=1.0), ABOUT).state == GOOD
    assert rules_logic.blocks(SOUND, ABOUT).state == GOOD


def test_the_saving_mode_is_judged_as_well_as_the_usual_one():
    power, name = RECEIVER.power_W, RECEIVER.name
    saves = {"saves_below": 0.6, "saved_W": power / 3.0}
    one = rules_logic.blocks(with_(RECEIVER, **saves), ABOUT)
    assert one.state == GOOD
    assert f"{name}: all day; {name} below 60% charge: one block of 8.0 h" in one.found
    many = rules_logic.blocks(with_(RECEIVER, blocks_d=48.0, **saves), ABOUT)
    assert (many.state, many.remedy) == (BAD, "one block of 8.0 h a day")
    brief = rules_logic.blocks(with_(RECEIVER, saves_below=0.6, saved_W=power / 72.0), ABOUT)
    assert brief.state == DOUBT
    assert brief.remedy.startswith("half an hour at least")
    off = rules_logic.blocks(with_(RECEIVER, saves_below=0.6, saved_W=0.0), ABOUT)
    assert "off, no positions" in off.found
    plain = rules_logic.blocks(with_(RECEIVER, **saves), ABOUT).found
    assert "simulated" not in plain
    told = replace(ABOUT, saving={name: 0.125})
    assert "(12% of the simulated days)" in rules_logic.blocks(with_(RECEIVER, **saves), told).found
    both = rules_logic.blocks(with_(RECEIVER, duty=0.5, blocks_d=48.0, **saves), ABOUT)
    assert both.state == BAD
    assert both.found.count("48 blocks") == 2


def test_ranked_puts_the_worst_first():
    found = ranked([Finding(str(k), state, "f", "r") for k, state in
                    enumerate((GOOD, OPEN, BAD, DOUBT, BAD))])  # fmt: skip
    assert [one.state for one in found] == [BAD, BAD, DOUBT, OPEN, GOOD]
    assert [one.rule for one in found[:2]] == ["2", "4"]
    with pytest.raises(SettingsError, match="expected one of bad, doubt, open, good"):
        Finding("x", "fine", "f", "r")


def test_blocks_follow_the_measured_points_and_fall_between():
    np.testing.assert_allclose(block_sigma_mm(1.0 / 6.0), [63.0, 52.0, 65.0])
    np.testing.assert_allclose(block_sigma_mm(24.0), block_sigma_mm(3.0))
    lengths = np.linspace(0.1, 3.0, 30)
    assert (np.diff(block_sigma_mm(lengths), axis=0) < 0.0).all()


@pytest.mark.parametrize("blocks", [2, 6, 24])
def test_one_block_beats_many_of_the_same_length(blocks):
    advice = block_advice(0.125, blocks)
    assert advice.one_block_h == 3.0
    assert advice.worse_by > 1.0
    np.testing.assert_allclose(block_advice(0.125, 1).sigma_mm, advice.one_sigma_mm)
    assert f"{blocks} blocks" in advice.words


def test_a_duty_of_nothing_is_refused():
    with pytest.raises(SettingsError, match="duty is 0"):
        block_advice(0.0, 1.0)
    with pytest.raises(SettingsError, match="expected up to 1"):
        block_advice(1.5, 1.0)
