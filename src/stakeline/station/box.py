"""The insulated box: how warm it stays in wind, in snow, and down in the firn."""

from dataclasses import dataclass, field

import numpy as np

from ..constants import DAYS_PER_YEAR
from ..errors import SettingsError
from .cautions import BATTERIES, ESTIMATE

YEAR_S = DAYS_PER_YEAR * 86400.0  # s; Julian year
EDGE_FACTOR, CORNER_FACTOR = 0.54, 0.15  # -; Langmuir, Adams & Meikle (1913), Trans. Am. Electroch.
# Soc. 24, 53
FILM_W_M2_K, FILM_J_M3_K = 5.7, 3.8  # W/(m2 K), and by m/s; McAdams (1954), from memory
FIRN_M2_A = 25.0  # m2/a; bulk of the top 30 m, Giese & Hawley (2015), J. Glaciol. 61, 25 +- 3

HEATERS = (
    "Heaters: fuse them, a thermostat and a second cut-out in series, nothing that burns or gives "
    "off gas near; never in a box where batteries vent; no limit is bridged for an empty bank."
)


@dataclass(frozen=True)
class Box:
    """A rectangular insulated box with what is in it.

    Attributes
    ----------
    inner_m : tuple of 3 float
        Inside edges.
    wall_m : float
        Thickness of the insulation.
    wall_W_m_K : float
        Its conductivity: 0.033 to 0.037 for polystyrene foams, wet or old ones more.
    heat_J_K : float
        Heat capacity of the contents: 60 kg of lead-acid at 900 J/(kg K) are 54 kJ/K.
    heater_W : float
        0 for none.
    heater_on_degC, heater_off_degC : float
        The thermostat's two limits.
    heater_least_V : float
        Of a nominal 12 V at rest: below it the heater stays off.
    air_m3_h : float
        Let through from outside, to carry gas away.
    """

    inner_m: tuple = (0.6, 0.5, 0.4)
    wall_m: float = 0.10
    wall_W_m_K: float = 0.035
    heat_J_K: float = 2.5e5
    heater_W: float = 0.0
    heater_on_degC: float = -30.0
    heater_off_degC: float = -25.0
    heater_least_V: float = 12.3
    air_m3_h: float = 0.0
    cautions: tuple = field(default=(HEATERS, BATTERIES, ESTIMATE))

    def __post_init__(self):
        sizes = (*self.inner_m, self.wall_m, self.wall_W_m_K, self.heat_J_K)
        if len(self.inner_m) != 3 or not all(size > 0.0 for size in sizes):
            raise SettingsError(
                f"box: inner_m {self.inner_m}, wall_m {self.wall_m:g}, wall_W_m_K "
                f"{self.wall_W_m_K:g}, heat_J_K {self.heat_J_K:g}: expected three edges, "
                "all above 0"
            )
        if not self.air_m3_h >= 0.0:
            raise SettingsError(f"box: air_m3_h {self.air_m3_h:g}: expected 0 or more")
        if self.heater_W < 0.0 or not self.heater_on_degC < self.heater_off_degC:
            raise SettingsError(
                f"box: heater_W {self.heater_W:g}, on below {self.heater_on_degC:g} degC, off "
                f"above {self.heater_off_degC:g} degC: expected a power of 0 or more, and off "
                "warmer than on"
            )

    @property
    def outer_m(self):
        """Outside edges. [m]"""
        return tuple(edge + 2.0 * self.wall_m for edge in self.inner_m)


def shape_factor_m(box):
    """Return A / L + 0.54 x edges + 0.15 L x 8 corners of the walls. [m]

    Langmuir, Adams & Meikle (1913); for inside edges longer than a fifth of the wall.
    """
    edges = 4.0 * sum(box.inner_m)
    corners = 8.0 * CORNER_FACTOR * box.wall_m
    return area_m2(box.inner_m) / box.wall_m + EDGE_FACTOR * edges + corners


def area_m2(edges_m):
    """Return the surface of a rectangular body. [m2]"""
    a, b, c = edges_m
    return 2.0 * (a * b + b * c + c * a)


def film_W_m2_K(wind_m_s):
    """Return the heat that wind takes off a surface, as an array: 5.7 + 3.8 v. [W/(m2 K)]"""
    return FILM_W_M2_K + FILM_J_M3_K * np.asarray(wind_m_s, float)


