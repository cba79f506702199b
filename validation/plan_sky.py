"""Satellites over a site: published orbits, hand formulas, brute force, and a real day's orbits.

    python validation/plan_sky.py

Exit code 1 where one falls short, or the real open data are missing.
"""

import numpy as np
from _measured import ESBC, Table, files

from stakeline.constants import EARTH_RADIUS_M
from stakeline.earth.ellipsoid import xyz_from_enu, xyz_from_geodetic
from stakeline.formats import sp3
from stakeline.satellites.dilution import block_sigma_m, directions, sky_view
from stakeline.satellites.nominal import LETTERS, WALKER, nominal_orbits
from stakeline.station.network import satellites_in_view
from stakeline.tables import SYSTEMS

INCLINATION_DEG = {"G": 55.0, "R": 64.8, "E": 56.0, "C": 55.0}
SOURCE = {
    "G": "IS-GPS-200N: 55 deg, 26559.7 km",
    "R": "GLONASS ICD 5.1: 64.8 deg",
    "E": "Galileo OS SIS ICD 2.1: 56 deg",
    "C": "BeiDou B1C ICD 1.0: 55 deg",
}
AXIS_M = {"G": 26_559.7e3} | {letter: row[3] for letter, row in WALKER.items()}
POLAR_M = EARTH_RADIUS_M * (1.0 - 1.0 / 298.257)  # m; radius at the pole
MINUTES = np.arange(0.0, 86_400.0, 120.0)


def place(latitude_deg, longitude_deg=17.0):
    return np.radians(latitude_deg), np.radians(longitude_deg), 0.0


def published(table):
    """Print highest elevation at the pole, and the latitude that orbits reach."""
    for letter, tilt in INCLINATION_DEG.items():
        satellites, position = nominal_orbits(letter, MINUTES)
        view = sky_view(satellites, position, place(90.0), mask_rad=0.0)
        psi = np.radians(90.0 - tilt)
        expected = np.degrees(np.arctan((np.cos(psi) - POLAR_M / AXIS_M[letter]) / np.sin(psi)))
        top = np.degrees(np.nanmax(view.elevation_rad))
        name = f"{letter}: highest at the pole ({expected:.1f} deg), apart"
        table.line(name, abs(top - expected), 0.1, "deg", SOURCE[letter])
        reach = np.degrees(np.arcsin(position[..., 2] / np.linalg.norm(position, axis=-1))).max()
        table.line(f"{letter}: highest latitude below a satellite, apart", abs(reach - tilt), 0.1,
                   "deg", SOURCE[letter])  # fmt: skip


