"""Water below ice: laws of potential and routing, the invented glacier, and the time it takes.

    python validation/lakes_routing.py [speed]

``speed``: that case alone. Exit code 1 where one falls short. A map of 2,000 x 2,000 cells is
routed with 100 beds on two threads; the time is that of the clock.
"""

import resource
import sys
import time
from concurrent.futures import ThreadPoolExecutor

import numpy as np
from _measured import Table

from stakeline.lakes.ensemble import Doubt, route_odds, water_case, way, what_if
from stakeline.lakes.grid import MapGrid
from stakeline.lakes.outline import ellipse_outline, outline_from_degrees
from stakeline.lakes.paths import beside, lakes_on
from stakeline.lakes.potential import afloat, hydraulic_head_m, potential_Pa, slope_ratio
from stakeline.lakes.random_fields import ErrorField
from stakeline.lakes.routing import METHODS, accumulate, drain_grid, leaving, sinks
from stakeline.simulate.glacier import HALVARD

SHREVE = "Shreve 1972, eq. 3"
SIZE, STEP_M, BEDS = 2000, 100.0, 100


def potential(table):
    table.line("surface against bed slope, apart from 11.048", abs(slope_ratio() - 11.048), 5e-4,
               "", f"{SHREVE}; 917/1000 kg/m3")  # fmt: skip
    head = hydraulic_head_m(np.array([1000.0, 1010.0]), np.array([-500.0, -600.0]))
    pressure = potential_Pa(head)
    table.line("S 1000 m, B -500 m, apart from 8588655 Pa", abs(pressure[0] - 8588655), 0.5, "Pa",
               SHREVE)  # fmt: skip
    table.line("S +10, B -100 m, apart from +8534.7 Pa", abs(np.diff(pressure)[0] - 8534.7), 0.05,
               "Pa", SHREVE)  # fmt: skip
    x, y = np.meshgrid(np.arange(50) * 100.0, np.arange(40) * 100.0)
    worst = 0.0
    for k in (0.0, 0.5, 1.0):
        north, east = np.gradient(hydraulic_head_m(900 - 0.01 * x + 0.002 * y, 0.03 * x, k), 100.0)
        r = 0.917 * k
        worst = max(
            worst, abs(east + 0.01 * r - 0.03 * (1 - r)).max(), abs(north - 0.002 * r).max()
        )
    table.line("plane: slope of the head, k 0, 0.5 and 1", worst, 1e-12, "", SHREVE)
    bowl = 1e-5 * (x**2 + y**2)
    level = hydraulic_head_m(800.0 - bowl * 0.083 / 0.917, bowl - 200.0)
    table.line("bowl below a surface that balances it: level to", np.ptp(level), 1e-9, "m", SHREVE)


def brute_force(head):
    """Lower every inner cell to its lowest neighbour or itself until nothing moves."""
    level = np.full_like(head, np.inf)
    for side in (np.s_[0], np.s_[-1], np.s_[:, 0], np.s_[:, -1]):
        level[side] = head[side]
    while True:
        around = np.pad(level, 1, constant_values=np.inf)
        rows, columns = head.shape
        lowest = np.min(
            [around[i : i + rows, j : j + columns] for i in range(3) for j in range(3)], axis=0
        )
        new = np.where(np.isfinite(level) & (level == head), level, np.maximum(head, lowest))
        if np.array_equal(new, level):
            return level
        level = new


def floods(table):
    different, lost, climbs = 0, 0.0, 0
    for seed in range(200):
        rng = np.random.default_rng(seed)
        shape = tuple(rng.integers(5, 25, 2))
        head = np.round(rng.uniform(0, 20, shape), seed % 3).astype(np.float32)
        grid = MapGrid(np.arange(shape[1]) * 100.0, np.arange(shape[0]) * 100.0)
        d = drain_grid(grid, head)
        different += np.count_nonzero(d.filled_m != brute_force(head))
        inner = d.order[d.cells.leaves[d.order] == 0]
        climbs += np.count_nonzero(d.level[inner + d.cells.offsets[d.back[inner]]] > d.level[inner])
        source = rng.uniform(0, 1, shape)
        for method in METHODS:
            out = sum(leaving(d, accumulate(d, source, method)).values())
            lost = max(lost, abs(out / source.sum() - 1.0))
    table.line("200 random heads: cells unlike a brute-force flood", different, 0, "", "definition")
    table.line("cells that drain uphill or nowhere", climbs, 0, "", "definition")
    table.line("mass lost, share, three ways of sharing", lost, 1e-13, "", "rounding")


def bowl_and_cone(table):
    axis = (np.arange(201) - 100) * 25.0
    grid, radius = MapGrid(axis, axis), np.hypot(*np.meshgrid(axis, axis))
    head = 20.0 * np.minimum((radius / 1500.0) ** 2 - 1.0, 0.0) - 1e-3 * radius
    head += 1e-3 * np.minimum(radius, 1500.0)
    volume = sinks(drain_grid(grid, head), 0.0).volume_m3[0]
    expected = 0.5 * np.pi * 1500.0**2 * 20.0
    table.line("water in a paraboloid against half area x depth", 100 * abs(volume / expected - 1),
               1.0, "%", "Archimedes")  # fmt: skip
    ring = abs(radius - 2000.0) < 15.0
    d = drain_grid(grid, -0.1 * radius)
    for method, bar in (("quinn", 0.06), ("freeman", 0.06)):
        flow = accumulate(d, method=method)[ring]
        table.line(f"cone, {method}: unevenness all round", flow.std() / flow.mean(), bar, "",
                   "Freeman 1991")  # fmt: skip


