"""Decisions on invented campaigns with known truth, through the functions of the verb ``decide``.

    python validation/decide_scenarios.py [N]

N campaigns (20; the full run has 100) of 504 days for estimates, the same for speeds along the
route and faint changes; a tenth of them, two or more, for whole verdicts of each scenario. Exit
code 1 where one falls short. No data are read. False alarms of the main test are counted in
`decide_false_alarms.py`, power told and found in `decide_power.py`.

Shortcuts: no receiver files and no motion. Positions are made every 3 h with the red noise of real
antennas and flicker that all stations share; a daily speed is the slope of a straight line through
the positions of its day, and its way their mean, as the windows of the verb ``motion`` are. Onsets
carry an error of 0.3 d and samples of it. Melt is read off the invented weather station at the
lowest station. Stations: two between the lakes, three below the lower lake, one far up-glacier that
must not respond; for the speed of the response eight on one route. Outages are left out. Changes of
10, 4 and 2 % hold for the time that the water runs, 4 to 14 d, and die away after. Shares of
stations carry the chance of the campaigns that they come from. The main test is made with speeds
from day to day, as it is, and with slopes of days, for a change of 0.7 %.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
from _decide_campaigns import DAYS, LAKES, PART, campaign, question_of, speeds_of, tested, verdict
from _measured import Table

from stakeline.constants import DAYS_PER_YEAR
from stakeline.inference.arrival import arrival_speed
from stakeline.inference.response import fit_response
from stakeline.simulate.campaign import DAY_S, Invented
from stakeline.simulate.scenario import scenario_of
from stakeline.simulate.stations import make_site
from stakeline.workflows.decide_arrival import arrival_times, arrivals_of
from stakeline.workflows.decide_station import shape_grid, usual_choices

ISSUE, OWN = "bar of the project", "own bar"
WIDE = "bar of the project 92 to 97 %, and chance by campaigns"
ROUTE_M = np.linspace(53.5e3, 74.5e3, 8)  # m along the flow: eight stations below the lower lake
MEAN_ANSWER = 0.72  # mean answer over the greatest, by stations and events of 12 campaigns
ALPHA = 0.05
FAINT = 0.7  # %, which the main test does not always see in slopes of days
SIZES, SIGNS = (10.0, 4.0, 2.0), {"flood-fast": 1.0, "flood-slow": -1.0}


def sensed(seed):
    """Return p of the main test (2, 3) at a faint change: as it is, and with slopes of days."""
    _, asked = campaign(seed, responding("flood-fast", FAINT))
    slopes = [
        replace(q, responding=tuple(replace(s, way_percent_d=None) for s in q.responding))
        for q in asked
    ]
    return tested(PART, asked), tested(PART, slopes)


def estimated(task):
    """Return (change found, true, inside, lag found less true, inside) of each station."""
    seed, name, size = task
    world, asked = campaign(seed, responding(name, size))
    rows = []
    for question in asked:
        for speeds in question.responding:
            fit = fit_response(question.days, speeds.percent, question.events, shape_grid(PART),
                               usual_choices(PART, question), speeds.sigma_percent)  # fmt: skip
            true, lag = truth(world, question, speeds)
            rows.append((
                fit.amplitude, true, fit.interval[0] <= true <= fit.interval[1], fit.lag - lag,
                fit.lag_interval[0] <= lag <= fit.lag_interval[1],
            ))  # fmt: skip
    return rows


def responding(name, size):
    """Return a scenario whose answers are ``size`` [%] in the mean over stations and events."""
    scenario = scenario_of(name)
    return replace(scenario, response=np.sign(scenario.response) * size / 100.0 / MEAN_ANSWER)


def truth(world, question, speeds):
    """Return (mean change on the plateau [%], mean lag of its begin [d]) of a station's answers.

    The invented rise is smooth: it begins, as a straight one would, where the tangent through its
    middle leaves the ground, a sixth of its length later.
    """
    flow = world.marker(speeds.station).flow
    own = [a for a in flow.answers if a.event.lake == question.lake]
    own = own[: len(question.events)]
    size = np.mean([a.size for a in own]) * 100.0
    grown = flow.speed_m_d * np.exp(flow.stretch_a * 0.5 * DAYS / DAYS_PER_YEAR)
    lag = np.mean([(a.begin_s + a.rise_s / 6.0 - a.event.onset_s) / DAY_S for a in own])
    return size * grown / speeds.usual_m_d, lag


def along_route(task):
    """Return (true, found, low, high slowness [d/km]) of a response past eight stations."""
    seed, size = task
    world = Invented(seed, responding("flood-fast", size), DAYS, 14)
    names = [f"HR{k:02d}" for k in range(len(ROUTE_M))]
    for name, flow_m in zip(names, ROUTE_M, strict=True):
        world.sites[name] = make_site(world.glacier, name, flow_m, 0.0, "on the route")
    rng = np.random.default_rng([1903, seed])
    question = question_of(world, 1, names, rng, {n: speeds_of(world, n) for n in names})
    rows = np.array([arrivals_of(PART, question, speeds) for speeds in question.responding])
    places = [speeds.distance_km for speeds in question.responding]
    found = arrival_speed(places, arrival_times(PART), rows)
    return 1000.0 / world.water.speed_m_s / DAY_S, found.slowness, *found.interval


def whole(task):
    """Return the :func:`verdict` of one campaign; ``weather`` tells whether melt is known."""
    seed, name, weather = task
    _, asked = campaign(seed, scenario_of(name))
    return verdict(PART, asked if weather else [replace(q, causes={}) for q in asked])


def faint(table, pool, count):
    p = np.array(list(pool.map(sensed, range(count), chunksize=2)))
    ways, slopes = 100.0 * np.mean(p <= ALPHA, axis=0)
    for lake, share, other in zip(LAKES, ways, slopes, strict=True):
        table.line(f"main test, {FAINT:g} %, {lake}: seen, beside {other:.0f} % in slopes", share,
                   other, "%", OWN, least=True)  # fmt: skip


def estimates(table, pool, count):
    cases = [(name, size) for size in SIZES for name in SIGNS]
    tasks = [(seed, *case) for seed in range(count) for case in cases]
    found = list(pool.map(estimated, tasks, chunksize=len(cases)))
    for place, (name, size) in enumerate(cases):
        told_estimates(table, name, size, found[place :: len(cases)])


def chance_of(campaigns):
    """Return 1.96 standard deviations of a share of stations that ought to be 95 %. [%]

    By the scatter of campaigns, whose stations share noise, or by that of stations where it is
    larger: a few campaigns without a miss do not show that there is no chance.
    """
    by_campaign = [np.mean([row[2] for row in rows]) for rows in campaigns]
    stations = np.mean([len(rows) for rows in campaigns])
    least = np.sqrt(ALPHA * (1.0 - ALPHA) / stations)
    return 196.0 * max(np.std(by_campaign), least) / np.sqrt(len(campaigns))


def told_estimates(table, name, size, campaigns):
    rows = np.array([row for rows in campaigns for row in rows], float)
    change, true, inside, lag, lag_inside = rows.T
    called = f"{name} at {size:g} %"
    table.say(f"{called}, {len(rows)} stations of {len(campaigns)} campaigns: found less true "
              f"{np.mean(change - true):+.2f} %, sigma {np.std(change - true):.2f} %; lag "
              f"{lag.mean():+.2f} d, sigma {np.std(lag):.2f} d")  # fmt: skip
    right = 100.0 * np.mean(SIGNS[name] * change > 0.0)
    bar = {10.0: 100.0, 4.0: 100.0, 2.0: 95.0}[size]
    table.line(f"{called}: sign right", right, bar, "%", OWN, least=True)
    share, chance = 100.0 * inside.mean(), chance_of(campaigns)
    table.line(f"{called}: 95 % interval holds it, least", share, 92.0 - chance, "%", WIDE,
               least=True)  # fmt: skip
    table.line(f"{called}: 95 % interval holds it, most", share, 97.0 + chance, "%", WIDE)
    table.line(f"{called}: 95 % interval holds the lag", 100.0 * lag_inside.mean(), 92.0 - chance,
               "%", WIDE, least=True)  # fmt: skip
    if size == 4.0:
        near = 100.0 * np.mean(np.abs(lag) <= 1.0)
        table.line(f"{called}: lag within 1 d", near, 95.0, "%", OWN, least=True)
        rms = np.sqrt(np.mean(lag**2))
        table.line(f"{called}: lag, root mean square error", rms, 1.0, "d", ISSUE)


def speed(table, pool, count):
    for size in (10.0, 4.0):
        tasks = [(seed, size) for seed in range(count)]
        true, found, low, high = np.array(list(pool.map(along_route, tasks))).T
        error = np.abs(true / found - 1.0)
        table.say(f"{size:g} %, eight stations over {np.ptp(ROUTE_M) / 1e3:.0f} km, {count} "
                  f"campaigns: speed told (interval without 0) in {100 * np.mean(low > 0):.0f} %, "
                  f"median error {100 * np.median(error):.0f} %")  # fmt: skip
        near = 100.0 * np.mean(error <= 0.3)
        table.line(f"speed along the route within 30 % at {size:g} %", near, 90.0, "%", ISSUE,
                   least=True)  # fmt: skip
        inside = 100.0 * np.mean((low <= true) & (true <= high))
        table.line(f"interval of the slowness holds it at {size:g} %", inside, 90.0, "%", OWN,
                   least=True)  # fmt: skip


def verdicts(table, pool, count):
    wanted = {"flood-fast": "faster", "flood-slow": "slower"}
    cases = [(n, True) for n in (*wanted, "no-response", "quiet")] + [("melt-confounded", False)]
    for name, weather in cases:
        found = list(pool.map(whole, [(s, name, weather) for s in range(count)]))
        outcomes = [f[0] for f in found]
        counted = ", ".join(f"{outcomes.count(o)} {o}" for o in sorted(set(outcomes)))
        called = name if weather else f"{name} without weather"
        table.say(f"{called}, {count} campaigns: {counted}")
        claims = [f for f in found if f[0] in wanted.values()]
        if name in wanted:
            right = 100.0 * outcomes.count(wanted[name]) / count
            table.line(f"{called}: verdict '{wanted[name]}'", right, 90.0, "%", OWN, least=True)
            continue
        share = 100.0 * len(claims) / count
        table.line(f"{called}: verdicts of a change", share, 10.0, "%", OWN)
        silent = sum(f[1] == 0 for f in claims)
        if name == "melt-confounded":
            table.line(f"{called}: a response without a warning", silent, 0.0, "", ISSUE)


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    sensed(0)  # compiles before workers start
    table = Table(f"Decisions on invented campaigns, {count} of each for estimates")
    with ProcessPoolExecutor(2) as pool:
        faint(table, pool, count)
        estimates(table, pool, count)
        speed(table, pool, count)
        verdicts(table, pool, max(count // 10, 2))
    table.end()


if __name__ == "__main__":
    main()