def loss_in_air_W_K(box, film):
    """Return the loss of a box in the open, as an array. [W/K]

    Walls and outer film in series; ``film`` from :func:`film_W_m2_K`, infinite for none. [W/(m2 K)]
    """
    walls = 1.0 / (shape_factor_m(box) * box.wall_W_m_K)
    return 1.0 / (walls + 1.0 / (np.asarray(film, float) * area_m2(box.outer_m)))


def loss_in_snow_W_K(box, snow_W_m_K, depth_m):
    """Return the loss of a box buried in snow, as an array. [W/K]

    Walls in series with the snow around a sphere of the same surface whose centre is ``depth_m``
    below: 4 pi r k / (1 - r / (2 z)) (Incropera et al. 2007, table 4.1, case 1). The snow about a
    warm box changes for years; this is the steady state.

    Raises
    ------
    SettingsError
        Where the centre is not deeper than the sphere's radius.
    """
    radius = np.sqrt(area_m2(box.outer_m) / (4.0 * np.pi))
    depth = np.asarray(depth_m, float)
    if not (depth > radius).all():
        raise SettingsError(
            f"depth_m {depth.min():g}: expected the box's centre deeper than {radius:.2f} m; for a "
            "box less deep take the loss in air"
        )
    snow = 4.0 * np.pi * radius * np.asarray(snow_W_m_K, float) / (1.0 - radius / (2.0 * depth))
    return 1.0 / (1.0 / (shape_factor_m(box) * box.wall_W_m_K) + 1.0 / snow)


def rise_K(power_W, loss_W_K):
    """Return how much warmer than around it a box becomes with a steady power, as an array. [K]"""
    return np.asarray(power_W, float) / loss_W_K


def settling_s(box, loss_W_K):
    """Return the time in which a difference falls to 1/e, as an array. [s]"""
    return box.heat_J_K / np.asarray(loss_W_K, float)


def firn_W_m_K(density_kg_m3):
    """Return the conductivity of snow and firn, as an array. [W/(m K)]

    Calonne et al. (2011), Geophys. Res. Lett. 38: 2.5e-6 d^2 - 1.23e-4 d + 0.024, from images of
    samples; half as much again as needle probes give (Sturm et al. 1997, J. Glaciol. 43).
    """
    density = np.asarray(density_kg_m3, float)
    if not ((density > 0.0) & (density <= 917.0)).all():
        raise SettingsError(f"snow of {np.max(density):g} kg/m3: expected above 0, up to 917 (ice)")
    return 2.5e-6 * density**2 - 1.23e-4 * density + 0.024


def damping_depth_m(period_s=YEAR_S, diffusivity_m2_a=FIRN_M2_A):
    """Return the depth in which a temperature wave falls to 1/e: sqrt(a P / pi). [m]

    Carslaw & Jaeger (1959), Conduction of Heat in Solids, section 2.6.
    """
    if not (period_s > 0.0 and diffusivity_m2_a > 0.0):
        raise SettingsError(
            f"period_s {period_s:g}, diffusivity_m2_a {diffusivity_m2_a:g}: expected above 0"
        )
    return np.sqrt(diffusivity_m2_a / YEAR_S * period_s / np.pi)


def firn_degC(since_warmest_s, depth_m, mean_degC, swing_K, diffusivity_m2_a=FIRN_M2_A):
    """Return the temperature in the firn by the year's wave, as an array. [degC]

    Parameters
    ----------
    since_warmest_s : array
        Since the warmest time at the surface. [s]
    depth_m : array or float
        Below the surface, which is taken as steady: falling snow is left out.
    mean_degC, swing_K : float
        Of the surface over the year: mean, and half of warmest less coldest.
    diffusivity_m2_a : float

    Notes
    -----
    mean + swing exp(-z / d) cos(2 pi t / P - z / d), d the damping depth (Carslaw & Jaeger 1959,
    section 2.6). No meltwater: where it refreezes, firn is warmer.
    """
    below = np.asarray(depth_m, float) / damping_depth_m(YEAR_S, diffusivity_m2_a)
    phase = 2.0 * np.pi * np.asarray(since_warmest_s, float) / YEAR_S
    return mean_degC + swing_K * np.exp(-below) * np.cos(phase - below)
