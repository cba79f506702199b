"""Decisions on invented campaigns with known truth, through the functions of the verb ``decide``.

    python validation/decide_scenarios.py [N]

N campaigns (300) of 504 days for the share of false alarms; a fifth of them (at most 100) for
estimates; a thirtieth (at most 40) for whole verdicts of each scenario. Exit code 1
where one falls short; with few campaigns bars may be missed by chance. No data are read.

Positions are made every 3 h with the red noise of real antennas and flicker that all stations
share; a daily speed is the slope of a straight line through the positions of its day, as the
windows of the verb ``motion`` are. Onsets carry an error of 0.3 d and samples of it. In ``quiet``
no lake drains: three events, some 165 days apart, are dealt out evenly over the record. Stations:
two between the lakes, three below the lower lake, one far up-glacier that must not respond; for the
speed of the response eight on one route.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace

import numpy as np
from _measured import Table
from scipy.stats import kstest

from stakeline.campaign.decide_settings import DecidePart
from stakeline.constants import DAYS_PER_YEAR
from stakeline.inference.permutation import permutation_test
from stakeline.inference.propagation import draw_lags, propagation
from stakeline.inference.response import fit_response
from stakeline.inference.shape import Events
from stakeline.simulate.campaign import DAY_S, Invented
from stakeline.simulate.flood import reach
from stakeline.simulate.position_noise import common_noise, noise_of_positions
from stakeline.simulate.scenario import scenario_of
from stakeline.simulate.stations import make_site
from stakeline.workflows.decide import solve_questions
from stakeline.workflows.decide_record import Question, Speeds
from stakeline.workflows.decide_station import shape_grid, usual_choices
from stakeline.workflows.decide_together import rest_of, windows_of
from stakeline.workflows.decide_verdict import decisions

ISSUE, OWN = "bar of the project", "own bar"
PART = DecidePart()
DAYS = 504
STEP_S = 3.0 * 3600.0
ONSET_SIGMA_D, SAMPLES = 0.3, 16
BETWEEN, BELOW, PLACEBO = ("HV05", "HV06"), ("HV10", "HV11", "HV12"), "HV01"
ROUTE_M = np.linspace(53.5e3, 74.5e3, 8)  # m along the flow: eight stations below the lower lake
FOUR = replace(scenario_of("flood-fast"), response=0.04 / 0.9)  # about 4 % where ice responds most


def speeds_of(world, name):
    """Return (percent (n,), sigma (n,), usual speed) of one station, day by day."""
    time_s = np.arange(0.0, world.days * DAY_S, STEP_S)
    time_ns = world.time_ns(time_s)
    error = noise_of_positions(world.stream(name, "noise"), time_ns)[0][:, 0]
    error = error + common_noise(world.stream("common"), time_ns)[:, 0]
    way = (world.marker(name).flow.travelled_m(time_s) + error).reshape(world.days, -1)
    since = (time_s[: way.shape[1]] - time_s[: way.shape[1]].mean()) / DAY_S
    slope = way @ since / (since @ since)
    left = way - way.mean(axis=1)[:, None] - slope[:, None] * since
    sigma = np.sqrt((left**2).sum() / (left.size - 2 * len(left)) / (since @ since))
    usual = float(np.median(slope))
    return 100.0 * slope / usual, np.full(world.days, 100.0 * sigma / usual), usual


def events_of(world, lake, rng):
    """Return (Events, sizes) of a lake, or of days dealt out where nothing drains. [d], [m3]"""
    true = [e for e in world.water.events if e.lake == world.glacier.lakes[lake].name]
    onset = np.array([e.onset_s / DAY_S for e in true])
    length = np.array([(e.end_s - e.onset_s) / DAY_S for e in true])
    if not true:
        apart = rng.uniform(150.0, 185.0, 3).cumsum()
        onset = np.sort((rng.uniform(0.0, world.days) + apart) % world.days)
        length = rng.uniform(6.0, 12.0, 3)
    inside = (onset > PART.before_d) & (onset < world.days - PART.after_d)
    onset, length = onset[inside], length[inside]
    seen = onset + rng.normal(0.0, ONSET_SIGMA_D, len(onset))
    draws = seen[:, None] + rng.normal(0.0, ONSET_SIGMA_D, (len(seen), SAMPLES))
    lasts = length[:, None] + rng.normal(0.0, 2.0 * ONSET_SIGMA_D, draws.shape)
    size = np.array([e.volume_m3 for e in true] or [1.0, 2.0, 3.0])
    return Events(draws, draws + np.maximum(lasts, 1.0)), size[: len(seen)] if not true else size[
        inside
    ]


def question_of(world, lake, names, rng, speeds):
    """Return the :class:`Question` of one lake."""
    events, size = events_of(world, lake, rng)
    rows = [Speeds(n, *speeds[n], reach(world.glacier, world.water, lake, world.sites[n])[0] / 1e3)
            for n in names]  # fmt: skip
    days = np.arange(world.days) + 0.5
    placebos = (Speeds(PLACEBO, *speeds[PLACEBO]),) if PLACEBO in speeds else ()
    numbers = tuple(f"event {k + 1}" for k in range(len(events)))
    return Question(
        world.glacier.lakes[lake].name, 0, days, tuple(rows), placebos, events, numbers, size,
        0.2 * size,
    )  # fmt: skip


def campaign(seed, scenario):
    """Return (world, questions of both lakes)."""
    world = Invented(seed, scenario, DAYS, 14)
    rng = np.random.default_rng([1901, seed])
    speeds = {name: speeds_of(world, name) for name in (*BETWEEN, *BELOW, PLACEBO)}
    return world, [question_of(world, k, names, rng, speeds)
                   for k, names in enumerate((BETWEEN, BELOW))]  # fmt: skip


def false_alarm(task):
    """Return the p of the main test of each lake where no ice responds."""
    seed, name = task
    _, asked = campaign(seed, scenario_of(name))
    rng = np.random.default_rng([1902, seed])
    return [
        permutation_test(q.days, rest_of(PART, q), q.events.onset, windows_of(PART), rng,
                         PART.permutations).p
        for q in asked
    ]  # fmt: skip


def estimated(seed):
    """Return (change found less true, inside, lag found less true, inside) of each station."""
    world, asked = campaign(seed, FOUR)
    rows = []
    for question in asked:
        for speeds in question.responding:
            fit = fit_response(question.days, speeds.percent, question.events, shape_grid(PART),
                               usual_choices(PART, question), speeds.sigma_percent)  # fmt: skip
            size, lag = truth(world, question, speeds)
            rows.append((
                fit.amplitude - size, fit.interval[0] <= size <= fit.interval[1], fit.lag - lag,
                fit.lag_interval[0] <= lag <= fit.lag_interval[1],
            ))  # fmt: skip
    return rows


def truth(world, question, speeds):
    """Return (mean change on the plateau [%], mean lag of its begin [d]) of a station's answers."""
    flow = world.marker(speeds.station).flow
    own = [a for a in flow.answers if a.event.lake == question.lake]
    own = own[: len(question.events)]
    size = np.mean([a.size for a in own]) * 100.0
    grown = flow.speed_m_d * np.exp(flow.stretch_a * 0.5 * DAYS / DAYS_PER_YEAR)
    lag = np.mean([(a.begin_s - a.event.onset_s) / DAY_S for a in own])
    return size * grown / speeds.usual_m_d, lag


