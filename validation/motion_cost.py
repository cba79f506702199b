"""What the smoother costs: a year of 30-s positions, and 25 station-years at 5 min.

    python validation/motion_cost.py

Exit code 1 where one falls short. No data are read. Each figure is the best of three, since other
work on the machine only ever adds to it; compiling is done before. Memory is the greatest of a
process of its own, Python and the compiler included.
"""

import multiprocessing
import resource
import time
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from _measured import Table

from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.motion.smoother import MotionModel, smooth
from stakeline.motion.solve import StationSeries, covariance_of, solve_motion
from stakeline.motion.tide_terms import terms_of
from stakeline.time import from_calendar

ISSUE = "bar of the project"
MODEL = MotionModel(1e-3, np.inf, (0.005,), (0.1,))
YEAR_D = 365.25
TIMES = 3


def year(interval_s, seed=0):
    """Return times (n,) and positions (n, 3) of a year. [ns], [m]"""
    rng = np.random.default_rng(seed)
    count = round(YEAR_D * 86400 / interval_s)
    time_ns = from_calendar(2030, 5, 1) + np.arange(count) * round(interval_s * NS_PER_S)
    days = (time_ns - time_ns[0]) / NS_PER_DAY
    position = rng.normal(0.0, 0.005, (count, 3))
    position[:, 0] += 1.1 * days + 0.2 * np.sin(2.0 * np.pi * days / YEAR_D)
    return time_ns, position


def smoothed(time_ns, position, design=None):
    """Smooth three axes; return the seconds it took."""
    sigma = np.full(len(time_ns), 0.005)
    begin = time.perf_counter()
    for axis in range(3):
        found = smooth(time_ns, position[:, axis], sigma, MODEL, design)
    took = time.perf_counter() - begin
    assert np.isfinite(found.velocity_m_d).all()
    return took


def tide_and_steps(time_ns):
    """Return regressors (n, 18): eight constituents and two steps."""
    steps = time_ns[:, None] >= time_ns[[len(time_ns) // 3, len(time_ns) // 2]]
    return np.hstack([terms_of(time_ns).design(time_ns), steps])


def one_year(with_design):
    """Return (seconds, greatest memory [GB], rows) of a year at 30 s, in this process."""
    time_ns, position = year(30.0)
    smoothed(time_ns[:2000], position[:2000])
    design = tide_and_steps(time_ns) if with_design else None
    took = min(smoothed(time_ns, position, design) for _ in range(TIMES))
    return took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6, len(time_ns)


def station_year(seed):
    return smoothed(*year(300.0, seed))


def many(pool):
    """Return the seconds of 25 station-years at 5 min on two cores."""
    begin = time.perf_counter()
    list(pool.map(station_year, range(25)))
    return time.perf_counter() - begin


def whole(table):
    """Say what everything costs that is done to a station-year at 5 min."""
    time_ns, position = year(300.0)
    series = StationSeries("HV01", time_ns, position, covariance_of(np.full(position.shape, 0.005)))
    begin = time.perf_counter()
    solve_motion(series)
    took = time.perf_counter() - begin
    table.say(f"all that is done to a station-year at 5 min (once, cold): {took:.0f} s")


def main():
    table = Table("Cost of the smoother")
    alone = multiprocessing.get_context("spawn")
    for with_design, name in ((False, "plain"), (True, "18 regressors")):
        with ProcessPoolExecutor(1, mp_context=alone) as pool:
            took, memory, rows = pool.submit(one_year, with_design).result()
        table.line(f"{rows} epochs at 30 s, 3 axes, {name}", took, 10.0, "s", ISSUE)
        table.line(f"the same: greatest memory, {name}", memory, 1.5, "GB", ISSUE)
    with ProcessPoolExecutor(2, mp_context=alone) as pool:
        list(pool.map(station_year, range(2)))
        took = min(many(pool) for _ in range(TIMES))
    table.line("25 station-years at 5 min, 3 axes, two cores", took, 60.0, "s", ISSUE)
    whole(table)
    table.end()


if __name__ == "__main__":
    main()
