"""How long the invention takes: three years of a whole network, and one day of receiver files."""

import gzip
import resource
import time

import numpy as np
from _measured import Table

from stakeline.formats.rinex_obs import write_observations
from stakeline.simulate.campaign import DAY_S, Invented
from stakeline.simulate.chance import stream
from stakeline.simulate.observe import make_world, observe
from stakeline.simulate.scenario import scenario_of
from stakeline.workflows.invent import Order

SOURCE = "asked for"
YEARS_D = 1096


def network(seed):
    """Return (seconds, positions made) of three years of 14 stations and the base, hourly."""
    begun = time.perf_counter()
    invented = Invented(seed, scenario_of("flood-fast"), YEARS_D)
    time_s = np.arange(0.0, YEARS_D * DAY_S, 3600.0)
    rows = 0
    for name in invented.sites:
        position_m, sigma_m = invented.positions(name, time_s)
        running = invented.running(name, time_s)
        rows += int(np.isfinite(position_m[running]).all(axis=1).sum())
        assert sigma_m.shape == position_m.shape
    return time.perf_counter() - begun, rows


def station_day(order):
    """Return (seconds, bytes) of one station-day at 30 s, compact and packed; the sky is made."""
    invented = order.invented()
    window = invented.raw_window(1)
    start_ns = int(invented.time_ns(window.begin_s))
    world = make_world(stream(order.seed, "world"), start_ns, window.end_s - window.begin_s)
    station = invented.station("HV02", window)
    begun = time.perf_counter()
    observations, _ = observe(stream(order.seed, "receiver"), world, station)
    packed = gzip.compress(write_observations(observations, compact=True), 6, mtime=0)
    return time.perf_counter() - begun, len(packed)


def main():
    table = Table("Speed of the invention (best of three where it is short)")
    seconds, rows = network(2031)
    table.line("14 stations and base, 3 years hourly: seconds", seconds, 30.0, "s", SOURCE)
    peak_gb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    table.line("the same: most memory", peak_gb, 2.0, "GB", SOURCE)
    table.line("positions with power", rows, 300_000, "", "14 x 26304 less outages", least=True)
    station_day(Order())  # compiles
    best = min(station_day(Order())[0] for _ in range(3))
    table.line("one station-day of receiver files, 30 s, packed", best, 2.0, "s", SOURCE)
    table.end()


if __name__ == "__main__":
    main()
