"""One diode for a panel: its five numbers from the data sheet, then any light and any cold.

    I = I_light - I_0 (exp((V + I R_s) / a) - 1) - (V + I R_s) / R_sh

De Soto, Klein & Beckman (2006), Solar Energy 80, 78-88, equation 1 and 2; the fit at standard
conditions is theirs (equations 3 to 7), solved here as three linear equations inside two
bisections, so that no first guess is needed.
"""

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from ..errors import SettingsError
from .panel import BOLTZMANN_V_K, STANDARD_DEGC, STANDARD_W_M2, Panel, series_ohm
from .storm import ZERO_DEGC_K

GAP_V = 1.121  # V; silicon at 25 degC, De Soto et al. (2006), equation 10
GAP_PER_K = -0.0002677  # 1/K; the same
TRIED_IDEALITY = np.linspace(0.5, 2.0, 76)  # -; of one cell, own choice
WARMER_K = 25.0  # K; step over which the voltage's temperature coefficient is met, own choice
_HALVINGS = 60


@dataclass(frozen=True)
class DataSheet:
    """What a maker prints of a panel at 1000 W/m2 and 25 degC.

    Attributes
    ----------
    open_V, short_A, best_V, best_A : float
        Nothing connected, shorted, and where the power is largest.
    cells : int
        In series.
    open_V_K, short_A_K : float
        Change of the first two for each kelvin.
    """

    open_V: float
    short_A: float
    best_V: float
    best_A: float
    cells: int
    open_V_K: float
    short_A_K: float

    def __post_init__(self):
        if not (0.0 < self.best_V < self.open_V and 0.0 < self.best_A < self.short_A):
            raise SettingsError(
                f"data sheet: best point {self.best_V:g} V, {self.best_A:g} A: expected below "
                f"{self.open_V:g} V and {self.short_A:g} A, above 0"
            )
        if not self.cells > 0:
            raise SettingsError(f"data sheet: {self.cells} cells: expected above 0")


@dataclass(frozen=True)
class Diode:
    """The five numbers at standard conditions, or, as arrays, at other light and temperature.

    Attributes
    ----------
    light_A, saturation_A : float or array
        Current that the light drives, and of the diode reversed.
    series_ohm, shunt_ohm : float or array
    slope_V : float or array
        a, cells n k T / q.
    short_A_K, open_V_K : float
        From the data sheet.
    by_gap : bool
        Whether cold changes ``saturation_A`` by silicon's band gap; if not, by ``open_V_K``.
    """

    light_A: float
    saturation_A: float
    series_ohm: float
    shunt_ohm: float
    slope_V: float
    short_A_K: float
    open_V_K: float
    by_gap: bool = True


def fit_diode(sheet):
    """Return the :class:`Diode` of a :class:`DataSheet`.

    Raises
    ------
    SettingsError
        Where no diode has these numbers: the sheet is misread.

    Notes
    -----
    For each slope a, the shorted, open and best point give I_light, I_0 and 1 / R_sh; R_s makes the
    best point one of most power (De Soto equation 6); a meets the voltage's coefficient (7). Where
    none meets it, the nearest one with a positive shunt is taken.
    """
    thermal = sheet.cells * BOLTZMANN_V_K * (STANDARD_DEGC + ZERO_DEGC_K)
    tried = [(n * thermal, _at_slope(sheet, n * thermal)) for n in TRIED_IDEALITY]
    known = [(slope, diode, _warm_miss_V(diode)) for slope, diode in tried if diode is not None]
    if not known:
        raise SettingsError(
            f"data sheet: no diode has {sheet.open_V:g} V open, {sheet.short_A:g} A shorted and "
            f"{sheet.best_V:g} V, {sheet.best_A:g} A at best with {sheet.cells} cells in series: "
            "read the sheet again"
        )
    for (low, _, before), (high, _, after) in pairwise(known):
        if before * after <= 0.0:
            return _between(sheet, low, high, before)
    return min(known, key=lambda one: abs(one[2]))[1]


def _between(sheet, low, high, miss_low):
    """Return the diode whose voltage has the sheet's coefficient, between two slopes."""
    best = None
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        diode = _at_slope(sheet, middle)
        if diode is None:
            break
        best = diode
        if _warm_miss_V(diode) * miss_low > 0.0:
            low = middle
        else:
            high = middle
    return best or _at_slope(sheet, low) or _at_slope(sheet, high)


def _at_slope(sheet, slope):
    """Return the diode through the three points with most power at the best one, or None."""
    low, high = 0.0, 0.999 * (sheet.open_V - sheet.best_V) / sheet.best_A
    miss_low, miss_high = _power_miss(sheet, slope, low), _power_miss(sheet, slope, high)
    if miss_low * miss_high > 0.0:
        return None
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        if _power_miss(sheet, slope, middle) * miss_low > 0.0:
            low = middle
        else:
            high = middle
    ohm = 0.5 * (low + high)
    light, scaled, leak = _three_points(sheet, slope, ohm)
    if not (scaled > 0.0 and leak >= -1e-9 and light > 0.0):
        return None
    shunt = 1.0 / leak if leak > 1e-9 else np.inf
    saturation = scaled * np.exp(-sheet.open_V / slope)
    return Diode(light, saturation, ohm, shunt, slope, sheet.short_A_K, sheet.open_V_K)


def _three_points(sheet, slope, ohm):
    """Return I_light, I_0 exp(V_open / a) and 1 / R_sh from three points of the curve."""
    inside = [sheet.short_A * ohm, sheet.open_V, sheet.best_V + sheet.best_A * ohm]
    currents = [sheet.short_A, 0.0, sheet.best_A]
    none = np.exp(-sheet.open_V / slope)
    rows = [[1.0, none - np.exp((volts - sheet.open_V) / slope), -volts] for volts in inside]
    return np.linalg.solve(np.array(rows), np.array(currents))


