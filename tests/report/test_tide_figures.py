"""Figures of tides and responses: units, names of lines, what is doubtful marked."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.report import tide_figures as tides
from stakeline.report.coherence_figure import BandPairs, draw_coherence
from stakeline.report.response_figure import EstimatorResponse, draw_responses
from stakeline.report.style import svg_bytes

# cycles per day; periods of Doodson (1921) as tabled everywhere: 12.4206, 23.9345, 25.8193 h
LINES = (("M2", 24.0 / 12.4206), ("K1", 24.0 / 23.9345), ("O1", 24.0 / 25.8193))


def table():
    amplitude = np.array([40.0, 10.0, 0.1])
    return tides.TideTable(
        "up", ("M2", "K1", "P1"), amplitude, np.full(3, 0.5), np.array([10.0, 350.0, 80.0]),
        np.array([1.0, 20.0, 170.0]), np.array([False, True, False]),
        np.array([False, False, True]),
    )  # fmt: skip


def admittance(count):
    gain = np.full((2, count), 0.1) * (1.0 + np.arange(count))
    lag = np.zeros((2, count))
    return tides.Admittance(
        "Tides", tuple(f"HV0{k}" for k in range(count)), ("M2", "K1"), 5.0 * np.arange(count),
        gain, 0.2 * gain, lag, 10.0 + lag,
    )  # fmt: skip


def spectrum():
    frequency = np.linspace(0.01, 12.0, 1200)
    model = 1.0 + 10.0 / (1.0 + frequency**2)
    return tides.Spectrum("Spectrum", frequency, 1.1 * model, model, 1.0, LINES, 0.5, (0.6, 1.9))


def responses():
    offset = np.linspace(-5.0, 5.0, 201)
    shape = np.exp(-0.5 * offset**2) / np.sqrt(2.0 * np.pi)
    step = np.cumsum(shape) * 0.05
    return (EstimatorResponse("looking both ways", offset, step, shape, 2.35, 0.0, 1.64),)


def pairs(count):
    apart = 2.0 * np.arange(count)
    level = np.full(count, 0.15)
    return BandPairs("days: about 3 d", apart, 0.9 - 0.1 * apart, level, apart, 1.0 + apart)


DRAWN = {
    "coherence": lambda: draw_coherence((pairs(6), pairs(1)), "Coherence"),
    "none alike": lambda: draw_coherence((replace(pairs(3), level=np.ones(3)),), "Coherence"),
    "table": lambda: tides.draw_tide_table((table(), table()), "HV13: tides"),
    "admittance": lambda: tides.draw_admittance(admittance(4)),
    "one station": lambda: tides.draw_admittance(admittance(1)),
    "spectrum": lambda: tides.draw_spectrum(spectrum()),
    "responses": lambda: draw_responses(responses(), "Responses"),
}
LABELS = {
    "coherence": ("coherence, squared (-)", "lower station later by (h)", "days: about 3 d"),
    "none alike": ("none above chance", "distance between the two along the flow (km)"),
    "table": ("amplitude (mm)", "Greenwich phase lag (deg)", "M2", "not known", "40.0 ± 0.5"),
    "admittance": ("gain (m/m)", "lag (deg)", "distance from the front, up-glacier (km)", "HV03"),
    "one station": ("gain (m/m)", "HV00"),
    "spectrum": ("frequency (cycles per day)", "M2", "K1", "sidereal day", "solar day", "95 %"),
    "responses": ("days after the cause", "share of the step (-)", "speed ((m/d) per m)"),
}


@pytest.mark.parametrize("name", DRAWN)
def test_the_same_input_gives_the_same_bytes(name):
    assert svg_bytes(DRAWN[name]()) == svg_bytes(DRAWN[name]())


@pytest.mark.parametrize("name", DRAWN)
def test_labels_carry_their_units(name, words):
    assert set(LABELS[name]) <= set(words(DRAWN[name]()))


def test_lag_resolution_and_lead_are_told(words):
    text = next(w for w in words(DRAWN["responses"]()) if w.startswith("looking both ways"))
    assert "lag 0.00 d, resolution 2.35 d, begins 1.64 d before the cause" in text


def test_doubtful_constituents_are_hatched():
    bars = DRAWN["table"]().axes[0].patches
    assert [bool(bar.get_hatch()) for bar in bars] == [False, True, False]


def test_sidereal_and_solar_day_are_two_lines():
    panel = DRAWN["spectrum"]().axes[1]
    upright = {round(line.get_xdata()[0], 4) for line in panel.lines if len(line.get_xdata()) == 2}
    # 1.0027 cycles a day: IERS Conventions (2010), table 1.1
    assert {1.0, 1.0027} <= upright
