"""The rules of the verdict, one by one."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.inference.verdict import Evidence, Words, decide

WORDS = Words("the speed", "faster", "slower", "m/d")
CHANGED = Evidence(
    amplitude=0.05,
    interval=(0.03, 0.07),
    p=0.002,
    events=4,
    series=5,
    smallest=0.03,
    relevant=0.02,
    pre_trend_p=0.6,
    probability_before=0.01,
    placebo_p=0.004,
    placebo_series_p=(0.7,),
    causes=(("rain", 0.4, 0.1),),
    sign_holds=True,
    seen=(1.0, 1.0, 0.9, 1.0),
    agreeing=6,
    variations=6,
)
SILENT = replace(CHANGED, amplitude=0.002, interval=(-0.01, 0.014), p=0.6, placebo_p=0.5)


def test_up_and_down():
    up = decide(CHANGED, WORDS)
    assert up.outcome == "up"
    assert up.sentence.startswith("The speed becomes faster with the events: by 0.05 m/d")
    assert up.weakening == ()
    assert up.missing == ()
    assert len(up.support) == 8
    assert "a change of 0.03 m/d would have been called faster or slower in 80 of 100" in up.support
    down = decide(replace(CHANGED, amplitude=-0.05, interval=(-0.07, -0.03)), WORDS)
    assert down.outcome == "down"
    assert "becomes slower" in down.sentence
    assert down.bound == up.bound == 0.07


def test_none_larger_than_the_far_end():
    none = decide(SILENT, WORDS)
    assert none.outcome == "none larger"
    assert none.bound == 0.014
    assert "No change of the speed larger than 0.014 m/d" in none.sentence


def test_a_weak_network_cannot_tell():
    weak = decide(replace(SILENT, interval=(-0.05, 0.06)), WORDS)
    assert weak.outcome == "cannot tell"
    assert "up to 0.06 m/d could have been missed, more than the 0.02 m/d" in weak.sentence
    unset = decide(replace(SILENT, interval=(-0.05, 0.06), relevant=np.nan), WORDS)
    assert unset.outcome == "none larger"
    assert "larger than 0.06 m/d" in unset.sentence
    assert "a relevant change" in unset.missing


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"pre_trend_p": 0.009}, "under way before"),
        (
            {"probability_early": 0.96, "probability_before": 1.0},
            "96 % probability it began",
        ),
        ({"causes": (("rain", 0.01, 0.8),)}, "rain changes with them too"),
        ({"causes": (("rain", 0.4, 0.8),)}, "rain explains 80 % of it"),
        ({"placebo_series_p": (0.5, 0.01)}, "must not respond changes as well"),
    ],
)
def test_what_forbids_to_call_it_an_answer(change, words):
    found = decide(replace(CHANGED, **change), WORDS)
    assert found.outcome == "cannot tell"
    assert words in found.sentence
    assert any(words in line for line in found.weakening)
    # a doubt about a change that was not found does not turn nothing into something
    assert decide(replace(SILENT, **change), WORDS).outcome == "none larger"


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"events": 1}, "one event only"),
        (
            {"probability_before": 0.8, "probability_early": 0.4},
            "begun before them (80 %)",
        ),
        ({"pre_trend_p": 0.03}, "may have been under way before (p = 0.03)"),
        ({"series": 1}, "one series only"),
        ({"placebo_p": 0.3}, "other times give as much"),
        ({"causes": (("rain", 0.01, 0.2),)}, "rain changes with the events"),
        ({"sign_holds": False}, "rests on a single event"),
        ({"seen": (1.0, 0.2, 0.0, 1.0)}, "2 of 4 events have gaps"),
        ({"noise_at_bound": True}, "not well known"),
        ({"lag_at_edge": True}, "edge of what was allowed"),
        ({"agreeing": 4}, "2 of 6 other choices do not show it"),
    ],
)
def test_what_weakens_is_said(change, words):
    found = decide(replace(CHANGED, **change), WORDS)
    assert found.outcome == "up"
    assert sum(words in line for line in found.weakening) == 1


def test_test_and_interval_must_agree():
    for change in ({"p": 0.2}, {"interval": (-0.01, 0.11)}):
        found = decide(replace(CHANGED, **change), WORDS)
        assert found.outcome == "cannot tell"
        assert "do not agree" in found.sentence


def test_counter_tests_that_were_not_made_are_named():
    bare = Evidence(0.05, (0.03, 0.07), 0.002, 4, 5, np.nan)
    found = decide(bare)
    assert found.outcome == "up"
    assert len(found.missing) == 9
    assert "The value becomes higher" in found.sentence


def test_nothing_is_decided_from_missing_numbers():
    with pytest.raises(SettingsError, match="numbers that are missing"):
        decide(replace(CHANGED, p=np.nan))
    with pytest.raises(SettingsError, match="p above 0"):
        decide(replace(CHANGED, p=0.0))
    with pytest.raises(SettingsError, match="0 events"):
        decide(replace(CHANGED, events=0))
