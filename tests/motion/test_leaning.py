"""Poles that lean: seen at a visit by what the log leaves open, or as they bend; others never."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.motion.leaning import leans_of
from stakeline.motion.steps import Steps
from stakeline.motion.surroundings import PoleVisit
from stakeline.motion.tilt import height_loss_m
from stakeline.simulate.campaign import Invented
from stakeline.simulate.scenario import scenario_of
from stakeline.simulate.visits import LEANING

HOUR = NS_PER_DAY // 24
START = 1_600_000_000 * 10**9
TIME = START + HOUR * np.arange(24 * 120)
RESET = START + 60 * NS_PER_DAY
FLAT = np.zeros(len(TIME))
POLE_M = 2.8


def step(size_m, time_ns=RESET, sigma_m=0.003, logged=True):
    """Return one equipment step along, across, up."""
    return Steps(
        np.array([time_ns - HOUR]), np.array([time_ns + HOUR]), np.array([size_m], float),
        sigma_m**2 * np.eye(3), np.array([logged]), ("equipment",), np.zeros(1), np.zeros(1),
        np.zeros(1), ("logged",),
    )  # fmt: skip


NO_STEPS = step((0.0, 0.0, 0.0)).take([])


def visits(moved_m):
    return (PoleVisit(START, POLE_M), PoleVisit(RESET, 2.5, moved_m))


def set_anew(wander_m, toward_rad, azimuth_rad, moved_m=(0.3, -0.2, 0.6), lost_m=None):
    """Return the step along, across, up when a leaning pole is set anew."""
    lost = height_loss_m(wander_m, POLE_M) if lost_m is None else lost_m
    east = moved_m[0] - wander_m * np.sin(toward_rad)
    north = moved_m[1] - wander_m * np.cos(toward_rad)
    sine, cosine = np.sin(azimuth_rad), np.cos(azimuth_rad)
    return step((east * sine + north * cosine, north * sine - east * cosine, moved_m[2] + lost))


@pytest.mark.parametrize("azimuth", [0.0, 1.2, 4.0])
def test_a_leaning_pole_that_is_set_anew_is_seen(azimuth):
    moved = (0.3, -0.2, 0.6)
    (lean,) = leans_of(TIME, FLAT, FLAT, set_anew(0.4, 2.0, azimuth), azimuth, visits(moved))
    assert lean.wander_m == pytest.approx(0.4)
    assert lean.toward_rad == pytest.approx(2.0)
    assert lean.loss_m == pytest.approx(0.4**2 / (2.0 * POLE_M), rel=0.01)
    assert lean.seen_m == pytest.approx(lean.loss_m)
    assert lean.at_visit
    assert "40 cm aside towards 115 deg" in lean.sentence
    assert "2.9 cm of height by geometry, 2.9 +-3.0 cm seen; or the log is wrong" in lean.sentence


@pytest.mark.parametrize(
    "change",
    [
        {"wander_m": 0.0},  # the pole stood
        {"wander_m": 0.08},  # within what a log knows
        {"lost_m": 0.4},  # the height contradicts a lean
        {"wander_m": 3.5, "lost_m": 0.0},  # more than the pole
    ],
)
def test_other_jumps_are_no_lean(change):
    jump = set_anew(**{"wander_m": 0.4, "toward_rad": 2.0, "azimuth_rad": 1.0} | change)
    assert leans_of(TIME, FLAT, FLAT, jump, 1.0, visits((0.3, -0.2, 0.6))) == ()


def test_without_a_log_nothing_is_said():
    jump = set_anew(0.4, 2.0, 1.0)
    assert leans_of(TIME, FLAT, FLAT, jump, 1.0, ()) == ()
    assert leans_of(TIME, FLAT, FLAT, jump, 1.0, visits(None)) == ()
    unlogged = step(jump.size_m[0], logged=False)
    assert leans_of(TIME, FLAT, FLAT, unlogged, 1.0, visits((0.3, -0.2, 0.6))) == ()


STANDS = (PoleVisit(START, POLE_M),)


def bent(seed, wander_m, lost=1.0, drift_m_d=0.0):
    """Return across and up of a pole that bends within 10 days from day 50 on, with noise."""
    rng = np.random.default_rng(seed)
    days = (TIME - START) / NS_PER_DAY
    aside = wander_m * np.clip((days - 50.0) / 10.0, 0.0, 1.0)
    slow = rng.normal(0.0, 0.002, 6) @ np.sin(np.outer(np.arange(1, 7), days / 20.0))
    across = aside + drift_m_d * days + rng.normal(0.0, 0.002, len(days))
    return across, -lost * height_loss_m(aside, POLE_M) - 0.001 * days + slow


def test_a_pole_that_bends_is_seen():
    found = 0
    for seed in range(10):
        leans = leans_of(TIME, *bent(seed, 0.8, drift_m_d=0.002), NO_STEPS, 1.0, STANDS)
        found += len(leans) == 1 and not leans[0].at_visit
    assert found >= 9
    assert leans[0].wander_m == pytest.approx(0.8, abs=0.05)
    assert "began to lean after" in leans[0].sentence
    assert np.isnan(leans[0].toward_rad)


def test_ice_that_goes_aside_is_no_lean():
    for seed in range(10):
        ice = bent(seed, 0.8, lost=0.0)
        assert leans_of(TIME, *ice, NO_STEPS, 1.0, STANDS) == ()
        small = bent(seed, 0.1)
        assert leans_of(TIME, *small, NO_STEPS, 1.0, STANDS) == ()


def test_steady_drift_and_lakes_are_no_lean():
    days = (TIME - START) / NS_PER_DAY
    lake = 0.5 * np.exp(-(((days - 60.0) / 8.0) ** 2))
    for drift in (0.0, 0.02, 0.1):
        assert leans_of(TIME, drift * days, lake, NO_STEPS, 1.0, STANDS) == ()


def test_in_the_invented_campaign_the_one_pole_that_leans_is_found():
    # sizes of steps are those of the truth with 4 mm of noise, four campaigns of 14 stations
    found = []
    for seed in range(4):
        rng = np.random.default_rng(1000 + seed)
        world = Invented(seed, scenario_of("quiet"), days=504)
        for name, site in world.sites.items():
            log = [v for v in world.visits(name) if v.logged]
            poles = tuple(
                PoleVisit(
                    int(world.time_ns(v.time_s)), v.antenna_height_m,
                    (v.east_m, v.north_m, v.up_m) if v.kind in ("raise", "reset") else None,
                )
                for v in log
            )  # fmt: skip
            steps = NO_STEPS
            if len(log) > 1 and log[1].kind != "visit":
                around = log[1].time_s + np.array([-1.0, 1.0])
                parts = world.marker(name).parts_m(around)
                jump = np.diff(parts["tilt"] + parts["reset"], axis=0)[0]
                steps = step(jump + rng.normal(0.0, 0.004, 3), poles[1].time_ns, 0.004)
            leans = leans_of(TIME, FLAT, FLAT, steps, site.azimuth_rad, poles)
            found += [(seed, name)] * len(leans)
    assert {name for _, name in found} == {LEANING}
    assert len(found) == 4