def along_route(seed):
    """Return (true, found, low, high slowness [d/km]) of a response past eight stations."""
    world = Invented(seed, scenario_of("flood-fast"), DAYS, 14)
    names = [f"HR{k:02d}" for k in range(len(ROUTE_M))]
    for name, flow_m in zip(names, ROUTE_M, strict=True):
        world.sites[name] = make_site(world.glacier, name, flow_m, 0.0, "on the route")
    rng = np.random.default_rng([1903, seed])
    question = question_of(world, 1, names, rng, {n: speeds_of(world, n) for n in names})
    lags = []
    for speeds in question.responding:
        fit = fit_response(question.days, speeds.percent, question.events, shape_grid(PART),
                           usual_choices(PART, question), speeds.sigma_percent)  # fmt: skip
        lags.append(draw_lags(fit.shapes[:, 0], fit.weights, rng))
    found = propagation([s.distance_km for s in question.responding], np.array(lags))
    true = 1000.0 / world.water.speed_m_s / DAY_S
    return true, found.slowness, *found.interval


def whole(task):
    """Return the Decision of all lakes of one campaign, its outcome and what is said of it."""
    seed, name = task
    _, asked = campaign(seed, scenario_of(name))
    lakes, _ = solve_questions(PART, asked)
    every, _ = decisions(PART, lakes)
    return every.outcome, len(every.weakening), every.pooled.effect, every.p


