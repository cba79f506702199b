"""Speeds from day to day: what they are means over, what they keep, what the main test gains."""

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stakeline.inference.shape import Events
from stakeline.workflows.decide_melt import MELT
from stakeline.workflows.decide_record import Question, Speeds
from stakeline.workflows.decide_together import main_test
from stakeline.workflows.decide_ways import by_ways

sys.path.append(str(Path(__file__).parent))
from decide_campaign import DAYS, LENGTH, ONSETS, QUICK, START, share_after, speed


def mean_positions(speeds):
    """Return mean positions (n,) of days with an even speed each, in days of that unit."""
    return np.concatenate([[0.0], np.cumsum(speeds)[:-1]]) + 0.5 * speeds


def asked(slopes, speeds, **more):
    """Return a Question of one station. [%]"""
    middle = np.array(ONSETS)[:, None] + 0.2 * np.linspace(-1.0, 1.0, 4)
    way = None if speeds is None else mean_positions(speeds)
    one = Speeds("HV05", slopes, np.full(DAYS, 0.6), 1.0, 5.0, way)
    return Question("Upper", START, np.arange(DAYS) + 0.5, (one,), (one,),
                    Events(middle, middle + LENGTH), ("a", "b", "c"), np.ones(3), np.ones(3),
                    **more)  # fmt: skip


def test_a_speed_is_the_mean_of_two_days_at_the_time_between_them():
    speeds = 100.0 * speed(np.random.default_rng(3), 0.05)
    melt = np.random.default_rng(4).uniform(0.0, 5.0, DAYS)
    found = by_ways(QUICK, asked(speeds, speeds, causes={MELT: melt}))
    wanted = 0.5 * (speeds[1:] + speeds[:-1])
    np.testing.assert_allclose(found.responding[0].percent[1:], wanted, rtol=1e-9)
    np.testing.assert_allclose(found.causes[MELT][1:], 0.5 * (melt[1:] + melt[:-1]))
    assert np.isnan([found.responding[0].percent[0], found.causes[MELT][0]]).all()
    np.testing.assert_array_equal(found.days, np.arange(DAYS))
    assert found.placebos == ()


def test_all_of_them_together_are_the_way_gone():
    speeds = 100.0 * speed(np.random.default_rng(5))
    question = asked(speeds, speeds)
    way = question.responding[0].way_percent_d
    found = by_ways(QUICK, question).responding[0].percent
    assert np.nansum(found) == pytest.approx(way[-1] - way[0])
    way = np.where(np.arange(DAYS) == 9, np.nan, way)
    hole = replace(question.responding[0], way_percent_d=way)
    found = by_ways(QUICK, replace(question, responding=(hole,))).responding[0].percent
    assert np.flatnonzero(np.isnan(found)).tolist() == [0, 9, 10]


def test_without_mean_positions_nothing_changes():
    question = asked(np.full(DAYS, 100.0), None)
    assert by_ways(QUICK, question) is question


def test_the_main_test_sees_in_ways_what_slopes_hide():
    rng = np.random.default_rng(6)
    begin = np.arange(DAYS)
    true = 100.0 + 0.05 * rng.standard_normal(DAYS)
    true += 0.3 * sum(share_after(begin, t) - share_after(begin, t + LENGTH) for t in ONSETS)
    slopes = true + 3.0 * rng.standard_normal(DAYS)
    by_slopes, by_way = (main_test(QUICK, asked(slopes, w))[0].p for w in (None, true))
    assert by_way <= 0.02  # 4 of 200 shifts: within the range of lags they see the same events
    assert by_slopes > 0.2
