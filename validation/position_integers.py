"""Absolute positions with integers: ESBC with wide-lane biases of its clock file, invented days.

ESBC's clocks are integer clocks made with antenna models that are not at hand in full; what is
learnt of the missing variations is taken off before. Invented clocks have no phase biases.
"""

import numpy as np
from _measured import ESBC_REFERENCE_M, Table, difference_enu, esbc, solved
from relative_simulated import errors_of

from stakeline.positioning import solve
from stakeline.positioning.absolute_integers import GOOD_CYCLES, known_wide_lanes
from stakeline.positioning.coarse import locate
from stakeline.positioning.model import observed_minus_computed
from stakeline.positioning.solve import pose, to_the_last_epoch, with_orbits
from stakeline.positioning.wide_lanes import fix_wide_lanes
from stakeline.signals.slips import find_slips, wide_lane_cycles
from stakeline.signals.tracks import build_tracks
from stakeline.simulate.baselines import make_baselines
from stakeline.tables import Settings

mm = 1e-3
BAR = "bar set for this work, no source"


def fractions(data, products, settings, sign=1.0):
    """Return the wide-lane fractions of all arcs whose satellites have a bias. [cycles]"""
    notes = []
    tracks = with_orbits(build_tracks(data, settings.systems)[0], products, notes)
    products = to_the_last_epoch(products, int(tracks.time_ns[-1]), notes)
    model = observed_minus_computed(
        tracks, tracks.phase_m, products, settings, locate(tracks, products)
    )
    slips = find_slips(tracks, model.phase_m, model.unit, model.elevation_rad)
    problem, epochs = pose(tracks, model, slips, settings)
    known, bias = known_wide_lanes(tracks, products)
    lanes = np.where(known, wide_lane_cycles(tracks)[epochs] + sign * bias, np.nan)
    family = np.full(int(problem.arc.max()) + 1, -1)
    here = problem.arc >= 0
    family[problem.arc[here]] = np.broadcast_to(problem.bias, problem.arc.shape)[here]
    wide = fix_wide_lanes(lanes, model.elevation_rad[epochs], problem.arc, family, 30.0)
    return wide.fraction[np.isfinite(wide.fraction)]


def scatter(table, name, float_enu, fixed_enu):
    """Say what integers change."""
    for axis, before, after in zip("ENU", float_enu, fixed_enu, strict=True):
        table.say(f"{name} {axis}: {before / mm:.1f} mm float, {after / mm:.1f} mm with integers")


def real(table):
    """Show the ESBC day."""
    data, products = esbc()
    settings = Settings(antenna_model=data.header.antenna_type, systems="GE")
    good = np.abs(fractions(data, products, settings)) <= GOOD_CYCLES
    share = 100.0 * good.mean()
    table.line(f"ESBC, wide lanes of {good.size} arcs within 0.2 cycle", share, 95, "%", BAR,
               least=True)  # fmt: skip
    turned = np.abs(fractions(data, products, settings, -1.0)) <= GOOD_CYCLES
    table.say(f"with the sign of the biases turned: {100 * turned.mean():.0f} %")
    enu = []
    for integers in (False, True):
        found = solved(data, products, systems="GE", integers=integers)
        error = difference_enu(found.position_m, ESBC_REFERENCE_M)
        enu.append(error.std(axis=0))
    table.say(next(w for w in found.summary["warnings"] if w.startswith("integers: ")))
    table.say(f"epochs integer-fixed: {100 * (found.state == 'integer-fixed').mean():.0f} %")
    scatter(table, "ESBC, std", *enu)
    for axis, before, after in list(zip("EN", *enu, strict=False)):
        table.line(f"ESBC, std {axis} with integers", after / mm, before / mm, "mm", "no worse")


def invented(table):
    """Show invented days, with truth."""
    for seed in (1, 2):
        world = make_baselines(seed, [])
        enu = []
        for integers in (False, True):
            settings = Settings(**{**vars(world.settings), "integers": integers})
            found = solve(world.rover, world.products, settings)
            enu.append(np.sqrt(np.mean(errors_of(found, world) ** 2, axis=0)))
        table.say(next(w for w in found.summary["warnings"] if w.startswith("integers: ")))
        scatter(table, f"invented day {seed}, rms", *enu)
        table.line(f"invented day {seed}, rms E with integers", enu[1][0] / mm, enu[0][0] / mm,
                   "mm", "no worse")  # fmt: skip


def main():
    table = Table("Absolute positions with integers")
    real(table)
    invented(table)
    table.say("heights gain nothing: slow multipath, which float ambiguities take up, goes there")
    table.end()


if __name__ == "__main__":
    main()
