"""Error spectra of invented positions, raw and at position level, against real still antennas."""

import itertools

import numpy as np
from _measured import (
    ROSALIA,
    ROSALIA_PRODUCTS,
    Table,
    difference_enu,
    esbc,
    files,
    load,
    solved,
)

from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.positioning import solve
from stakeline.simulate.atmosphere import make_air, make_ionosphere
from stakeline.simulate.chance import stream
from stakeline.simulate.ground import Place
from stakeline.simulate.motion import Motion
from stakeline.simulate.observe import Station, make_world, observe
from stakeline.simulate.position_noise import Extras, common_noise, noise_of_positions
from stakeline.simulate.products import antennas_of, clocks_of, make_errors, orbits_of
from stakeline.simulate.receiver import Receiver
from stakeline.tables import Products, Settings
from stakeline.time import from_calendar

START_NS = from_calendar(2031, 7, 12)
STEP_S = 30.0
SYSTEMS = "GE"  # what the invented receivers track
RAW_DAYS, LEVEL_DAYS, TAPERS = 10, 80, 4
EDGES_S = 60.0 * np.array([10, 20, 40, 80, 160, 320, 725])  # octaves, the last a bit wider
FACTOR = 1.5
mm = 1e-3


def density(error_m):
    """Return amplitude spectral densities (bands, 3) of one day of errors (n, 3). [m/sqrt(Hz)]

    Sine tapers: Riedel & Sidorenko (1995), IEEE Trans. Signal Process. 43, 188.
    """
    error_m = error_m - error_m.mean(axis=0)
    n = len(error_m)
    order, place = np.arange(1, TAPERS + 1)[:, None], np.arange(1, n + 1)
    tapers = np.sqrt(2.0 / (n + 1)) * np.sin(np.pi * order * place / (n + 1))
    power = np.mean([np.abs(np.fft.rfft(t[:, None] * error_m, axis=0)) ** 2 for t in tapers], 0)
    frequency = np.fft.rfftfreq(n, STEP_S)
    bands = itertools.pairwise(EDGES_S)
    inside = [(frequency > 1.0 / long) & (frequency <= 1.0 / short) for short, long in bands]
    return np.sqrt(2.0 * STEP_S * np.array([power[band].mean(axis=0) for band in inside]))


def mean_density(days):
    """Return the density of the mean power of several days."""
    return np.sqrt(np.mean([density(day) ** 2 for day in days], axis=0))


def real_antennas(table):
    """Return densities of the kinematic positions of both real antennas less their mean."""
    rosr = load("ROSR", files(ROSALIA, "*01D_30S_MO.crx.gz"), ROSALIA_PRODUCTS)
    found = []
    for name, (data, products) in (("ESBC", esbc()), ("ROSR", rosr)):
        k = solved(data, products, systems=SYSTEMS)
        enu = difference_enu(k.position_m, k.position_m.mean(axis=0))
        table.say(f"{name}: std E N U {(enu.std(axis=0) / mm).round(1)} mm")
        found.append(density(enu))
    return found


def raw_day(seed):
    """Return the errors (n, 3) of the kinematic solution of one invented receiver day."""
    sky, weather, receiver, product = (
        stream(seed, name) for name in ("sky", "weather", "receiver", "product")
    )
    world = make_world(sky, START_NS, 86400.0)
    place = Place(np.radians(79.08), np.radians(-21.90), 64.0)
    motion = Motion(place, 1.1, np.radians(62.0), tide_m=0.25, tide_phase_rad=0.8)
    air, ionosphere = make_air(weather, place, 86400.0), make_ionosphere(weather)
    station = Station("HV01", motion, 1.5, air, ionosphere, Receiver())
    observations, truth = observe(receiver, world, station)
    errors = make_errors(product, world)
    products = Products(
        orbits=orbits_of(world, errors, START_NS - NS_PER_DAY, START_NS + 2 * NS_PER_DAY),
        clocks=clocks_of(world, errors, START_NS, START_NS + NS_PER_DAY - 30 * NS_PER_S),
        antennas=antennas_of(world),
    )
    model = observations.header.antenna_type
    settings = Settings(systems=SYSTEMS, antenna_height_m=(1.5, 0.0, 0.0), antenna_model=model)
    k = solve(observations, products, settings)
    at = np.searchsorted(truth.time_ns, k.time_ns)
    return (k.position_m - truth.position_m[at]) @ truth.axes.T


def level_days():
    """Return days (2880, 3) of errors at position level, of one station in four campaigns."""
    per_day, days = round(86400.0 / STEP_S), []
    count = LEVEL_DAYS // 4
    time_ns = START_NS + np.arange(count * per_day) * round(STEP_S * NS_PER_S)
    for seed in range(4):
        error, _ = noise_of_positions(stream(seed, "noise"), time_ns, extras=Extras(0.0))
        error = error + common_noise(stream(seed, "common"), time_ns)
        days += list(error.reshape(count, per_day, 3))
    return days


def compare(table, name, found, real):
    """Hold densities against the band between the two real antennas, and say the mean ratio."""
    low, high = np.minimum(*real), np.maximum(*real)
    away = np.maximum(found / high, low / found)
    nearer = np.minimum(*(np.exp(np.abs(np.log(found / each))) for each in real))
    wide = high / low > FACTOR
    for b, (short, long) in enumerate(itertools.pairwise(EDGES_S)):
        span = f"{short / 60:.0f}-{long / 60:.0f} min"
        for axis in range(3):
            quantity = f"{name} {'ENU'[axis]} {span}: outside the band, factor"
            table.line(quantity, max(away[b, axis], 1.0), FACTOR, "-", "ESBC, ROSR")
            middle = np.sqrt(low[b, axis] * high[b, axis])
            table.say(
                f"{1e3 * found[b, axis]:.3g} mm/sqrt(Hz); real {1e3 * real[0][b, axis]:.3g}, "
                f"{1e3 * real[1][b, axis]:.3g}; over their geometric mean "
                f"{found[b, axis] / middle:.2f}, from the nearer antenna a factor "
                f"{nearer[b, axis]:.2f}"
            )
    far = np.sum(wide & (nearer > FACTOR))
    table.say(
        f"{name}: in {wide.sum()} of {wide.size} the two real antennas differ by over {FACTOR}; "
        f"in {far} of these the invented one stands between them, more than {FACTOR} from either"
    )


def main():
    table = Table("Error spectra, 10 min to 12 h: invented against real still antennas")
    table.say("bar: 1.5 in amplitude beyond the band between the two real antennas, to the nearer")
    table.say("real: ESBC 55.5 N (without antenna variations) and ROSR 47.7 N; invented: 79.1 N")
    real = real_antennas(table)
    days = [raw_day(seed) for seed in range(RAW_DAYS)]
    rms = np.sqrt(np.mean([day.var(axis=0) for day in days], axis=0)) / mm
    table.say(f"raw: {RAW_DAYS} days of chance, std E N U {rms.round(1)} mm")
    compare(table, "raw", mean_density(days), real)
    table.say(f"position level: {LEVEL_DAYS} days, without outliers (the real days have none)")
    compare(table, "position level", mean_density(level_days()), real)
    table.end()


if __name__ == "__main__":
    main()
