"""Courses of a change: closed formulas, definitions of onset and end, the late copy."""

import numpy as np
import pytest

from stakeline.lakes.curve import end_shares, onset_shares, peak_share, ramp, rate_at, relaxed


def test_closed_forms_of_a_ramp():
    x = np.linspace(-0.2, 1.2, 29)
    inside = np.clip(x, 0.0, 1.0)
    # expected: I(1, 1; x) = x and I(2, 2; x) = 3 x^2 - 2 x^3 (DLMF 8.17)
    assert ramp(x, 1.0, 1.0) == pytest.approx(inside)
    assert ramp(x, 2.0, 2.0) == pytest.approx(3.0 * inside**2 - 2.0 * inside**3)


def test_rate_is_the_slope_of_the_ramp():
    x = np.linspace(0.05, 0.95, 19)
    slope = (ramp(x + 1e-5, 3.0, 4.0) - ramp(x - 1e-5, 3.0, 4.0)) / 2e-5
    assert rate_at(x, 3.0, 4.0) == pytest.approx(slope, rel=1e-6)
    assert peak_share(3.0, 4.0) == pytest.approx(0.4)  # (p - 1) / (p + q - 2)


def test_definitions_of_an_even_rate():
    onset, end = onset_shares(1.0, 1.0), end_shares(1.0, 1.0)
    # expected, by hand: a straight line leaves at once, whichever way one looks
    assert [float(onset[k][0]) for k in onset] == pytest.approx([0.0, 0.05, 0.1, 0.0, 0.0])
    assert [float(end[k][0]) for k in end] == pytest.approx([1.0, 0.95, 0.9, 1.0, 1.0])


def test_definitions_of_a_cubic_step():
    onset, end = onset_shares(2.0, 2.0), end_shares(2.0, 2.0)
    # expected, by hand: slope 1.5 through (0.5, 0.5); rate 6 x (1 - x) = 0.15
    assert onset["tangent"][0] == pytest.approx(1.0 / 6.0)
    assert onset["rate"][0] == pytest.approx(0.5 - np.sqrt(0.225), abs=2e-3)
    assert end["tangent"][0] == pytest.approx(5.0 / 6.0)
    assert onset["start"] <= onset["5 %"] <= onset["10 %"] <= end["90 %"] <= end["end"]


def test_late_copy_of_a_step_and_a_line():
    step = np.r_[0.0, np.ones(50)]
    found = relaxed(step, 0.1, 1.0)
    # expected: after the (straight) step it closes the gap by exp(-t / memory)
    assert (1.0 - found[11]) / (1.0 - found[1]) == pytest.approx(np.exp(-1.0))
    line = 0.1 * np.arange(200)
    assert line[-1] - relaxed(line, 0.1, 1.0)[-1] == pytest.approx(1.0, rel=1e-6)  # lags by memory
