"""What a solar panel gives: power, open-circuit voltage and short-circuit current in the cold."""

import functools
from dataclasses import dataclass

import numpy as np

from ..errors import SettingsError
from .storm import ZERO_DEGC_K

STANDARD_W_M2 = 1000.0  # W/m2; standard test conditions, IEC 60904-3
STANDARD_DEGC = 25.0  # degC; the same
BOLTZMANN_V_K = 8.617333262e-5  # V/K, Boltzmann constant by elementary charge; SI Brochure 9th ed.
CALM_LOSS_W_M2_K = 25.0  # W/(m2 K); Faiman (2008), Prog. Photovolt. 16, U0
WIND_LOSS_J_M3_K = 6.84  # J/(m3 K), by m/s of wind; the same, U1
LEAST_LIGHT_W_M2 = 0.1  # W/m2; below it a panel counts as dark, own choice


@dataclass(frozen=True)
class Panel:
    """A panel as its data sheet describes it, and how it is connected.

    Attributes
    ----------
    rated_W : float
        At 1000 W/m2 and 25 degC.
    cells : int
        In series; 36 for a bank of 12 V.
    open_V, short_A : float
        Open-circuit voltage and short-circuit current at 1000 W/m2 and 25 degC.
    power_per_K, open_per_K, short_per_K : float
        Temperature coefficients, shares of the rated value.
    ideality : float
        Of the single diode.
    cable_ohm : float
        There and back, with connectors.
    diode_V : float
        Drop of the series diode.
    tracking : bool
        Whether the controller seeks the point of most power; if not, the panel works at the
        battery's voltage.
    controller_share : float
        Power that the controller passes on.
    """

    rated_W: float = 85.0
    cells: int = 36
    open_V: float = 22.1
    short_A: float = 5.3
    power_per_K: float = -0.0045
    open_per_K: float = -0.0034
    short_per_K: float = 0.0005
    ideality: float = 1.2
    cable_ohm: float = 0.1
    diode_V: float = 0.5
    tracking: bool = False
    controller_share: float = 0.97

    def __post_init__(self):
        for name in ("rated_W", "cells", "open_V", "short_A", "ideality"):
            if not getattr(self, name) > 0.0:
                raise SettingsError(f"panel: {name} {getattr(self, name):g}: expected above 0")
        if not 0.0 < self.controller_share <= 1.0:
            raise SettingsError(
                f"panel: controller_share {self.controller_share:g}: expected above 0, up to 1"
            )
        if not self.rated_W < self.open_V * self.short_A:
            raise SettingsError(
                f"panel: rated_W {self.rated_W:g} is not below open_V x short_A "
                f"{self.open_V * self.short_A:g}: look at the data sheet again"
            )


def cell_degC(air_degC, light_W_m2, wind_m_s):
    """Return the temperature of the cells, as an array. [degC]

    Air + G / (25 + 6.84 v): Faiman (2008), Prog. Photovolt. 16, with its coefficients.
    """
    loss = CALM_LOSS_W_M2_K + WIND_LOSS_J_M3_K * np.asarray(wind_m_s, float)
    return np.asarray(air_degC, float) + np.asarray(light_W_m2, float) / loss


def best_power_W(panel, light_W_m2, cells_degC):
    """Return the most power that a panel can give, without wires, as an array. [W]

    Rated x G / 1000 x (1 + c (T - 25)): linear in light, a few per cent too much in twilight.
    """
    warm = 1.0 + panel.power_per_K * (np.asarray(cells_degC, float) - STANDARD_DEGC)
    return panel.rated_W * np.asarray(light_W_m2, float) / STANDARD_W_M2 * np.maximum(warm, 0.0)


def short_circuit_A(panel, light_W_m2, cells_degC):
    """Return the current of the shorted panel, as an array. [A]"""
    warm = 1.0 + panel.short_per_K * (np.asarray(cells_degC, float) - STANDARD_DEGC)
    return panel.short_A * np.asarray(light_W_m2, float) / STANDARD_W_M2 * warm


def open_circuit_V(panel, light_W_m2, cells_degC):
    """Return the voltage of the panel with nothing connected, as an array. [V]

    One diode without shunt: open_V (1 + c (T - 25)) + cells n k T / q ln(I_short / I_rated), zero
    in the dark (Duffie & Beckman 2013, Solar Engineering of Thermal Processes, section 23.2).
    """
    current = short_circuit_A(panel, light_W_m2, cells_degC) / panel.short_A
    dark = LEAST_LIGHT_W_M2 / STANDARD_W_M2
    warm = panel.open_V * (1.0 + panel.open_per_K * (np.asarray(cells_degC) - STANDARD_DEGC))
    volts = warm + _slope_V(panel, cells_degC) * np.log(np.maximum(current, dark))
    return np.where(current > dark, np.maximum(volts, 0.0), 0.0)


