"""Published values against ours: uncertainty of velocities, strain, memory, reflections.

    python validation/motion_formulas.py

Exit code 1 where one falls short. No data are read. Speeds of tides stand in motion_tide.py.
"""

import numpy as np
from _measured import Table

from stakeline.inference.memory import effective_size, error_factor
from stakeline.inference.noise import (
    FLICKER,
    flicker_rate_sigma,
    power_law_covariance,
    power_law_rate_sigma,
    random_walk_rate_sigma,
    rate_sigma,
    white_rate_sigma,
)
from stakeline.motion.constituents import constituent
from stakeline.motion.strain import velocity_gradient
from stakeline.signals.reflections import reflecting_distance_m, swings_per_sine

RATES = "Williams 2003; Bos et al. 2008"
LEAST_SQUARES = "generalised least squares"
GEOMETRY = "2 H / wavelength, several papers"
DAY_A = 1.0 / 365.25  # a
# days: mm/a under white 3 mm, random walk 1 mm/sqrt(a), flicker 5 mm/a^0.25 (fractional)
RATE_SIGMAS = {
    365: (0.54433, 1.0017, 1.6214),
    1096: (0.10461, 0.5775, 0.5320),
    1826: (0.04865, 0.4474, 0.3175),
}
LOGARITHMIC = {365: 0.7355, 1096: 0.2450}  # mm/a under flicker 1 mm of Zhang 1997, Mao 1999
LIGHT_M_S = 299792458.0
WAVES_M = {"L1": LIGHT_M_S / 1575.42e6, "L2": LIGHT_M_S / 1227.60e6, "L5": LIGHT_M_S / 1176.45e6}
SWINGS = {
    "L1": {1: 10.5101, 2: 21.0201, 3: 31.5302, 4: 42.0403},
    "L2": {1: 8.1897, 2: 16.3793, 3: 24.5690, 4: 32.7587},
    "L5": {2: 15.6969},
}
BEATS_D = {
    ("M2", "S2"): 14.7653,
    ("K1", "O1"): 13.6608,
    ("M2", "N2"): 27.5546,
    ("K1", "P1"): 182.62,
    ("K2", "S2"): 182.62,
}
EFFECTIVE = {
    0.3: (0.53846, 1.3628),
    0.5: (0.33333, 1.7321),
    0.8: (0.11111, 3.0),
    0.9: (0.05263, 4.3589),
    0.95: (0.02564, 6.2450),
}
CORNERS_M = np.array([(0.0, 0.0), (4000.0, 500.0), (1000.0, 3500.0)])
VELOCITIES_M_A = np.array([(300.0, -120.00), (304.4, -112.25), (298.4, -119.75)])
STRAIN_A = {
    "exx": 0.0012,
    "eyy": -0.0005,
    "exy": 0.0006,
    "rotation": 0.0014,
    "divergence": 0.0007,
    "vertical": -0.0007,
}


def off(found, published):
    """Return the relative difference in per cent."""
    return 100.0 * abs(found / published - 1.0)


def rates(table):
    for days, (white, walk, flicker) in RATE_SIGMAS.items():
        found = white_rate_sigma(3.0, DAY_A, days)
        table.line(f"white 3 mm, {days} d", off(found, white), 0.1, "%", RATES)
        found = random_walk_rate_sigma(1.0, DAY_A, days)
        table.line(f"random walk 1 mm/sqrt(a), {days} d", off(found, walk), 0.1, "%", RATES)
        exact = 5.0 * rate_sigma(power_law_covariance(FLICKER, days, DAY_A), DAY_A)
        quantity = f"flicker 5 mm/a^0.25 fractional, exact, {days} d"
        table.line(quantity, off(exact, flicker), 1.0, "%", LEAST_SQUARES)
        formula = power_law_rate_sigma(5.0, FLICKER, DAY_A, days)
        high = 100.0 * (formula / flicker - 1.0)
        quantity = f"closed formula of Bos above it ({high:.1f} %), beside 14 %"
        table.line(quantity, abs(high - 14.0), 1.5, "%", LEAST_SQUARES)
    for days, published in LOGARITHMIC.items():
        found = flicker_rate_sigma(1.0, DAY_A, days, definition="logarithmic")
        quantity = f"flicker 1 mm logarithmic, formula, {days} d"
        table.line(quantity, off(found, published), 2.5, "%", LEAST_SQUARES)


def strain(table):
    source = "exact by construction"
    for shift in (0.0, 1000.0):
        found = velocity_gradient(CORNERS_M, VELOCITIES_M_A + shift)
        miss = max(abs(getattr(found, name).value - v) for name, v in STRAIN_A.items())
        table.line(f"triangle + {shift:.0f} m/a, six rates", miss, 1e-12, "/a", source)
    first, second = (p.value for p in found.principal)
    miss = max(abs(first - 0.00139043), abs(second + 0.00069043))
    table.line("principal rates", miss, 5e-9, "/a", source)
    miss = max(abs(found.shear.value - 0.00104043), abs(found.effective.value - 0.00120416))
    table.line("greatest shear and effective rate", miss, 5e-9, "/a", source)
    miss = abs(np.degrees(found.axis_rad.value) - 17.609)
    table.line("axis, from x toward y", miss, 5e-4, "deg", source)


def memory(table):
    for r, (share, factor) in EFFECTIVE.items():
        miss = abs(effective_size(1e6, r) / 1e6 - share)
        table.line(f"effective share of a sample, r = {r}", miss, 5e-6, "", "n (1-r)/(1+r)")
        table.line(f"error factor, r = {r}", abs(error_factor(r) - factor), 5e-5, "", "its root")


def tides(table):
    for (one, other), days in BEATS_D.items():
        apart = abs(constituent(one).speed_deg_h - constituent(other).speed_deg_h)
        miss = abs(360.0 / apart / 24.0 - days)
        table.line(f"{one} and {other} part after days", miss, 0.005, "d", "published speeds")


def reflections(table):
    for name, heights in SWINGS.items():
        found = [swings_per_sine(float(h), WAVES_M[name]) for h in heights]
        miss = np.abs(np.array(found) - list(heights.values())).max()
        table.line(f"{name}, swings by sine, {len(heights)} heights", miss, 6e-5, "", GEOMETRY)
    miss = abs(reflecting_distance_m(2.0, np.radians(5.0)) - 22.9)
    table.line("reflecting point for 2 m at 5 deg", miss, 0.05, "m", "H / tan(elevation)")


def main():
    table = Table("Velocities, strain, memory, beats and reflections: published values")
    rates(table)
    strain(table)
    memory(table)
    tides(table)
    reflections(table)
    table.end()


if __name__ == "__main__":
    main()
