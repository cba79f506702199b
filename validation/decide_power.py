"""Changes that ``decide`` says it would call in 80 of 100: how many it does call.

    python validation/decide_power.py [N [FIRST]]

N invented campaigns (60) of ``no-response``, as in `decide_scenarios.py`. The change that the verb
says it would call one in 80 of 100 is put in with the drainages themselves, upwards in every other
campaign, and decided upon by the whole verb: at each lake its own, then at both the one of both.
Held against each other are the mean power told and the share of verdicts that call the change what
it is; chance is that of campaigns, whose three verdicts share noise. Where the verb tells of no
such change nothing is put in. Some 35 s of a core each. Exit code 1 where it falls short. No data
are read.
"""

import sys
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from unittest.mock import patch

import numpy as np
from _decide_campaigns import LAKES, PART, campaign, true_events, with_change
from _measured import Table

from stakeline.simulate.scenario import scenario_of
from stakeline.workflows import decide, decide_station, decide_together
from stakeline.workflows.decide_power import trials_of
from stakeline.workflows.decide_verdict import decisions

COUNT, FIRST = 60, 600
ALPHA = 0.05
CALLED = "bar of the project 5, and chance by campaigns"


def decided(asked, power=True):
    """Return (Decision of all lakes, Decision of each), as the verb decides.

    Without the table of other choices and events one by one, on which no outcome hangs; without
    ``power`` told either.
    """
    with (
        patch.object(decide_station, "other_choices", lambda *given: {}),
        patch.object(decide_station._Station, "single", lambda *given: {}),
        patch.object(decide_together, "tests_otherwise", lambda *given: {}),
        patch.object(decide, "trials_of", trials_of if power else without_trials),
    ):
        return decisions(PART, decide.solve_questions(PART, asked)[0])


def without_trials(part, asked):
    """Return no trials: what could be seen is not asked."""
    return [None for _ in asked]


def powered(seed):
    """Return rows (told, called, p low, interval without 0, outcome) of each lake, then of both."""
    world, asked = campaign(seed, scenario_of("no-response"))
    every, each = decided(asked)
    sign = -1.0 if seed % 2 else 1.0
    rng = np.random.default_rng([1904, seed])

    def changed(sizes):
        pairs = zip(asked, sizes, strict=True)
        return decided([with_change(q, true_events(world, q), sign * s, rng)
                        for q, s in pairs], power=False)  # fmt: skip

    told = [d.smallest if np.isfinite(d.smallest) else 0.0 for d in (*each, every)]
    alone = changed(told[:-1])[1] if any(told[:-1]) else each
    both = changed(told[-1:] * len(asked))[0] if told[-1] else every
    wanted = "faster" if sign > 0.0 else "slower"
    rows = []
    for size, before, after in zip(told, (*each, every), (*alone, both), strict=True):
        if not size:
            rows.append((*[np.nan] * 4, "no change is told"))
            continue
        low, high = after.pooled.interval
        rows.append((before.power.at(size), after.outcome == wanted, after.p <= ALPHA,
                     low * high > 0.0, after.outcome))  # fmt: skip
    return rows


def main():
    numbers = [int(v) for v in sys.argv[1:]]
    count, first = (*numbers, *(COUNT, FIRST)[len(numbers) :])
    table = Table(f"Power told and found, {count} campaigns from seed {first}")
    with ProcessPoolExecutor(2) as pool:
        found = list(pool.map(powered, range(first, first + count)))
    rows = np.array([[row[:4] for row in one] for one in found], float)
    for k, (lake, (told, called, low, outside)) in enumerate(
        zip(LAKES, 100.0 * np.nanmean(rows, axis=0), strict=True)
    ):
        missed = Counter(one[k][4] for one in found if one[k][1] is not True)
        words = ", ".join(f"{many} {outcome}" for outcome, many in missed.most_common())
        table.say(f"{lake}: told {told:.0f} %, called {called:.0f} %, p at or below 5 % in "
                  f"{low:.0f} %, interval without 0 in {outside:.0f} %; else {words}")  # fmt: skip
    told, called = 100.0 * np.nanmean(rows[:, :, :2], axis=(0, 1))
    chance = 196.0 * np.nanstd(np.nanmean(rows[:, :, 1], axis=1)) / np.sqrt(count)
    table.say(f"all: told {told:.1f} %, called {called:.1f} %, chance {chance:.1f} points")
    table.line("changes told with 80 %: called, beside told", abs(called - told), 5.0 + chance,
               "points", CALLED)  # fmt: skip
    table.end()


if __name__ == "__main__":
    main()
