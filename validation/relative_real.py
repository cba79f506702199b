"""Relative positions on real data: what there is, and what it can show.

No two receivers of the real open data stand within 300 km of each other at one time. So the ESBC
day is its own base: a known motion (flow, uplift, tide) is put exactly into its ranges, and the
displaced receiver is positioned from the one that stood still. Noise, multipath and air are
common and drop out; units, signs, integers, epochs and arcs of a real receiver do not.
"""

import itertools

import numpy as np
from _measured import ESBC_REFERENCE_M, Table, difference_enu, esbc, files, header_settings
from position_motion import motion_enu, satellites_of_rows

from stakeline.earth.ellipsoid import enu_axes, geodetic_from_xyz
from stakeline.positioning.relative import solve_relative
from stakeline.positioning.relative_input import FURTHEST_M, Base
from stakeline.simulate.displace import displace
from stakeline.workflows.reading import read_pieces

mm = 1e-3
BAR = "own bar: nothing but arithmetic is left"


def distances(table):
    """Say how far the day of four stations has them from each other."""
    places = {}
    for path in files("world_2016_044", "24h_*.Z"):
        header = read_pieces([path])[0].header
        places[header.marker_name] = np.array(header.approximate_position_m)
    apart = {
        f"{a} to {b}": np.linalg.norm(places[a] - places[b])
        for a, b in itertools.combinations(sorted(places), 2)
    }
    nearest = min(apart, key=apart.get)
    table.say(f"nearest pair of 2016-02-13: {nearest}, {apart[nearest] / 1e3:.0f} km")
    near = sum(length <= FURTHEST_M for length in apart.values())
    table.say(f"pairs within {FURTHEST_M / 1e3:.0f} km: {near}; none can be worked relatively")


def main():
    table = Table("Relative positions on real data")
    distances(table)
    data, products = esbc()
    axes = enu_axes(*geodetic_from_xyz(ESBC_REFERENCE_M)[:2])
    truth = motion_enu(data.time_ns)
    there = satellites_of_rows(data, products, ESBC_REFERENCE_M)
    moving = displace(data, truth @ axes, ESBC_REFERENCE_M, there)
    settings = header_settings(data, systems="GE")
    base = Base(
        "ESBC", data, data.time_ns[:1], ESBC_REFERENCE_M[None], settings.antenna_height_m,
        settings.antenna_model,
    )  # fmt: skip
    found = solve_relative(moving, [base], products, settings)
    error = difference_enu(found.position_m, ESBC_REFERENCE_M)
    error -= truth[np.searchsorted(data.time_ns, found.time_ns)]
    for axis, value in zip("ENU", np.sqrt(np.mean(error**2, axis=0)) / mm, strict=True):
        table.line(f"displaced receiver from itself, rms {axis}", value, 1.0, "mm", BAR)
    share = 100.0 * (found.state == "integer-fixed").mean()
    table.line("epochs integer-fixed", share, 95, "%", "bar set for this work", least=True)
    table.say(f"{found.summary['arcs fixed']} of {found.summary['arcs']} arcs fixed")
    table.end()


if __name__ == "__main__":
    main()
