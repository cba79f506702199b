"""How long the main test takes on 25 stations and three years of days, and that a seed fixes it.

    python validation/decide_speed.py

Exit code 1 where one falls short. No data are read. Two lakes drain 13 times in all, each onset
known by 20 equally likely times; all series are red; 10,000 draws shift the drainages of each lake
around the record. The test runs on one core. Stretches of draws, worked apart as a cluster does,
give the same p.
"""

import time
from itertools import pairwise

import numpy as np
from _measured import Table

from stakeline.inference.permutation import Windows, chance, conclude, plan_shifts

ISSUE, LAW = "bar of the project, two cores", "law"
DAYS, SERIES, DRAWS = 1096, 25, 10_000
WINDOWS = Windows(10, 10, tuple(range(6)))
PARTS = 7  # stretches of draws


def record(generator):
    """Return days (n,) and red series (series, n)."""
    values = generator.standard_normal((SERIES, DAYS))
    for i in range(1, DAYS):
        values[:, i] += 0.9 * values[:, i - 1]
    return np.arange(float(DAYS)), values


def planned(seed):
    """Return the ShiftPlan of the draws of a seed; the record is always the same."""
    generator = np.random.default_rng([1905, 0])
    days, values = record(generator)
    onsets = np.arange(60.0, 1040.0, 80.0)
    when = onsets[:, None] + generator.normal(0.0, 2.0, (len(onsets), 20))
    lakes = np.arange(len(onsets)) % 2
    return plan_shifts(days, values, when, WINDOWS, np.random.default_rng(seed), DRAWS, lakes)


def main():
    table = Table(f"The main test on {SERIES} stations, {DAYS} days, {DRAWS} draws")
    begin = time.perf_counter()
    plan = planned(7)
    whole = chance(plan, 0, DRAWS)
    result = conclude(plan, whole)
    first = time.perf_counter() - begin
    begin = time.perf_counter()
    again_plan = planned(7)
    again = conclude(again_plan, chance(again_plan, 0, DRAWS))
    second = time.perf_counter() - begin
    table.line("time, kernels still to be loaded", first, 60.0, "s", ISSUE)
    table.line("time once they are", second, 60.0, "s", ISSUE)
    table.line("draws made", result.draws, DRAWS, "", ISSUE, least=True)
    table.line("p of the same seed, difference", abs(result.p - again.p), 0.0, "", ISSUE)
    ends = np.linspace(0, DRAWS, PARTS + 1).astype(int)
    parts = [chance(plan, a, b - a) for a, b in pairwise(ends)]
    apart = conclude(plan, np.concatenate(parts))
    table.line("p of stretches worked apart, difference", abs(result.p - apart.p), 0.0, "", LAW)
    other = planned(8)
    other = conclude(other, chance(other, 0, DRAWS))
    table.line("p of another seed differs", result.p != other.p, 1, "", LAW, least=True)
    table.say(f"p = {result.p:.4f}, another seed {other.p:.4f}")
    table.end()


if __name__ == "__main__":
    main()
