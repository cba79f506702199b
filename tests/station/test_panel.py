"""Panels: rated point, limits of dark and open, cold, wires, covers, and what is refused."""

import dataclasses

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.panel import (
    Panel,
    best_power_W,
    cell_degC,
    current_A,
    delivered_W,
    free_share,
    open_circuit_V,
    series_ohm,
    short_circuit_A,
)

PANEL = Panel()
LOSSLESS = dataclasses.replace(PANEL, cable_ohm=0.0, diode_V=0.0, controller_share=1.0)


def test_power_in_the_cold():
    # checks.md 1.5: 85 W, -0.45 %/K, -20 degC -> 102.2 W; -0.4 %/K -> +18 %
    assert best_power_W(PANEL, 1000.0, -20.0) == pytest.approx(102.2, abs=0.05)
    gentle = dataclasses.replace(PANEL, power_per_K=-0.004)
    assert best_power_W(gentle, 1000.0, -20.0) == pytest.approx(1.18 * 85.0)


def test_open_voltage_in_the_cold():
    # needs.md 2.5: a 21.6 V panel gives about 26 V at -40 degC (from memory, +0.3 %/K)
    panel = dataclasses.replace(PANEL, open_V=21.6, open_per_K=-0.003)
    assert open_circuit_V(panel, 1000.0, -40.0) == pytest.approx(26.0, abs=0.3)


def test_rated_point_is_on_the_curve():
    assert open_circuit_V(PANEL, 1000.0, 25.0) == pytest.approx(22.1)
    assert short_circuit_A(PANEL, 1000.0, 25.0) == pytest.approx(5.3)
    volts = np.linspace(0.0, 22.1, 4000)
    amps = current_A(PANEL, volts, 1000.0, 25.0)
    assert (volts * amps).max() == pytest.approx(85.0, rel=1e-3)
    assert amps[0] == pytest.approx(5.3, rel=1e-3)
    assert amps[-1] == pytest.approx(0.0, abs=1e-6)
    assert (np.diff(amps) <= 1e-9).all()


def test_the_curve_obeys_the_equation_of_the_diode():
    volts, ohm = 17.0, series_ohm(PANEL)
    amps = current_A(PANEL, volts, 600.0, -10.0)
    slope = 36 * 1.2 * 1.380649e-23 * 263.15 / 1.602176634e-19
    top, short = open_circuit_V(PANEL, 600.0, -10.0), short_circuit_A(PANEL, 600.0, -10.0)
    back = short * (1.0 - np.expm1((volts + amps * ohm) / slope) / np.expm1(top / slope))
    assert amps == pytest.approx(back, rel=1e-6)


def test_a_tenth_of_the_light_takes_a_logarithm_of_the_voltage():
    fall = open_circuit_V(PANEL, 1000.0, 0.0) - open_circuit_V(PANEL, 100.0, 0.0)
    assert fall == pytest.approx(36 * 1.2 * 8.617333e-5 * 273.15 * np.log(10.0), rel=1e-6)
    assert open_circuit_V(PANEL, 0.0, 0.0) == 0.0


def test_cells_are_warmer_in_sun_and_calm():
    assert cell_degC(-30.0, 0.0, 0.0) == -30.0
    assert cell_degC(-30.0, 1000.0, 0.0) == pytest.approx(10.0)
    assert cell_degC(-30.0, 1000.0, 10.0) == pytest.approx(-30.0 + 1000.0 / 93.4)


def test_seeking_the_best_power_wins_in_the_cold():
    seeking = dataclasses.replace(LOSSLESS, tracking=True)
    light, cold = np.array([0.0, 100.0, 800.0]), -35.0
    best = delivered_W(seeking, light, cold, 5.0, 12.5)
    direct = delivered_W(LOSSLESS, light, cold, 5.0, 12.5)
    assert best == pytest.approx(best_power_W(PANEL, light, cell_degC(cold, light, 5.0)))
    assert best[0] == direct[0] == 0.0
    assert (best[1:] > 1.2 * direct[1:]).all()
    assert direct[2] == pytest.approx(12.5 * 5.3 * 0.8, rel=0.04)  # current by light


@pytest.mark.parametrize("tracking", [False, True])
def test_each_loss_lowers_what_arrives(tracking):
    whole = dataclasses.replace(LOSSLESS, tracking=tracking)
    light = np.array([50.0, 900.0])
    most = delivered_W(whole, light, 20.0, 1.0, 14.0)
    for change in ({"cable_ohm": 0.8}, {"diode_V": 0.9}, {"controller_share": 0.9}):
        less = delivered_W(dataclasses.replace(whole, **change), light, 20.0, 1.0, 14.0)
        assert (less < most).all(), change
    assert delivered_W(whole, light, 20.0, 1.0, 14.0, free=0.0) == pytest.approx([0.0, 0.0])


def test_snow_and_rime():
    assert free_share(0.0, 1.0, 0.7) == 1.0
    assert free_share(1.35, 1.0, 0.7) == pytest.approx(0.5)
    assert free_share(3.0, 1.0, 0.7) == 0.0
    assert free_share(0.0, 1.0, 0.7, rime=1.0) == pytest.approx(0.3)


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        ({"rated_W": -85.0}, "rated_W -85: expected above 0"),
        ({"rated_W": 200.0}, "is not below open_V x short_A"),
        ({"controller_share": 97.0}, "controller_share 97: expected above 0, up to 1"),
    ],
)
def test_refusals(change, sentence):
    with pytest.raises(SettingsError, match=sentence):
        Panel(**change)


def test_a_data_sheet_that_no_diode_can_follow_is_refused():
    with pytest.raises(SettingsError, match="more than a diode can give"):
        series_ohm(Panel(rated_W=110.0))