def _power_miss(sheet, slope, ohm):
    """Return how far the power's derivative at the best point is from 0. [A]"""
    _, scaled, leak = _three_points(sheet, slope, ohm)
    inside = sheet.best_V + sheet.best_A * ohm
    steep = scaled / slope * np.exp((inside - sheet.open_V) / slope) + leak
    return sheet.best_A - sheet.best_V * steep / (1.0 + ohm * steep)


def _warm_miss_V(diode):
    """Return the open voltage of warmer cells, less that by the coefficient. [V]"""
    here, warm = (open_V(at(diode, STANDARD_W_M2, STANDARD_DEGC + dt)) for dt in (0.0, WARMER_K))
    return float(warm - here - diode.open_V_K * WARMER_K)


@lru_cache(maxsize=64)
def diode_of(panel, best_V=None, best_A=None):
    """Return the :class:`Diode` of a ``panel.Panel``.

    With the best point of its data sheet: :func:`fit_diode`. Without: no shunt, the panel's own
    ideality, the series resistance that its rated power asks for, and the cold by its coefficients
    (Villalva, Gazoli & Filho 2009, IEEE Trans. Power Electron. 24, equation 7).
    """
    short_A_K, open_V_K = panel.short_per_K * panel.short_A, panel.open_per_K * panel.open_V
    if best_V is not None and best_A is not None:
        sheet = DataSheet(
            panel.open_V, panel.short_A, best_V, best_A, panel.cells, open_V_K, short_A_K
        )
        return fit_diode(sheet)
    return _by_rated_power(panel, short_A_K, open_V_K)


def _by_rated_power(panel: Panel, short_A_K, open_V_K):
    kelvin = STANDARD_DEGC + ZERO_DEGC_K
    slope = panel.cells * panel.ideality * BOLTZMANN_V_K * kelvin
    saturation = panel.short_A / np.expm1(panel.open_V / slope)
    return Diode(
        panel.short_A, saturation, series_ohm(panel), np.inf, slope, short_A_K, open_V_K, False
    )


def at(diode, light_W_m2, cells_degC):
    """Return the :class:`Diode` in a light and at a temperature, its fields as arrays.

    De Soto et al. (2006), equations 8 to 12: a grows with T; I_light with the light and the current
    coefficient; I_0 with T^3 exp(-gap / k T); the shunt falls with the light. ``by_gap`` False: I_0
    from the open voltage by its coefficient (Villalva et al. 2009, equation 7).
    """
    share = np.asarray(light_W_m2, float) / STANDARD_W_M2
    warmer = np.asarray(cells_degC, float) - STANDARD_DEGC
    kelvin = STANDARD_DEGC + ZERO_DEGC_K
    turned = 1.0 + warmer / kelvin
    slope = diode.slope_V * turned
    light = share * (diode.light_A + diode.short_A_K * warmer)
    if diode.by_gap:
        gap = GAP_V * (1.0 + GAP_PER_K * warmer)
        power = GAP_V / (BOLTZMANN_V_K * kelvin) - gap / (BOLTZMANN_V_K * kelvin * turned)
        saturation = diode.saturation_A * turned**3 * np.exp(power)
    else:
        warm_open = diode.slope_V * np.log1p(diode.light_A / diode.saturation_A)
        full = diode.light_A + diode.short_A_K * warmer
        saturation = full / np.expm1((warm_open + diode.open_V_K * warmer) / slope)
    with np.errstate(divide="ignore"):
        shunt = np.where(share > 0.0, diode.shunt_ohm / share, np.inf)
    return Diode(
        light, saturation, diode.series_ohm, shunt, slope, diode.short_A_K, diode.open_V_K,
        diode.by_gap,
    )  # fmt: skip


def open_V(now):
    """Return the voltage with nothing connected of a diode from :func:`at`, as an array. [V]"""
    top = now.slope_V * np.log1p(now.light_A / now.saturation_A)
    return _halved(
        np.zeros_like(top),
        top,
        lambda v: now.light_A - now.saturation_A * np.expm1(v / now.slope_V) - v / now.shunt_ohm,
    )


def short_A(now):
    """Return the current of the shorted panel of a diode from :func:`at`, as an array. [A]"""
    return current_A(now, 0.0)


def current_A(now, volts_V):
    """Return the current at a voltage between the terminals, as an array, never below 0. [A]"""
    volts = np.asarray(volts_V, float)

    def _rest(amps):
        inside = volts + amps * now.series_ohm
        over = np.minimum(inside / now.slope_V, 500.0)
        return now.light_A - now.saturation_A * np.expm1(over) - inside / now.shunt_ohm - amps

    high = now.light_A + np.zeros(np.broadcast(now.light_A, volts).shape)
    return np.maximum(_halved(np.zeros_like(high), high, _rest), 0.0)


def _halved(low, high, falling):
    """Return where a falling function is 0 between two arrays, by halving."""
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        positive = falling(middle) > 0.0
        low = np.where(positive, middle, low)
        high = np.where(positive, high, middle)
    return 0.5 * (low + high)


def best_point(now):
    """Return (voltage, current) of the most power of one diode from :func:`at`. [V], [A]"""
    volts = np.linspace(0.5, 1.0, 2001) * float(open_V(now))
    amps = current_A(now, volts)
    most = int(np.argmax(volts * amps))
    return float(volts[most]), float(amps[most])
