"""How often the main test of ``decide`` calls a change where no ice responds, melt or no melt.

    python validation/decide_false_alarms.py [N]

N invented campaigns (1000) of 504 days each of ``quiet``, ``no-response`` and ``melt-confounded``,
as in `decide_scenarios.py`. Bars of shares of false alarms are the 95 % band of chance around 5 %
for the number of campaigns: 3.65 to 6.35 % for 1000. In ``quiet`` no lake drains: three events,
some 165 days apart, are dealt out evenly over the record. In ``melt-confounded`` the whole verdict
is only worked out where the main test is at or below 5 %: without it no change is ever told; and
not where melt explains more than half of a lake's change, which forbids to tell one. The test that
assumes independence beside the main test is the t test of one shape (half a day, a rise of a day)
in the mean speed of a lake's stations without trend and season, days taken as independent. Exit
code 1 where one falls short. No data are read.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
from _decide_campaigns import LAKES, PART, campaign, tested, verdict
from _measured import Table
from scipy.stats import kstest

from stakeline.inference.baseline import without_baseline
from stakeline.inference.counter_tests import other_causes
from stakeline.inference.permutation import permutation_test
from stakeline.inference.response import fit_response
from stakeline.inference.shape import Events, ShapeGrid
from stakeline.inference.verdict import LARGE_SHARE
from stakeline.simulate.scenario import scenario_of
from stakeline.workflows.decide_melt import MELT, melt_columns
from stakeline.workflows.decide_station import mean_of, shape_grid, usual_baseline, usual_choices
from stakeline.workflows.decide_together import windows_of

COUNT = 1000
ISSUE, OWN = "bar of the project", "own bar"
ALPHA = 0.05
BLIND = PART.model_copy(update={"take_off_melt": False})
ONE = ShapeGrid((0.5,), (1.0,), (0.0,), (5.0,), as_event=True)


def false_alarm(task):
    """Return the p of the main test where no ice responds: with melt taken off, and without.

    The third row is that of a test which takes days as independent, without melt taken off.
    """
    seed, name = task
    _, asked = campaign(seed, scenario_of(name))
    alone = [independent(question) for question in asked]
    return tested(PART, asked), tested(BLIND, asked), [*alone, min(alone)]


def independent(question):
    """Return the p of one shape in the mean speed, days taken as independent."""
    choices = replace(usual_choices(BLIND, question), noise="white")
    mean = mean_of([speeds.percent for speeds in question.responding])
    return fit_response(question.days, mean, median_of(question.events), ONE, choices).p


def median_of(events):
    """Return the events at the medians of their times."""
    return Events(events.middle, np.median(events.end, axis=1))


def confounded(seed):
    """Return (p with melt taken off, p without, p of melt's own change, verdict or None)."""
    _, asked = campaign(seed, scenario_of("melt-confounded"))
    known, blind = tested(PART, asked)[2], tested(BLIND, asked)[2]
    of_melt = []
    for question in asked:
        rest = without_baseline(question.days, question.causes[MELT], usual_baseline(question))
        rng = np.random.default_rng([1902, seed])
        of_melt.append(
            permutation_test(question.days, rest, question.events.onset, windows_of(PART), rng).p
        )
    if known > ALPHA:
        return known, blind, min(of_melt), None
    if any(explained_by_melt(question) > LARGE_SHARE for question in asked):
        return known, blind, min(of_melt), ("cannot tell", 1, np.nan, known)
    return known, blind, min(of_melt), verdict(PART, asked)


def explained_by_melt(question):
    """Return the share of the change of the mean speed that melt explains, as ``decide`` does."""
    mean = mean_of([speeds.percent for speeds in question.responding])
    choices = replace(usual_choices(PART, question), baseline=usual_baseline(question))
    found = other_causes(
        question.days, mean, {MELT: melt_columns(question.causes[MELT])}, question.events,
        shape_grid(PART), windows_of(PART), np.random.default_rng([PART.seed, 3]), choices,
    )  # fmt: skip
    return found[0].explained


def band(count):
    """Return the least and greatest share of 5 % that chance allows in so many tests. [%]"""
    half = 1.96 * np.sqrt(ALPHA * (1.0 - ALPHA) / count)
    return 100.0 * (ALPHA - half), 100.0 * (ALPHA + half)


def false_alarms(table, pool, count):
    low, high = band(count)
    for name in ("quiet", "no-response"):
        found = list(pool.map(false_alarm, [(s, name) for s in range(count)], chunksize=4))
        p, blind, alone = np.array(found).swapaxes(0, 1)
        for column, lake in enumerate(LAKES):
            rate = 100.0 * np.mean(p[:, column] <= ALPHA)
            line = f"{name}: false alarms at 5 %, {lake}"
            table.line(f"{line}, least", rate, low, "%", ISSUE, least=True)
            table.line(f"{line}, most", rate, high, "%", ISSUE)
            without = 100.0 * np.mean(blind[:, column] <= ALPHA)
            table.say(f"the same without weather: {without:.1f} %")
        naive = 100.0 * np.mean(alone[:, :2] <= ALPHA)
        table.line(f"{name}: false alarms where days are independent", naive, 15.0, "%", OWN,
                   least=True)  # fmt: skip
        uniform = kstest(p[:, 2], "uniform").pvalue
        table.say(f"{name}: p uniform, by Kolmogorov: {uniform:.2g}")


def melt(table, pool, count):
    found = list(pool.map(confounded, range(count), chunksize=4))
    known, blind, of_melt = np.array([f[:3] for f in found]).T
    table.say(f"melt-confounded, {count} campaigns: p at or below 5 % in "
              f"{100 * np.mean(blind <= ALPHA):.0f} % where melt is not taken off, in "
              f"{100 * np.mean(known <= ALPHA):.0f} % where it is; melt itself changes with the "
              f"drainages in {100 * np.mean(of_melt <= ALPHA):.0f} %")  # fmt: skip
    claims = [f[3] for f in found if f[3] is not None and f[3][0] in ("faster", "slower")]
    misled = max(np.sum(blind <= ALPHA), 1)
    caught = 100.0 * (1.0 - len(claims) / misled)
    table.line("melt-confounded: caught of those told without melt", caught, 90.0, "%", ISSUE,
               least=True)  # fmt: skip
    silent = sum(claim[1] == 0 for claim in claims)
    table.line("melt-confounded: a response without a warning", silent, 0.0, "", ISSUE)


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else COUNT
    false_alarm((0, "quiet"))  # compiles before workers start
    table = Table(f"False alarms of the main test, {count} campaigns of each scenario")
    with ProcessPoolExecutor(2) as pool:
        false_alarms(table, pool, count)
        melt(table, pool, count)
    table.end()


if __name__ == "__main__":
    main()
