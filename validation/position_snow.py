"""Heights of antennas above the snow, by reflections: on an invented glacier, and on real ground.

    python validation/position_snow.py

Exit code 1 where one falls short or data are missing.

Invented: receiver files at 30 s over a glacier at 79 N whose air bends waves (integrated through
layers here, apart from the package's formula), masts from 0.6 to 3 m, two days each, read by the
code that the verb ``position`` runs. Snow is level and reflects at its surface: what is shown is
the method, not snow. Published daily heights over snow and bare soil scatter by 2 to 4 cm (Larson
et al. 2009; Gutmann et al. 2012, Cryosphere 6, 1279, from memory). Ours were set beforehand to
half of the smaller one. Formulas against published values stand in motion_formulas.py.
"""

import time

import numpy as np
from _measured import ESBC, ROSALIA, Table, esbc, files, header_settings

from stakeline.constants import NS_PER_DAY
from stakeline.positioning import solve
from stakeline.simulate.atmosphere import make_air, make_ionosphere
from stakeline.simulate.ground import Place
from stakeline.simulate.motion import Motion
from stakeline.simulate.observe import Station, make_world, observe
from stakeline.simulate.products import make_errors, orbits_of
from stakeline.simulate.receiver import Receiver
from stakeline.tables import Products
from stakeline.time import from_calendar
from stakeline.workflows.products import ProductFiles, load_products
from stakeline.workflows.reading import read_pieces
from stakeline.workflows.snow_passes import snow_day

MASTS_M = (0.6, 0.8, 1.1, 1.5, 2.0, 2.5, 3.0)
DAYS = 2
REAL = (  # station, folder, observations, kind and names of its orbits
    ("ESBC", ESBC, "*crx.gz", "orbits", "GRG*ORB.SP3.gz"),
    ("ROSR", ROSALIA, "*01D_30S_MO*", "orbits", "COD*ORB.SP3.gz"),
    ("NYA1", "nyalesund_2024_124", "*MO.crx.gz", "navigation", "*N.rnx.gz"),
)
PRACTICE = "half of published practice (2 cm)"
EARTH_M = 6.371e6  # m; mean radius
SCALE_M = 8000.0  # m; height in which the refractivity of cold air falls to 1/e; from memory
REFRACTIVITY = 3.03e-4  # at 970 hPa, 249 K: 77.6e-6 p / T, Smith & Weintraub (1953)


def bent_by_layers(elevation_rad):
    """Return how much higher a wave arrives: Snell's law through spherical layers. [rad]"""
    radius = EARTH_M + np.concatenate([np.arange(0.0, 2e4, 20.0), np.arange(2e4, 1e5, 200.0)])
    index = 1.0 + REFRACTIVITY * np.exp(-(radius - EARTH_M) / SCALE_M)
    middle, lost = 0.5 * (index[1:] + index[:-1]), -np.diff(index)
    at = 0.5 * (radius[1:] + radius[:-1])
    table = np.radians(np.linspace(2.0, 40.0, 400))
    bend = np.zeros(table.size)
    for _ in range(3):  # the constant of the path is that of the wave as it arrives
        cosine = index[0] * EARTH_M * np.cos(table + bend)[:, None] / (middle * at)
        bend = np.sum(lost / middle * cosine / np.sqrt(1.0 - cosine**2), axis=1)
    return np.interp(elevation_rad, table, bend)


def invented_days(table):
    place = Place(np.radians(79.1), np.radians(-22.0), 420.0)
    by_world, by_air, by_data, by_products = np.random.default_rng(2031).spawn(4)
    start_ns = int(from_calendar(2031, 7, 12))
    world = make_world(by_world, start_ns, DAYS * 86400.0)
    air, ionosphere = make_air(by_air, place, world.duration_s), make_ionosphere(by_air)
    errors = make_errors(by_products, world)
    end_ns = start_ns + DAYS * NS_PER_DAY
    products = Products(orbits=orbits_of(world, errors, start_ns - NS_PER_DAY, end_ns + NS_PER_DAY))
    misses, sigmas = [], []
    for mast_m, rng in zip(MASTS_M, by_data.spawn(len(MASTS_M)), strict=True):
        receiver = Receiver(mast_m=mast_m, bend_rad=bent_by_layers)
        station = Station("HV01", Motion(place), 1.5, air, ionosphere, receiver)
        data, truth = observe(rng, world, station)
        days = [
            snow_day(data, products, truth.position_m[0], begin, begin + NS_PER_DAY)
            for begin in range(start_ns, end_ns, NS_PER_DAY)
        ]
        miss = np.array([day.height_m for day in days]) - mast_m
        misses.append(miss)
        sigmas.append([day.sigma_m for day in days])
        said = " ".join(f"{1e3 * m:+.1f} ± {1e3 * d.sigma_m:.1f}" for m, d in zip(miss, days, strict=True))  # fmt: skip  # noqa: E501
        table.say(f"mast {mast_m} m: {said} mm; {days[0].used} passes, {days[0].arcs} arcs")
    misses, sigmas = np.array(misses), np.array(sigmas)
    table.line("invented days without a height", np.isnan(misses).sum(), 0, "", "all have one")
    worst = np.nanmax(np.abs(misses))
    table.line("error of a day's height, rms", 1e3 * np.sqrt(np.nanmean(misses**2)), 10, "mm", PRACTICE)  # fmt: skip  # noqa: E501
    table.line("error of a day's height, largest", 1e3 * worst, 20, "mm", "published practice")
    inside = np.abs(misses) < 1.96 * sigmas
    source = "12 of 14; fewer by chance: 3 %"
    table.line("95 % intervals that hold the truth", inside.mean(), 0.85, "", source, least=True)


def real_days(table):
    """Real stations on buildings and masts: no level ground, so that no height may be claimed.

    None of the open data at hand stands on snow with a known height.
    """
    claimed = 0
    for name, folder, observed, kind, pattern in REAL:
        observations = read_pieces(files(folder, observed))[0]
        place = np.array(observations.header.approximate_position_m)
        products = load_products(ProductFiles(**{kind: files(folder, pattern)}), name, place)
        begin = int(observations.time_ns[0]) // NS_PER_DAY * NS_PER_DAY
        day = snow_day(observations, products, place, begin, begin + NS_PER_DAY)
        claimed += bool(np.isfinite(day.height_m))
        table.say(f"{name}: {day.passes} passes with a reflection; {'; '.join(day.said)}")
    table.line("heights claimed over roofs and rough ground, real", claimed, 0, "", "none is level")


def cost(table):
    """Share of the time of a real station-day at 30 s; the shortest of several runs."""
    data, products = esbc()
    settings = header_settings(data, systems="GE")
    path = files(ESBC, "*crx.gz")[0]
    begin, place = int(data.time_ns[0]), np.array(data.header.approximate_position_m)

    def snow():
        snow_day(data, products, place, begin, begin + NS_PER_DAY, settings.systems)

    def position():
        solve(read_pieces([path])[0], products, settings)

    share = shortest(snow, 15) / shortest(position, 4)
    table.line("time beside reading and solving a station-day", 100.0 * share, 5, "%", "our bar")


def shortest(function, count):
    """Return the shortest processor time of several runs. [s]"""
    spent = []
    for _ in range(count):
        begin = time.process_time()
        function()
        spent.append(time.process_time() - begin)
    return min(spent)


def main():
    table = Table("Height of the antenna above the snow by reflections")
    invented_days(table)
    real_days(table)
    cost(table)
    table.end()


if __name__ == "__main__":
    main()