def false_alarms(table, pool, count):
    for name in ("quiet", "no-response"):
        p = np.array(list(pool.map(false_alarm, [(s, name) for s in range(count)], chunksize=4)))
        rate = 100.0 * np.mean(p <= 0.05)
        table.line(f"{name}: false alarms at 5 %, {p.size} tests, least", rate, 3.7, "%", ISSUE,
                   least=True)  # fmt: skip
        table.line(f"{name}: false alarms at 5 %, most", rate, 6.4, "%", ISSUE)
        both = 100.0 * np.mean(np.minimum(1.0, 2.0 * p.min(axis=1)) <= 0.05)
        table.line(f"{name}: both lakes together, paid for, most", both, 6.4, "%", ISSUE)
        uniform = kstest(p.ravel(), "uniform").pvalue
        table.say(f"{name}: p uniform, by Kolmogorov: {uniform:.2g}")


def estimates(table, pool, count):
    rows = np.array([r for rows in pool.map(estimated, range(count)) for r in rows], float)
    table.say(f"{len(rows)} stations of {count} campaigns that respond by about 4 %:")
    bias, inside, lag, lag_inside = rows.T
    table.say(f"change found less true: mean {bias.mean():+.2f} %, sigma {bias.std():.2f} %")
    share = 100.0 * inside.mean()
    table.line("95 % interval holds the change, least", share, 92.0, "%", ISSUE, least=True)
    table.line("95 % interval holds the change, most", share, 97.0, "%", ISSUE)
    holds = 100.0 * lag_inside.mean()
    table.say(f"lag found less true: mean {lag.mean():+.2f} d, sigma {lag.std():.2f} d; its "
              f"interval holds the truth in {holds:.0f} %")  # fmt: skip
    near = 100.0 * np.mean(np.abs(lag) <= 1.0)
    table.line("lag within 1 d at about 4 %", near, 95.0, "%", OWN, least=True)
    rms = np.sqrt(np.mean(lag**2))
    table.line("lag at about 4 %, root mean square error", rms, 1.0, "d", ISSUE)


def speed(table, pool, count):
    true, found, low, high = np.array(list(pool.map(along_route, range(count)))).T
    error = np.abs(true / found - 1.0)
    told = low > 0.0
    table.say(f"eight stations over {np.ptp(ROUTE_M) / 1e3:.0f} km, {count} campaigns: speed told "
              f"(interval without 0) in {100.0 * told.mean():.0f} %")  # fmt: skip
    table.line("speed along the route, median error", 100.0 * np.median(error), 30.0, "%", ISSUE)
    table.say(f"within 30 % in {100.0 * np.mean(error <= 0.3):.0f} % of campaigns")
    inside = 100.0 * np.mean((low <= true) & (true <= high))
    table.line("interval of the slowness holds the truth", inside, 90.0, "%", OWN, least=True)


def verdicts(table, pool, count):
    wanted = {"flood-fast": "faster", "flood-slow": "slower"}
    for name in ("flood-fast", "flood-slow", "no-response", "quiet", "melt-confounded"):
        found = list(pool.map(whole, [(s, name) for s in range(count)]))
        outcomes = [f[0] for f in found]
        counted = ", ".join(f"{outcomes.count(o)} {o}" for o in sorted(set(outcomes)))
        table.say(f"{name}, {count} campaigns: {counted}")
        if name in wanted:
            sign = 100.0 * np.mean([np.sign(f[2]) == (1 if name == "flood-fast" else -1)
                                    for f in found])  # fmt: skip
            table.line(
                f"{name}: direction of the change right", sign, 100.0, "%", ISSUE, least=True
            )
            right = 100.0 * outcomes.count(wanted[name]) / count
            table.line(f"{name}: verdict '{wanted[name]}'", right, 90.0, "%", OWN, least=True)
            continue
        claims = [f for f in found if f[0] in wanted.values()]
        if name != "melt-confounded":
            table.line(
                f"{name}: verdicts of a change", 100.0 * len(claims) / count, 6.4, "%", ISSUE
            )
            continue
        caught = 100.0 * (1.0 - len(claims) / count)
        table.line(f"{name}: not called a response", caught, 90.0, "%", ISSUE, least=True)
        silent = sum(f[1] == 0 and f[0] != "no change larger" for f in found)
        table.line(f"{name}: without a warning", silent, 0.0, "", ISSUE)


def main():
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    false_alarm((0, "quiet"))  # compiles before workers start
    table = Table(f"Decisions on invented campaigns, {count} for false alarms")
    with ProcessPoolExecutor(2) as pool:
        false_alarms(table, pool, count)
        estimates(table, pool, min(max(count // 5, 4), 100))
        speed(table, pool, min(max(count // 5, 4), 100))
        verdicts(table, pool, min(max(count // 30, 4), 40))
    table.end()


if __name__ == "__main__":
    main()
