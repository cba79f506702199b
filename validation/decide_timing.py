"""Which changes are refused because they began before their events: those that did, and others.

    python validation/decide_timing.py [N]

N invented campaigns (16) of ``no-response``, two lakes each. A change of 1, 2 and 4 % is put into
the mean of a lake's stations from 4 and 2 d before the true onsets on, from the onsets, and from
1.5 d after them, upward and downward by turns. Onsets carry an error of 0.3 d. Counted is what the
verdict would be refused for: a probability above :data:`SURELY` that the change began more than a
day before, or a change under way before with a p below :data:`UNDER_WAY`. The rule that was used
before, a probability above one half that it began before at all, stands beside it. Exit code 1
where one falls short; about a minute. No data are read.
"""

import sys
from concurrent.futures import ProcessPoolExecutor

import numpy as np
from _decide_campaigns import PART, campaign, true_events
from _measured import Table

from stakeline.inference.counter_tests import pre_trend, reverse_test
from stakeline.inference.shape import ShapeGrid, columns
from stakeline.inference.verdict import BEFORE, SURELY, UNDER_WAY
from stakeline.simulate.scenario import scenario_of
from stakeline.workflows.decide_station import mean_of, shape_grid, usual_choices

ISSUE, OWN = "bar of the project", "own bar"
LAGS, SIZES = (0.0, 1.5, -2.0, -4.0), (1.0, 2.0, 4.0)  # d, %
CLEAR = 2.0  # %, from which a change of a mean speed is clear


def refused(seed):
    """Return rows (lag, size, refused, refused by the rule used before) of one campaign."""
    world, asked = campaign(seed, scenario_of("no-response"))
    rows = []
    for question in asked:
        mean = mean_of([speeds.percent for speeds in question.responding])
        for lag in LAGS:
            one = ShapeGrid((lag,), (1.0,), (2.0,), (8.0,), as_event=True)
            events = true_events(world, question)
            response = columns(question.days, events, one, PART.window_d, 0).sum(axis=0)[:, 0]
            for size in SIZES:
                put_in = mean + (-size if seed % 2 else size) * response
                rows.append((lag, size, *doubted(question, put_in)))
    return rows


def doubted(question, values):
    """Return (refused, refused by the rule used before)."""
    asked = (question.days, values, question.events, shape_grid(PART), PART.earlier_d,
             usual_choices(PART, question))  # fmt: skip
    order, trend = reverse_test(*asked), pre_trend(*asked)
    return order.early > SURELY or trend.p < UNDER_WAY, order.before > BEFORE


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 16
    with ProcessPoolExecutor(2) as pool:
        rows = np.array([row for rows in pool.map(refused, range(count)) for row in rows], float)
    table = Table(f"Changes refused as begun before, {count} campaigns of two lakes")
    lag, size, now, before = rows.T
    for late in LAGS:
        for large in SIZES:
            own = (lag == late) & (size == large)
            table.say(f"from {late:+g} d on, {large:g} %: refused {100 * now[own].mean():.0f} %, "
                      f"by one half {100 * before[own].mean():.0f} %")  # fmt: skip
        if late >= 0.0:
            share = 100.0 * now[lag == late].mean()
            table.line(f"begun {late:g} d after the onset: refused", share, 3.0, "%", ISSUE)
            continue
        for large in [s for s in SIZES if s >= CLEAR]:
            share = 100.0 * now[(lag == late) & (size == large)].mean()
            table.line(f"begun {-late:g} d before the onset, {large:g} %: refused", share, 80.0,
                       "%", OWN, least=True)  # fmt: skip
    table.end()


if __name__ == "__main__":
    main()
