"""Laws of the ice above a lake: beam, plate, flow and volume against textbooks, and of placement.

    python validation/lakes_laws.py

Exit code 1 where one falls short.
"""

from itertools import pairwise

import numpy as np
from _measured import Table

from stakeline.lakes.outline import ellipse_outline
from stakeline.lakes.placement import Drift, best_place, dwell_d, judged_place, share_sample
from stakeline.lakes.response import (
    FLOWS,
    PLATES,
    SEA_KG_M3,
    Ice,
    beam_on_water,
    clamped_plate_m,
    clamped_plate_on_water,
    levelling_rate_per_s,
    plate_passes,
    transfer,
    viscous_passes,
)
from stakeline.lakes.surface import clamped_plate_map, share_map
from stakeline.lakes.volume import flat_volume_m3

HOLDSWORTH = "Holdsworth 1969, J. Glaciol. 8; E of Vaughan 1995"
TIMOSHENKO = "Timoshenko & Woinowsky-Krieger 1959"
# rise over that of free water, computed by hand from the formula
BEAM = {0.5: 0.17693, 1.0: 0.49167, np.pi / 2: 0.79212, 2.0: 0.93326, 3.0: 1.04226,
        np.pi: 1.04321, 4.0: 1.02583}  # fmt: skip
LENGTHS = {200.0: 711.0, 500.0: 1414.0, 1000.0: 2378.0, 2000.0: 3999.0}  # 1 / beta, m


def beam(table):
    ice = Ice(500.0, water_kg_m3=SEA_KG_M3)
    beta = 1.0 / (np.sqrt(2.0) * ice.bending_length_m)
    x = np.array(list(BEAM))
    worst = abs(beam_on_water(x / beta, ice) - np.array(list(BEAM.values()))).max()
    table.line("beam on water: rise at seven places", worst, 1e-5, "", HOLDSWORTH)
    lengths = [np.sqrt(2.0) * Ice(h, water_kg_m3=SEA_KG_M3).bending_length_m for h in LENGTHS]
    worst = abs(np.array(lengths) - np.array(list(LENGTHS.values()))).max()
    table.line("its length 1/beta, ice of 200 to 2000 m", worst, 0.6, "m", HOLDSWORTH)
    step = 1e-3 / beta
    place = np.linspace(0.3, 5.0, 50)[:, None] / beta + 25.0 * step * np.arange(-2, 3)
    w = beam_on_water(place, ice)
    fourth = (w @ [1.0, -4.0, 6.0, -4.0, 1.0]) / (25.0 * step) ** 4
    left = ice.stiffness_N_m * fourth + ice.foundation_Pa_m * (w[:, 2] - 1.0)
    table.line("its equation, D w'''' + rho g w = rho g, left over",
               abs(left).max() / ice.foundation_Pa_m, 1e-3, "", TIMOSHENKO)  # fmt: skip
    wide = 30.0 * ice.bending_length_m
    off = np.linspace(0.0, 4.0, 40) / beta
    apart = clamped_plate_on_water(wide - off, wide, ice) - beam_on_water(off, ice)
    table.line("a wide round plate near its margin is a beam", abs(apart).max(), 0.02, "",
               "limit")  # fmt: skip


def plate(table):
    radius, load, ice = 900.0, 1e4, Ice(600.0)
    middle = clamped_plate_m(0.0, radius, load, ice.stiffness_N_m)
    expected = load * radius**4 / (64.0 * ice.stiffness_N_m)
    table.line("clamped round plate, middle: q a^4 / (64 D)", abs(middle / expected - 1.0), 1e-12,
               "", f"{TIMOSHENKO}, eq. 62")  # fmt: skip
    stiff = Ice(600.0, young_Pa=1e14)
    r = np.linspace(0.0, radius, 50)
    shape = clamped_plate_on_water(r, radius, stiff)
    apart = shape / shape[0] - (1.0 - (r / radius) ** 2) ** 2
    table.line("a stiff plate on water has its shape", abs(apart).max(), 1e-3, "", TIMOSHENKO)
    _, _, rise = clamped_plate_map(ellipse_outline("disc", (0.0, 0.0), (radius, radius)), stiff)
    table.line("the same on a grid: middle over mean", abs(rise.max() / 3.0 - 1.0), 0.03, "",
               "3: integral of eq. 62")  # fmt: skip
    long, short = plate_passes(1e-3 / ice.bending_length_m, ice), plate_passes(0.05, ice)
    table.line("plate on water: long waves pass, lost", 1.0 - long, 1e-9, "", "limit")
    table.line("short waves vanish (120 m), left", short, 1e-3, "", "limit")


