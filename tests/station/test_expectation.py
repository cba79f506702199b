"""One reading and what it means: good, missing, turned, in milli, too low, too high."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.expectation import (
    GOOD,
    MISSING,
    OUTSIDE,
    Expectation,
    Sign,
    band_text,
    judge,
    metered,
    number_text,
)

VOLTS = Expectation(
    "panel_open_V", "panel south", "nothing connected", "V", 22.0, 24.0, 26.0, "leads",
    "shade", "more cells", (Sign(0.4, 0.6, "half dark"),), polar=True,
)  # fmt: skip


@pytest.mark.parametrize(
    ("value", "state", "sentence"),
    [
        (24.1, GOOD, "panel south, nothing connected, 24.10 V: as expected (22 to 26 V)"),
        (-24.1, OUTSIDE, "polarity is swapped: change the two wires"),
        (24100.0, OUTSIDE, "it fits if it was read in mV: give 24.10 V"),
        (-24100.0, OUTSIDE, "read in mV with swapped polarity"),
        (0.0241, OUTSIDE, "it fits if it was read in kV"),
        (12.2, OUTSIDE, "half dark"),
        (20.0, OUTSIDE, "expected 22 to 26 V; shade"),
        (30.0, OUTSIDE, "more cells"),
        (np.nan, MISSING, "no reading; take it before you leave"),
    ],
)
def test_a_reading_is_told_in_words(value, state, sentence):
    said = judge(VOLTS, value)
    assert said.state == state
    assert sentence in said.sentence


def test_what_cannot_be_taken_now_says_why():
    night = Expectation("x_V", "panel", "open", "V", -0.1, 0.0, 0.1, must=False, why_not="no Sun")
    assert judge(night, np.nan).sentence == "panel, open: no reading; no Sun"


def test_resistances_are_never_called_reversed():
    ohm = Expectation("c_ohm", "cable", "ends joined", "ohm", 0.0, 0.1, 0.4, low="joined", high="x")
    assert judge(ohm, -0.1).sentence.endswith("joined")
    assert judge(ohm, 100.0).sentence.endswith("x")


def test_a_band_without_end():
    open_end = Expectation("s", "receiver", "satellites", "", 8.0, 20.0, np.inf)
    assert band_text(open_end) == "8 or more"
    assert judge(open_end, 31.0).state == GOOD
    assert judge(open_end, 7.0).state == OUTSIDE


def test_a_band_holds_what_is_expected():
    with pytest.raises(SettingsError, match="band 1 to 2 V does not hold 3"):
        Expectation("x_V", "x", "y", "V", 1.0, 3.0, 2.0)


def test_the_meter_only_widens():
    least, expected, most = metered(10.0, 12.0, 14.0, "V")
    assert (least, most) == pytest.approx((10.0 - 0.05 - 0.03, 14.0 + 0.07 + 0.03))
    assert expected == 12.0
    assert metered(-10.0, 0.0, 1.0, "V")[0] < -10.0


@pytest.mark.parametrize(
    ("value", "text"),
    [(12.714, "12.71"), (0.0853, "0.085"), (1e6, "1000000"), (-0.0001, "0"), (150.04, "150.0")],
)
def test_numbers_as_on_a_meter(value, text):
    assert number_text(value) == text
