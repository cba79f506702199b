"""What a small wind turbine gives: power by wind and density, rime, stop and destruction."""

from dataclasses import dataclass, field

import numpy as np

from ..errors import SettingsError
from .cautions import ESTIMATE, ROTORS

STANDARD_KG_M3 = 1.225  # kg/m3; standard atmosphere at sea level, ISO 2533
BETZ = 16.0 / 27.0  # -; Betz (1920), Z. ges. Turbinenwesen 17


@dataclass(frozen=True)
class Turbine:
    """A turbine, by a generic rotor or by its maker's power curve.

    Attributes
    ----------
    diameter_m, efficiency : float
        Of the generic rotor; share of the wind's power that leaves the generator.
    rated_W : float
        Most that it gives.
    start_m_s, stop_m_s, survival_m_s : float
        Mean wind at the hub at which it begins, is stopped, and is destroyed.
    hub_m : float
        Above the snow.
    rime_stop : float
        Rime (0 to 1) with which the blades stand; below, power falls in proportion.
    curve_m_s, curve_W : tuple of float
        The maker's curve at standard density; empty for the generic rotor.
    """

    diameter_m: float = 1.1
    efficiency: float = 0.25
    rated_W: float = 200.0
    start_m_s: float = 4.0
    stop_m_s: float = 20.0
    survival_m_s: float = 45.0
    hub_m: float = 3.0
    rime_stop: float = 0.4
    curve_m_s: tuple = ()
    curve_W: tuple = ()
    cautions: tuple = field(default=(ROTORS, ESTIMATE))

    def __post_init__(self):
        if not 0.0 < self.efficiency <= BETZ:
            raise SettingsError(
                f"turbine: efficiency {self.efficiency:g}: expected above 0, up to 16/27 (Betz)"
            )
        speeds = (0.0, self.start_m_s, self.stop_m_s, self.survival_m_s)
        if not (np.diff(speeds) > 0.0).all():
            raise SettingsError(
                f"turbine: start_m_s {self.start_m_s:g}, stop_m_s {self.stop_m_s:g}, survival_m_s "
                f"{self.survival_m_s:g}: expected to rise, from above 0"
            )
        for name in ("diameter_m", "rated_W", "hub_m", "rime_stop"):
            if not getattr(self, name) > 0.0:
                raise SettingsError(f"turbine: {name} {getattr(self, name):g}: expected above 0")
        if len(self.curve_m_s) != len(self.curve_W) or (np.diff(self.curve_m_s) <= 0.0).any():
            raise SettingsError(
                f"turbine: curve of {len(self.curve_m_s)} speeds and {len(self.curve_W)} powers: "
                "expected as many of each, speeds rising"
            )


def wind_power_W(turbine, hub_m_s, density_kg_m3, rime=0.0):
    """Return what a whole turbine gives, as an array; air and hub's wind from ``storm``. [W]

    Generic: density / 2 pi d^2 / 4 efficiency v^3; by the curve: its power times density by the
    standard one; up to the rated power, zero below start and from stop on. One hour's mean wind
    gives less than the mean of the cubes: some 5 to 10 % at usual gustiness, left out.
    """
    wind = np.asarray(hub_m_s, float)
    if turbine.curve_m_s:
        power = np.interp(wind, turbine.curve_m_s, turbine.curve_W, left=0.0)
        power = power * density_kg_m3 / STANDARD_KG_M3
    else:
        area = 0.25 * np.pi * turbine.diameter_m**2
        power = 0.5 * density_kg_m3 * area * turbine.efficiency * wind**3
    turns = (wind >= turbine.start_m_s) & (wind < turbine.stop_m_s)
    icing = np.clip(1.0 - np.asarray(rime, float) / turbine.rime_stop, 0.0, 1.0)
    return np.minimum(power, turbine.rated_W) * turns * icing


def destroyed(turbine, hub_m_s):
    """Return from which step on the turbine is gone: it stays so (..., n), time last."""
    return np.maximum.accumulate(np.asarray(hub_m_s) >= turbine.survival_m_s, axis=-1)
