"""Invented campaigns as questions of the verb ``decide``: speeds, ways, events, melt."""

from dataclasses import replace
from functools import lru_cache

import numpy as np

from stakeline.campaign.decide_settings import DecidePart
from stakeline.inference.shape import Events, columns
from stakeline.simulate.campaign import DAY_S, Invented
from stakeline.simulate.flood import reach
from stakeline.simulate.position_noise import common_noise, noise_of_positions
from stakeline.simulate.scenario import scenario_of
from stakeline.workflows.decide import solve_questions
from stakeline.workflows.decide_melt import MELT
from stakeline.workflows.decide_record import Question, Speeds, spread_samples
from stakeline.workflows.decide_station import shape_grid
from stakeline.workflows.decide_together import LakeFound, main_test
from stakeline.workflows.decide_verdict import decisions, joint_p

PART = DecidePart()
LAKES = "upper lake", "lower lake", "both together"
DAYS = 504
STEP_S = 3.0 * 3600.0
ONSET_SIGMA_D, DRAWN = 0.3, 400  # samples of an onset, of which the verb takes some
BETWEEN, BELOW, PLACEBO = ("HV05", "HV06"), ("HV10", "HV11", "HV12"), "HV01"
LOWEST = "HV14"  # there stands the lower weather station of the invented campaign


@lru_cache(maxsize=16)
def error_of(seed, name):
    """Return the errors of positions (m,) along the flow; no scenario changes them. [m]"""
    world = Invented(seed, scenario_of("quiet"), DAYS, 14)
    time_ns = world.time_ns(np.arange(0.0, world.days * DAY_S, STEP_S))
    error = noise_of_positions(world.stream(name, "noise"), time_ns)[0][:, 0]
    return error + common_noise(world.stream("common"), time_ns)[:, 0]


def speeds_of(world, name):
    """Return (percent (n,), sigma (n,), usual speed, way (n,)) of one station, day by day."""
    time_s = np.arange(0.0, world.days * DAY_S, STEP_S)
    way = world.marker(name).flow.travelled_m(time_s) + error_of(world.seed, name)
    way = way.reshape(world.days, -1)
    since = (time_s[: way.shape[1]] - time_s[: way.shape[1]].mean()) / DAY_S
    slope = way @ since / (since @ since)
    left = way - way.mean(axis=1)[:, None] - slope[:, None] * since
    sigma = np.sqrt((left**2).sum() / (left.size - 2 * len(left)) / (since @ since))
    usual = float(np.median(slope))
    one = 100.0 / usual
    # means stand half a step before the middle of the day, as the first row is at its begin
    gone = way.mean(axis=1) + slope * 0.5 * STEP_S / DAY_S
    return one * slope, np.full(world.days, one * sigma), usual, one * gone


def melt_of(world):
    """Return positive degree days (n,) by the weather station at the lowest station. [degC d]"""
    warm = np.maximum(world.weather(LOWEST).temperature_degC[:-1], 0.0)
    return warm.reshape(world.days, -1).mean(axis=1)


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
    draws = seen[:, None] + rng.normal(0.0, ONSET_SIGMA_D, (len(seen), DRAWN))
    draws = np.array([row[spread_samples(row, k)] for k, row in enumerate(draws)])
    lasts = length[:, None] + rng.normal(0.0, 2.0 * ONSET_SIGMA_D, draws.shape)
    size = np.array([e.volume_m3 for e in true] or [1.0, 2.0, 3.0])
    return Events(draws, draws + np.maximum(lasts, 1.0)), size[: len(seen)] if not true else size[
        inside
    ]


def question_of(world, lake, names, rng, speeds):
    """Return the :class:`Question` of one lake."""
    events, size = events_of(world, lake, rng)
    rows = []
    for name in names:
        distance_km = reach(world.glacier, world.water, lake, world.sites[name])[0] / 1e3
        rows.append(Speeds(name, *speeds[name][:3], distance_km, speeds[name][3]))
    days = np.arange(world.days) + 0.5
    placebos = (Speeds(PLACEBO, *speeds[PLACEBO][:3]),) if PLACEBO in speeds else ()
    numbers = tuple(f"event {k + 1}" for k in range(len(events)))
    return Question(
        world.glacier.lakes[lake].name, 0, days, tuple(rows), placebos, events, numbers, size,
        0.2 * size, causes={MELT: melt_of(world)},
    )  # fmt: skip


def campaign(seed, scenario):
    """Return (world, questions of both lakes)."""
    world = Invented(seed, scenario, DAYS, 14)
    rng = np.random.default_rng([1901, seed])
    speeds = {name: speeds_of(world, name) for name in (*BETWEEN, *BELOW, PLACEBO)}
    return world, [question_of(world, k, names, rng, speeds)
                   for k, names in enumerate((BETWEEN, BELOW))]  # fmt: skip


def true_events(world, question):
    """Return the Events of a question as they were, each known to the second. [d]"""
    true = [e for e in world.water.events if e.lake == question.lake]
    onset = np.array([e.onset_s / DAY_S for e in true])
    end = np.array([e.end_s / DAY_S for e in true])
    inside = (onset > PART.before_d) & (onset < world.days - PART.after_d)
    return Events(onset[inside], end[inside])


def with_change(question, events, percent, rng):
    """Return a question whose stations all change by ``percent`` with ``events``.

    Each station has a shape of its own out of those that are tried. Slopes and ways are made from
    positions every 3 h, as those of the invented campaigns are.
    """
    step = STEP_S / DAY_S
    time = (np.arange(len(question.days) * round(1.0 / step)) + 0.5) * step
    since = time[: round(1.0 / step)] - 0.5
    grid, responding = shape_grid(PART), []
    for speeds in question.responding:
        one = grid.only(rng.integers(len(grid)))
        faster = percent * columns(time, events, one, step, 0).sum(axis=0)[:, 0]
        way = (np.cumsum(faster) * step).reshape(len(question.days), -1)
        slope = way @ since / (since @ since)
        responding.append(
            replace(
                speeds,
                percent=speeds.percent + slope,
                way_percent_d=speeds.way_percent_d + way.mean(axis=1) - 0.5 * step * slope,
            )
        )
    return replace(question, responding=tuple(responding))


def tested(part, asked):
    """Return [p of the upper lake, of the lower, of both together] of the main test."""
    found = []
    for question in asked:
        result, null = main_test(part, question)
        observed = float(np.abs(result.statistic).max())
        found.append(LakeFound(question, chance=result, null=null, observed=observed))
    return [*(f.chance.p for f in found), joint_p(found)]


def verdict(part, asked):
    """Return (outcome, number of warnings, pooled change, p) of all lakes of one campaign."""
    lakes, _ = solve_questions(part, asked)
    every, _ = decisions(part, lakes)
    return every.outcome, len(every.weakening), every.pooled.effect, every.p
