"""Build src/stakeline/earth/data/climate.txt from a 5-degree climate grid.

    python builders/build_climate.py GRID[.gz]

Prints how well the compact model follows the grid; see src/stakeline/earth/data/README.md.
"""

import sys
from pathlib import Path

import numpy as np

from stakeline.earth.climate import (
    LAPSE_K_M,
    climate,
    climate_from_grid,
    pressure_ratio,
    season,
)
from stakeline.earth.harmonics import normalised_basis
from stakeline.formats.gpt3_grid import read
from stakeline.time import from_calendar

DEGREE = 15
OUT = Path(__file__).parents[1] / "src" / "stakeline" / "earth" / "data" / "climate.txt"
DAY_NS = 86_400_000_000_000


def days(count=24):
    """Return epochs spread over one year. [ns]"""
    start = from_calendar(2019, 1, 1)
    return start + (np.arange(count) * (365.25 / count) * DAY_NS).astype(np.int64)


def node_fields(grid, terms):
    """Return the fields at the nodes' own heights, each (nodes, days)."""
    names = ("pressure_Pa", "temperature_K", "humidity", "mean_temperature_K")
    names = (*names, "wet_lapse", "ah", "aw")
    flat = {name: getattr(grid, name).reshape(-1, 5) @ terms.T for name in names}
    pressure = flat["pressure_Pa"] / 100.0
    vapour = flat["humidity"] * pressure / (0.622 + 0.378 * flat["humidity"])
    return flat | {"pressure": pressure, "vapour": np.maximum(vapour, 1e-3)}


def fit(grid):
    """Return the coefficients, shape (quantities, terms, harmonics)."""
    lat, lon = np.meshgrid(
        np.radians(grid.latitude_deg), np.radians(grid.longitude_deg), indexing="ij"
    )
    basis = normalised_basis(lat.ravel(), lon.ravel(), DEGREE)
    weight = np.cos(lat.ravel())[:, None] ** 0.25  # the poles count more than their area
    terms = season(days())
    field = node_fields(grid, terms)
    height = (grid.undulation_m + grid.height_m).ravel()[:, None]

    def expand(values):
        """Return (terms, harmonics) of values (nodes, days), by weighted least squares."""
        waves = np.linalg.lstsq(terms, values.T, rcond=None)[0]
        return np.linalg.lstsq(basis * weight, waves.T * weight, rcond=None)[0].T

    t0 = expand(field["temperature_K"] - LAPSE_K_M * height)
    tm0 = expand(field["mean_temperature_K"] - LAPSE_K_M * height)
    lam = expand(field["wet_lapse"])
    ratio = pressure_ratio((basis @ tm0.T) @ terms.T, height)
    log_e0 = np.log(field["vapour"] / ratio ** ((basis @ lam.T) @ terms.T + 1.0))
    p0 = expand(field["pressure"] / ratio)
    rows = [p0, t0, expand(log_e0), tm0, lam, expand(field["ah"]), expand(field["aw"])]
    return np.stack(rows)


def write(coefficients):
    table = coefficients.reshape(-1, coefficients.shape[-1]).T
    digits = np.repeat([3, 3, 4, 3, 4, 8, 8], coefficients.shape[1])
    with OUT.open("w", encoding="ascii", newline="\n") as out:
        out.write("# Compact climate: made by builders/build_climate.py; see README.md beside it\n")
        for row in table:
            fields = (f"{value:.{n}f}" for value, n in zip(row, digits, strict=True))
            out.write(" ".join(f"{float(f):g}" if float(f) == 0 else f for f in fields) + "\n")


def compare(grid, nodes):
    """Print rms of compact model minus grid at the nodes' own heights, over the year."""
    when = days(12)
    names = ("pressure_hPa", "temperature_K", "vapour_hPa", "mean_temperature_K", "ah", "aw")
    difference = {name: [] for name in names}
    for row, column in nodes:
        place = np.radians(grid.latitude_deg[row]), np.radians(grid.longitude_deg[column])
        height = grid.undulation_m[row, column] + grid.height_m[row, column]
        ours = climate(*place, height, when)
        theirs = climate_from_grid(grid, *place, height, when)
        for name in names:
            difference[name].append(getattr(ours, name) - getattr(theirs, name))
    for name in names:
        d = np.array(difference[name])
        weight = np.cos(np.radians(grid.latitude_deg[[n[0] for n in nodes]]))[:, None]
        rms = np.sqrt((weight * d**2).sum() / (weight.sum() * d.shape[1]))
        print(f"  {name:20s} rms {rms:.3g}   largest {np.abs(d).max():.3g}")


def main():
    grid = read(sys.argv[1])
    write(fit(grid))
    print(f"{OUT.name}: {OUT.stat().st_size} bytes, degree {DEGREE}")
    latitudes = grid.latitude_deg
    for title, chosen in (
        ("globe", np.abs(latitudes) < 91.0),
        ("north of 60 N", latitudes > 60.0),
        ("south of 60 S", latitudes < -60.0),
    ):
        print(title)
        columns = range(0, grid.longitude_deg.size, 3)
        compare(grid, [(row, column) for row in np.flatnonzero(chosen) for column in columns])


if __name__ == "__main__":
    main()