def formulas(table):
    """Print dilutions against hand formula and simulated positions."""
    elevation, azimuth = np.radians([90.0, 0.0, 0.0, 0.0]), np.radians([0.0, 0.0, 120.0, 240.0])
    local = 2e7 * np.stack([np.cos(elevation) * np.sin(azimuth),
                            np.cos(elevation) * np.cos(azimuth),
                            np.sin(elevation) + 1e-9], axis=-1)  # fmt: skip
    here = place(79.0)
    position = xyz_from_geodetic(*here) + xyz_from_enu(local, here[0], here[1])
    dop = sky_view(np.arange(1, 5), position[None], here, mask_rad=0.0).dop[0]
    table.line("level dilution, one overhead and three around", abs(dop[1] - np.sqrt(2 / 1.5)),
               1e-6, "", "by hand: sqrt(2 / 1.5)")  # fmt: skip
    table.line("height dilution of the same", abs(dop[2] - np.sqrt(4 / 3)), 1e-6, "",
               "by hand: sqrt(4 / 3)")  # fmt: skip
    satellites, position = nominal_orbits("GE", MINUTES)
    here = place(79.0)
    view = sky_view(satellites, position, here, mask_rad=np.radians(5.0))
    rng, worst = np.random.default_rng(11), 0.0
    _, _, unit = directions(position, here)
    for epoch in range(0, 720, 90):
        seen = view.seen[epoch]
        clock = (satellites[seen, None] // 100 == np.unique(satellites // 100)).astype(float)
        rows = np.hstack([-unit[epoch][seen], clock])
        found = np.linalg.lstsq(rows, rng.standard_normal((seen.sum(), 50_000)), rcond=None)[0]
        spread = np.sqrt((found[:3] ** 2).sum(axis=0).mean())
        worst = max(worst, abs(spread / view.dop[epoch, 0] - 1.0))
    table.line("dilution against simulated positions, worst", 100.0 * worst, 1.5, "%",
               "simulation, 50,000 positions")  # fmt: skip


def everywhere(table):
    """Print the mean number in view against the share of the sphere."""
    rng = np.random.default_rng(2)
    satellites, position = nominal_orbits("GREC", np.arange(0.0, 86_400.0, 900.0))
    counts = {name: [] for name in LETTERS}
    for sine, turn in zip(rng.uniform(-1, 1, 150), rng.uniform(0, 360, 150), strict=True):
        view = sky_view(satellites, position, place(np.degrees(np.arcsin(sine)), turn),
                        mask_rad=np.radians(5.0))  # fmt: skip
        for name, letter in LETTERS.items():
            counts[name].append(view.count_of(letter).mean())
    at_work = {"GPS": 31, "GLONASS": 24, "Galileo": 27, "BeiDou": 27}
    for name in LETTERS:
        expected = satellites_in_view([name]) * 24 / at_work[name]
        off = 100.0 * abs(np.mean(counts[name]) / expected - 1.0)
        table.line(f"{name}: mean in view over the globe, apart", off, 4.0, "%",
                   "share of the orbit's sphere")  # fmt: skip


def real(table):
    """Print nominal constellations against a real day's orbits, at high latitudes."""
    orbits = sp3.read_sp3(files(ESBC, "GRG*ORB.SP3.gz")[0])
    letters = np.array([SYSTEMS[s // 100] for s in orbits.satellites])
    for latitude in (79.0, -84.3):
        for letter in "GE":
            there = letters == letter
            view = sky_view(orbits.satellites[there], orbits.position_m[:, there], place(latitude),
                            mask_rad=np.radians(5.0))  # fmt: skip
            nominal = sky_view(*nominal_orbits(letter, MINUTES), place(latitude),
                               mask_rad=np.radians(5.0))  # fmt: skip
            share = view.count.mean() / there.sum() / (nominal.count.mean() / 24.0)
            name = f"{letter} at {latitude}: share in view, real by nominal, apart"
            off = 100.0 * abs(share - 1.0)
            table.line(name, off, 5.0, "%", "CNES/CLS final orbits, 2020-06-25")
            top = [np.degrees(np.nanmax(v.elevation_rad)) for v in (view, nominal)]
            table.line(f"{letter} at {latitude}: highest elevation, apart", abs(top[0] - top[1]),
                       4.0, "deg", "the same; planes drift by a degree or two")  # fmt: skip


def latitude(table):
    """Print that heights suffer toward the pole and level positions do not."""
    satellites, position = nominal_orbits("GREC", MINUTES)
    dops = {
        one: np.median(sky_view(satellites, position, place(one), mask_rad=np.radians(5.0)).dop, 0)
        for one in (45.0, 79.0, 90.0)
    }
    for one, dop in dops.items():
        of = f"position {dop[0]:.2f}, level {dop[1]:.2f}, height {dop[2]:.2f}"
        table.say(f"{one:g} deg: dilution of {of}")
    table.line("height dilution, 90 by 45 deg", dops[90.0][2] / dops[45.0][2], 1.0, "",
               "no satellite overhead at the pole", least=True)  # fmt: skip
    satellites, position = nominal_orbits("GR", np.arange(0.0, 6 * 3600.0, 60.0))
    view = sky_view(satellites, position, place(56.0), mask_rad=np.radians(7.0))
    for minutes in (10, 180):
        found = [1e3 * block_sigma_m(view, k, minutes) for k in range(0, 180, 20)]
        rms = np.sqrt(np.mean(np.square(found), axis=0))
        table.say(f"block of {minutes} min, white noise only: {rms.round(1)} mm east, north, up")
        if minutes == 10:
            short = rms
    table.line("ten minutes by three hours, least of three axes", (short / rms).min(), 18.0**0.5,
               "", "averaging alone gives the root of 18", least=True)  # fmt: skip


def main():
    table = Table("Sky of a plan")
    published(table)
    formulas(table)
    everywhere(table)
    real(table)
    latitude(table)
    table.end()


if __name__ == "__main__":
    main()