def current_A(panel, volts_V, light_W_m2, cells_degC):
    """Return the current at a voltage between the terminals, as an array, never below 0. [A]

    One diode with the series resistance that the rated power asks for:
    I = I_short - I_short (exp((V + I R) / a) - 1) / (exp(V_open / a) - 1), by Newton.
    """
    slope = _slope_V(panel, cells_degC)
    short = short_circuit_A(panel, light_W_m2, cells_degC)
    top = open_circuit_V(panel, light_W_m2, cells_degC)
    return _diode_A(short, top, slope, series_ohm(panel), np.asarray(volts_V, float))


@functools.lru_cache(maxsize=64)
def series_ohm(panel):
    """Return the series resistance with which the diode's best power is the rated one. [ohm]

    Raises
    ------
    SettingsError
        Where even without resistance the diode gives less than the rated power.
    """
    slope = _slope_V(panel, STANDARD_DEGC)
    low, high = 0.0, panel.open_V / panel.short_A
    if _diode_best_W(panel, slope, low) < panel.rated_W:
        raise SettingsError(
            f"panel: {panel.rated_W:g} W from {panel.open_V:g} V and {panel.short_A:g} A is "
            "more than a diode can give: look at the data sheet again"
        )
    for _ in range(50):
        middle = 0.5 * (low + high)
        if _diode_best_W(panel, slope, middle) > panel.rated_W:
            low = middle
        else:
            high = middle
    return low


def delivered_W(panel, light_W_m2, air_degC, wind_m_s, battery_V, free=1.0):
    """Return what arrives at the battery, after wires, diode and controller, as an array. [W]

    Parameters
    ----------
    panel : Panel
    light_W_m2, air_degC, wind_m_s : array, shape (n,)
    battery_V : float or array
    free : float or array
        Share of the panel that snow and rime leave, :func:`free_share`.

    Notes
    -----
    Seeking the best power, the current by voltage carries I^2 R and the diode's drop. Without, the
    panel works at battery + diode + I R: the cold raises its voltage, not its current.
    """
    light = np.asarray(light_W_m2, float) * free
    cells = cell_degC(air_degC, light, wind_m_s)
    if panel.tracking:
        best = best_power_W(panel, light, cells)
        volts = np.maximum(0.8 * open_circuit_V(panel, light, cells), 1.0)  # common practice
        amps = best / volts
        return panel.controller_share * np.maximum(
            best - amps * (panel.diode_V + amps * panel.cable_ohm), 0.0
        )
    at = np.asarray(battery_V, float) + panel.diode_V
    slope = _slope_V(panel, cells)
    short = short_circuit_A(panel, light, cells)
    top = open_circuit_V(panel, light, cells)
    amps = _diode_A(short, top, slope, series_ohm(panel) + panel.cable_ohm, at)
    return panel.controller_share * amps * battery_V


def free_share(snow_surface_m, bottom_m, tall_m, rime=0.0, rime_loss=0.7):
    """Return the share of a panel's light that snow and rime leave, as an array.

    Snow hides the panel up to its surface; full rime (1) takes ``rime_loss`` of the rest, own
    choice: rime lets light through. With bypass diodes and shaded cells in series it can be less.
    """
    if not tall_m > 0.0:
        raise SettingsError(f"panel: tall_m {tall_m:g}: expected above 0 m")
    hidden = np.clip((np.asarray(snow_surface_m, float) - bottom_m) / tall_m, 0.0, 1.0)
    return (1.0 - hidden) * (1.0 - rime_loss * np.clip(rime, 0.0, 1.0))


def _slope_V(panel, cells_degC):
    """Return cells n k T / q. [V]"""
    kelvin = np.asarray(cells_degC, float) + ZERO_DEGC_K
    return panel.cells * panel.ideality * BOLTZMANN_V_K * kelvin


def _diode_A(short, top, slope, ohm, volts):
    """Return the current of a diode with a series resistance, by thirty halvings. [A]"""
    scale = short / np.expm1(np.maximum(top, 1e-9) / slope)
    low = np.zeros(np.broadcast(short, top, slope, volts).shape)
    high = low + short
    for _ in range(30):
        middle = 0.5 * (low + high)
        over = np.minimum((volts + middle * ohm) / slope, 700.0)
        too_much = middle > short - scale * np.expm1(over)
        high = np.where(too_much, middle, high)
        low = np.where(too_much, low, middle)
    return np.where(volts < top, 0.5 * (low + high), 0.0)


def _diode_best_W(panel, slope, ohm):
    """Return the best power at standard conditions with a series resistance. [W]"""
    volts = np.linspace(0.3, 1.0, 141) * panel.open_V
    return (volts * _diode_A(panel.short_A, panel.open_V, slope, ohm, volts)).max()