def glacier(table):
    maps = HALVARD.maps(250.0)
    grid = MapGrid(maps.x_m, maps.y_m, 3413)
    floats = afloat(maps.surface_m, maps.bed_m, HALVARD.sea_level_m)
    lakes = [outline_from_degrees(k.name, HALVARD.outline(k), 3413) for k in HALVARD.lakes]
    case = water_case(grid, maps.surface_m, maps.bed_m, lakes, ends=floats)
    route = way(case).routes[0]
    below = route.downstream
    along, off = HALVARD.route_distance_m(*HALVARD.along(route.x_m[below], route.y_m[below]))
    truth = HALVARD.route_distance_m(*HALVARD.route[-1])[0]
    source = "invented glacier, cells of 250 m"
    met = [name for name, _, _ in lakes_on(route, case.places, case.names)]
    table.line("route of Upper Halvard: passes Lower Halvard", met.count("Lower Halvard"), 1, "",
               source, least=True)  # fmt: skip
    table.line("off the true way, median", np.median(off), 250.0, "m", source)
    table.line("off the true way, largest (across the lakes)", off.max(), 2000.0, "m", source)
    table.line("length to the grounding line", 100 * abs(route.length_m / truth - 1), 2.0, "%",
               source)  # fmt: skip
    worst = abs(route.distance_m[below] - along).max()
    table.line("distance along, largest difference", worst, 1000.0, "m", source)
    return case


def odds_on_the_glacier(table, case):
    sites = HALVARD.sites()
    flow, side = np.array([s.flow_m for s in sites]), np.array([s.side_m for s in sites])
    station_m = np.stack(HALVARD.plane(flow, side), axis=1)
    certain = route_odds(case, Doubt(), np.random.default_rng(0), 3, station_m=station_m)
    unsure = np.count_nonzero((certain.on_route > 0.0) & (certain.on_route < 1.0))
    table.line("no error: cells with a probability between 0 and 1", unsure, 0, "", "definition")
    near = beside(way(case).routes[0], *station_m.T)
    wrong = np.count_nonzero(certain.upstream(1500.0)[0] != near.passed(1500.0))
    table.line("no error: stations unlike the one route", wrong, 0, "", "definition")
    for sigma in (10.0, 40.0, 120.0):
        doubt = Doubt(ErrorField(case.cells.grid, sigma, 3000.0), flotation=(0.9, 1.0))
        odds = route_odds(case, doubt, np.random.default_rng(1), 50, station_m=station_m)
        table.say(
            f"bed error {sigma:.0f} m, k 0.9-1: Lower Halvard on the route with probability "
            f"{odds.meets[0, 1]:.2f}; highest of a station {odds.upstream(1500.0)[0].max():.2f}"
        )
    for lower_m in (0.0, 15.0, 30.0, 60.0):
        dip = -lower_m * np.exp(-(_from_the_way_m(case) ** 2) / 4000.0**2)
        parting = what_if(case, dip, tolerance_m=1500.0).parting_m[0]
        where = "keeps its way" if np.isnan(parting) else f"leaves it after {parting / 1e3:.1f} km"
        table.say(f"surface {lower_m:.0f} m lower in a dip 5 km beside the route: water {where}")
        if lower_m == 0.0:
            table.line("no change of the surface: routes that part", np.isfinite(parting), 0, "",
                       "definition")  # fmt: skip


def _from_the_way_m(case):
    """Return distances of the cells from a place 5 km to the right of the true way. [m]"""
    grid = case.cells.grid
    x, y = HALVARD.plane(36000.0, HALVARD.route_side_m(36000.0) - 5000.0)
    return np.hypot(*np.meshgrid(grid.x_m - x, grid.y_m - y))


def speed(table):
    rng = np.random.default_rng(1)
    axis = np.arange(SIZE) * STEP_M
    grid = MapGrid(axis - 1e5, axis - 1.2e6, 3413)
    surface = 2500.0 - 0.008 * axis[None, :] + ErrorField(grid, 8.0, 8000.0, "gaussian").draw(rng)
    bed = surface - 1200.0 + ErrorField(grid, 80.0, 3000.0).draw(rng)
    lakes = [
        ellipse_outline(name, centre, (6000.0, 4000.0), epsg=3413)
        for name, centre in (("A", (-5e4, -1.1e6)), ("B", (0.0, -1.05e6)))
    ]
    case = water_case(grid, surface, bed, lakes)
    doubt = Doubt(ErrorField(grid, 50.0, 3000.0), None, (0.9, 1.0))
    way(case)  # compiled before
    before, start = time.process_time(), time.perf_counter()
    with ThreadPoolExecutor(2) as pool:
        odds = route_odds(case, doubt, rng, BEDS, apply=pool.map)
    elapsed, worked = time.perf_counter() - start, time.process_time() - before
    source = f"{SIZE} x {SIZE} cells, {odds.count} beds, two threads"
    table.line("time on the clock", elapsed, 120.0, "s", source)
    table.say(f"work of the processor {worked:.0f} s, {worked / BEDS:.2f} s for one bed")
    peak_GB = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    table.line("memory at most, whole program", peak_GB, 2.0, "GB", "own bar")


def main():
    table = Table("Water below ice: potential, sinks, flow, routes and their odds")
    if sys.argv[1:] != ["speed"]:
        potential(table)
        floods(table)
        bowl_and_cone(table)
        odds_on_the_glacier(table, glacier(table))
    speed(table)
    table.end()


if __name__ == "__main__":
    main()