def flow(table):
    h, viscosity = 700.0, 1e14
    weight = 917.0 * 9.81
    for slip, word in ((0.0, "stuck"), (np.inf, "sliding")):
        lost = abs(1.0 - viscous_passes(1e-3 / h, h, slip))
        table.line(f"flow, {word} bed: long waves pass, lost", lost, 1e-5, "", "limit")
        left = abs(viscous_passes(20.0 / h, h, slip))
        table.line(f"flow, {word} bed: short waves vanish, left", left, 1e-6, "", "limit")
        k = 30.0 / h
        rate = levelling_rate_per_s(k, h, viscosity, slip) / (weight / (2.0 * viscosity * k))
        table.line(f"flow, {word} bed: short waves level as on a half space", abs(rate - 1.0),
                   1e-6, "", "rho g / (2 eta k); Haskell 1935 (from memory)")  # fmt: skip
    k = 1e-2 / h
    thin = weight * h**3 * k**2 / (3.0 * viscosity)
    rate = levelling_rate_per_s(k, h, viscosity) / thin
    table.line("stuck bed: long waves level as a thin film", abs(rate - 1.0), 1e-3, "",
               "rho g h^3 k^2 / (3 eta); lubrication, textbook")  # fmt: skip
    rate = levelling_rate_per_s(k, h, viscosity, np.inf) / (weight * h / (4.0 * viscosity))
    table.line("sliding bed: long waves level as a stretched sheet", abs(rate - 1.0), 1e-3, "",
               "rho g h / (4 eta); membrane, textbook")  # fmt: skip
    ice = Ice(h)
    waves = np.geomspace(1e-5, 1e-1, 400)
    for method in FLOWS:
        later = [transfer(ice, method, waves, lag) for lag in (0.0, 5e6, 1e7)]
        grows = max((b - a).max() for a, b in pairwise(later))
        table.line(f"{method}: no wave grows with time", grows, 0.0, "", "energy")


def volume(table):
    found = flat_volume_m3(22.6e6, 49.0) / 1e9
    table.line("22.6 km2 x 49 m apart from 1.11 km3", abs(found - 1.11), 0.005, "km3", "by hand")
    outline = ellipse_outline("lake", (0.0, -1.1e6), (4000.0, 2500.0), 0.3, 3413)
    area = np.pi * 4000.0 * 2500.0
    table.line("area of an ellipse on a map, share", abs(outline.area_m2 / area - 1.0), 1e-9, "",
               "pi a b")  # fmt: skip
    for method in (*FLOWS, PLATES[0]):
        east, _, share = share_map(outline, Ice(700.0), method)
        total = share.sum() * (east[1] - east[0]) ** 2
        table.line(f"{method}: volume at the surface over roof's", abs(total / area - 1.0), 2e-3,
                   "", "mass")  # fmt: skip


def placement(table):
    ice, lake = Ice(700.0), ellipse_outline("lake", (0.0, -1.1e6), (3000.0, 3000.0), epsg=3413)
    sample = share_sample((lake,), ice, FLOWS)
    cell = sample.axis_m[1] - sample.axis_m[0]
    best = best_place(sample)
    table.line("circle: best place off its middle", np.hypot(*best.true_m), cell, "m", "symmetry")
    narrow = share_sample((ellipse_outline("lake", (0.0, 0.0), (900.0, 900.0)),), ice, FLOWS)
    upstream = best_place(narrow, Drift((2.0, 0.0)), 365.0).true_m
    apart = np.hypot(upstream[0] + 365.0, upstream[1])
    table.line("carried 730 m: begins upstream by half, apart", apart,
               1.5 * (narrow.axis_m[1] - narrow.axis_m[0]), "m", "symmetry")  # fmt: skip
    worst = 0.0
    for y in (-2500.0, -1000.0, 0.0, 1800.0):
        chord = 2.0 * np.sqrt(3000.0**2 - y**2)
        start = lake.map_m([-0.4999 * chord, y])
        worst = max(worst, abs(dwell_d(lake, start, (1.7, 0.0)) * 1.7 / chord - 1.0))
    table.line("dwell over chord / speed, share", worst, 5e-3, "", "definition; polygon of 96")
    shown = judged_place(sample, (0.0, 0.0)).share[1]
    table.say(f"share in the middle of a lake 6 km wide under 700 m of ice: {shown:.3f}")


def main():
    table = Table("Ice above a lake: beam, plate, flow, volume; placement of a station")
    for part in (beam, plate, flow, volume, placement):
        part(table)
    table.end()


if __name__ == "__main__":
    main()
