"""Speed of the permutations: 25 series, three years of days, 10,000 draws."""

import time

import numpy as np

from stakeline.inference.permutation import Windows, chance, conclude, permutation_test, plan_shifts

DAYS, SERIES, DRAWS = 1096, 25, 10_000
WINDOWS = Windows(20, 20, tuple(range(0, 30, 3)))


def record(generator):
    """Return days (n,) and red series (series, n)."""
    values = generator.standard_normal((SERIES, DAYS))
    for i in range(1, DAYS):
        values[:, i] += 0.9 * values[:, i - 1]
    return np.arange(float(DAYS)), values


def main():
    generator = np.random.default_rng(1)
    days, values = record(generator)
    onsets = np.arange(60.0, 1040.0, 80.0)
    lakes = np.arange(len(onsets)) % 2
    permutation_test(days[:200], values[:, :200], [90.0], WINDOWS, generator)
    for samples in (1, 20):
        when = onsets[:, None] + generator.normal(0.0, 2.0, (len(onsets), samples))
        begin = time.perf_counter()
        plan = plan_shifts(days, values, when, WINDOWS, generator, DRAWS, lakes)
        result = conclude(plan, chance(plan, 0, DRAWS))
        spent = time.perf_counter() - begin
        print(
            f"{SERIES} series, {DAYS} days, {len(onsets)} events of {samples} possible times, "
            f"{len(WINDOWS.lags)} lags, {result.draws} draws: {spent:.2f} s on one core (bar 10)"
        )


if __name__ == "__main__":
    main()
