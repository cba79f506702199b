"""Weights learnt from residuals: scatter of real still antennas with them and without.

    python validation/position_weights.py

Needs the real open data. Exit code 1 where they lose, or an interval no longer holds.
"""

import numpy as np
from _measured import (
    ESBC,
    ESBC_PRODUCTS,
    ROSALIA,
    ROSALIA_PRODUCTS,
    Table,
    difference_enu,
    files,
    load,
    sigma_enu,
    solved,
)

mm = 1e-3
DAYS = (
    ("ESBC", (ESBC, "*crx.gz"), ESBC_PRODUCTS, ("GE", "GREC")),
    ("ROSR", (ROSALIA, "*01D_30S_MO.crx.gz"), ROSALIA_PRODUCTS, ("GE",)),
)
BAR = "bar set for this work, no source"
INTERVAL_S = 60.0


def scatter(data, products, systems, learn):
    """Return (scatter (3,) [m], share of 95 % intervals that hold the mean place)."""
    found = solved(data, products, systems=systems, interval_s=INTERVAL_S, learn_weights=learn)
    away = difference_enu(found.position_m, found.position_m.mean(axis=0))
    away -= away.mean(axis=0)
    return away.std(axis=0), (np.abs(away) < 1.96 * sigma_enu(found)).mean()


def main():
    table = Table("Weights learnt from residuals, real still antennas, kinematic")
    for station, where, named, several in DAYS:
        data, products = load(station, files(*where), named)
        for systems in several:
            usual, _ = scatter(data, products, systems, learn=False)
            learnt, held = scatter(data, products, systems, learn=True)
            said = "/".join(f"{a / mm:.1f}" for a in usual)
            now = "/".join(f"{a / mm:.1f}" for a in learnt)
            table.say(f"{station} {systems}: east/north/up {said} mm, with learnt weights {now}")
            ratio = float(np.sqrt((learnt**2).sum() / (usual**2).sum()))
            table.line(f"{station} {systems}: scatter with over without", ratio, 1.0, "", BAR)
            table.line("  95 % intervals that hold", 100.0 * held, 85.0, "%", BAR, least=True)
    table.end()


if __name__ == "__main__":
    main()
