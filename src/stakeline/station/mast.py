"""A mast in the wind as a beam clamped at the snow: bending, stress, its own sway, and vortices."""

from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import brentq

from ..errors import SettingsError
from .cautions import ESTIMATE, FRAMES

STROUHAL = 0.18  # -, round tube; EN 1991-1-4:2005, table E.1, from memory; handbooks give 0.2
BAND = 0.2  # -, share of the sway about which vortices can lock in; common practice, no source
LATERAL = 0.7  # -, of the push across the wind; EN 1991-1-4:2005, table E.2, from memory
DECREMENT = 0.02  # -, logarithmic, of bolted aluminium; EN 1991-1-4:2005, table F.2, from memory

MATERIALS = {
    "aluminium": (70e9, 160e6, 2700.0),  # Pa, Pa, kg/m3; EN 1999-1-1, 6060 T66 proof, from memory
    "steel": (210e9, 235e6, 7850.0),  # Pa, Pa, kg/m3; EN 1993-1-1, S235, from memory
    "glass fibre": (23e9, 240e6, 1800.0),  # Pa, Pa, kg/m3; EN 13706, E23 profiles, from memory
}


@dataclass(frozen=True)
class Tube:
    """A round tube clamped at its foot, free at its top.

    ``free_m``: from where it is held to its top. [m] A drilled tube is held some way below the
    surface: count that with it where snow is soft or ice melts.
    """

    free_m: float
    diameter_m: float
    wall_m: float
    material: str = "aluminium"

    def __post_init__(self):
        sizes = (self.free_m, self.diameter_m, self.wall_m)
        if not all(0.0 < s < np.inf for s in sizes) or self.wall_m > self.diameter_m / 2.0:
            raise SettingsError(
                f"tube of {self.free_m} m, {self.diameter_m} m wide, wall {self.wall_m} m: "
                "expected positive numbers and a wall of half the diameter at most"
            )
        if self.material not in MATERIALS:
            raise SettingsError(
                f"material {self.material!r} is not known; known are {', '.join(MATERIALS)}"
            )

    @property
    def inner_m(self):
        """Inner diameter. [m]"""
        return self.diameter_m - 2.0 * self.wall_m

    @property
    def second_moment_m4(self):
        """I = pi (D^4 - d^4) / 64. [m4]"""
        return np.pi / 64.0 * (self.diameter_m**4 - self.inner_m**4)

    @property
    def stiffness_Nm2(self):
        """E I. [N m2]"""
        return MATERIALS[self.material][0] * self.second_moment_m4

    @property
    def mass_kg_m(self):
        """Mass of a metre. [kg/m]"""
        area = np.pi / 4.0 * (self.diameter_m**2 - self.inner_m**2)
        return MATERIALS[self.material][2] * area


@dataclass(frozen=True)
class Bending:
    """Answer of a mast to a steady wind.

    ``top_mm``: how far the antenna goes aside [mm]; ``drop_mm``: how much it sinks by that [mm];
    ``stress_Pa`` at the foot; ``safety``: proof stress over it.
    """

    top_mm: float
    drop_mm: float
    moment_Nm: float
    stress_Pa: float
    safety: float
    cautions: tuple = field(default=(FRAMES, ESTIMATE))


@dataclass(frozen=True)
class Sway:
    """A natural frequency of a mast [Hz], and the wind whose vortices shake it [m/s].

    ``shaken_m_s``: lowest and highest wind within :data:`BAND` of the frequency; ``width_m``: of
    tube and rime; ``span``: what of the mast moves most, in words; ``shaken_mm``: how far it goes
    to each side then.
    """

    frequency_Hz: float
    critical_m_s: float
    shaken_m_s: tuple
    width_m: float
    span: str
    shaken_mm: float = np.nan
    cautions: tuple = field(default=(FRAMES, ESTIMATE))


def bending(tube, top_force_N, wind_N_m=0.0):
    """Return the :class:`Bending` under a force at the top and an even load along the tube.

    Deflection F L^3 / (3 E I) + w L^4 / (8 E I), moment F L + w L^2 / 2 (Gere & Timoshenko 1997,
    Mechanics of Materials, appendix G, from memory). Sinking 3/5 d^2 / L of a tip load's shape.
    Small deflections: d below a tenth of L. A gust that comes suddenly bends up to twice as far.

    Examples
    --------
    >>> pole = Tube(2.0, 0.06, 0.003)
    >>> round(bending(pole, 100.0).top_mm, 1)
    17.4
    """
    length, stiffness = tube.free_m, tube.stiffness_Nm2
    aside = top_force_N * length**3 / (3.0 * stiffness) + wind_N_m * length**4 / (8.0 * stiffness)
    moment = top_force_N * length + wind_N_m * length**2 / 2.0
    stress = abs(moment) * tube.diameter_m / (2.0 * tube.second_moment_m4)
    return Bending(
        top_mm=1e3 * aside,
        drop_mm=1e3 * 0.6 * aside**2 / length,
        moment_Nm=moment,
        stress_Pa=stress,
        safety=MATERIALS[tube.material][1] / stress if stress > 0.0 else np.inf,
    )


def lean(height_m, tilt_deg):
    """Return how far aside and down a stiff mast's top goes when it leans about its foot. [m], [m]

    h sin a and h (1 - cos a). Snow that gives way under one side tilts a mast about its foot; what
    of it shows in a series is found in ``motion``.
    """
    tilt = np.radians(tilt_deg)
    return height_m * np.sin(tilt), height_m * (1.0 - np.cos(tilt))


def natural_frequency(tube, top_mass_kg=0.0):
    """Return the first natural frequency of a tube with a mass on top. [Hz]

    The smallest root b of 1 + cos b cosh b + u b (cos b sinh b - sin b cosh b) = 0, u = mass on top
    over mass of the tube, gives f = b^2 / (2 pi L^2) sqrt(E I / m) (Blevins 1979, Formulas for
    Natural Frequency and Mode Shape, chapter 8, from memory).
    """
    if not 0.0 <= top_mass_kg < np.inf:
        raise SettingsError(f"mass on top of {top_mass_kg} kg: expected 0 or more")
    ratio = top_mass_kg / (tube.mass_kg_m * tube.free_m)

    def balance(b):
        turned = np.cos(b) * np.sinh(b) - np.sin(b) * np.cosh(b)
        return 1.0 + np.cos(b) * np.cosh(b) + ratio * b * turned

    root = brentq(balance, 1e-6, 1.9)
    speed = np.sqrt(tube.stiffness_Nm2 / tube.mass_kg_m)
    return root**2 / (2.0 * np.pi * tube.free_m**2) * speed


def vortex_frequency(speed_m_s, diameter_m):
    """Return the frequency of vortices behind a round tube, St v / d. [Hz]"""
    return STROUHAL * np.asarray(speed_m_s) / diameter_m


def sway_at(frequency_Hz, width_m, span="as a whole"):
    """Return the :class:`Sway` of a frequency: the wind whose vortices have the same. [Hz], [m]

    ``width_m``: of the tube with its rime; ``span``: what of the mast moves most, in words.
    """
    critical = frequency_Hz * width_m / STROUHAL
    band = ((1.0 - BAND) * critical, (1.0 + BAND) * critical)
    return Sway(frequency_Hz, critical, band, width_m, span)
