"""A bank that loses half is told within days; a sound one, a warmer one, another law are not."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import logsumexp
from scipy.stats import multivariate_normal

from stakeline.station.health_ageing import (
    LOST_AT,
    LOST_SIGMA,
    SAME_SIGMA,
    _weighed,
    aged_bank,
    left_told,
    loss_odds,
    still_lost_odds,
)
from stakeline.station.health_fit import fit_bank, nights_of, usable_share
from stakeline.station.health_parts import BANK as AGED

from .health_example import BANK, CAPACITY_AH, design, telemetry

DAYS, LOST_D = 40, 25
DAY = np.arange(24 * DAYS) // 24


def course_of(**changes):
    """Return (nights, course) of a bank drawn evenly."""
    nights = nights_of(telemetry(DAYS, **changes)[0], BANK)
    return nights, fit_bank(BANK, nights, np.random.default_rng(1))


@pytest.fixture(scope="module")
def sound():
    return course_of()


@pytest.fixture(scope="module")
def halved():
    return course_of(capacity_Ah=np.where(DAY >= LOST_D, 0.5 * CAPACITY_AH, CAPACITY_AH))


def test_a_bank_that_loses_half_is_told_within_ten_days_and_a_sound_one_is_not(sound, halved):
    found = aged_bank(design(), *halved)
    assert [f.kind for f in found[:1]] == [AGED]
    assert LOST_D <= found[0].told <= LOST_D + 10
    assert abs(found[0].begins - LOST_D) <= 3
    assert aged_bank(design(), *sound) == []


def long_findings(capacity_Ah):
    """Return what is found in ninety days, by day's capacity; drawn evenly."""
    days = np.arange(24 * 90) // 24
    hours, _ = telemetry(90, capacity_Ah=np.asarray(capacity_Ah)[days])
    nights = nights_of(hours, BANK)
    return aged_bank(design(), nights, fit_bank(BANK, nights, np.random.default_rng(1)))


def test_a_loss_is_not_forgotten_and_a_bank_that_is_as_before_ends_it():
    day = np.arange(90)
    lost = np.where(day >= LOST_D, 0.5 * CAPACITY_AH, CAPACITY_AH)
    (found,) = long_findings(lost)
    assert (found.last, found.ended) == (89, -1)
    (back,) = long_findings(np.where(day >= 45, CAPACITY_AH, lost))
    assert back.told == found.told
    assert 50 < back.ended < 80
    assert back.holds(back.ended - 1)
    assert not back.holds(back.ended)


def test_odds_that_it_is_still_lost_need_nights_behind_the_telling(halved):
    nights, course = halved
    given = BANK, course.clouds[LOST_D - 2], nights
    assert still_lost_odds(*given, (LOST_D, LOST_D + 5, LOST_D + 12), CAPACITY_AH) == 0.0
    assert still_lost_odds(*given, (LOST_D, LOST_D + 3, DAYS - 1), CAPACITY_AH) > 0.0


def test_another_height_of_the_voltage_changes_no_odds(halved):
    nights, course = halved
    day = LOST_D + 6
    cloud = course.clouds[day - 12]
    odds = loss_odds(BANK, cloud, nights, day, CAPACITY_AH)[0]
    moved = replace(nights, rest_V=nights.rest_V + 0.07)
    other = replace(cloud, offset_V=cloud.offset_V + 0.07)
    assert loss_odds(BANK, other, moved, day, CAPACITY_AH)[0] == pytest.approx(odds, abs=1e-6)
    assert odds > 2.7


def test_a_day_that_was_charged_tells_nothing_and_neither_do_few_nights(halved):
    nights, course = halved
    day = LOST_D + 6
    charged = replace(nights, in_Ah=np.where(np.arange(DAYS) == day, 5.0, 0.0))
    assert loss_odds(BANK, course.clouds[0], charged, day, CAPACITY_AH)[0] == -np.inf
    assert loss_odds(BANK, course.clouds[0], nights, 8, CAPACITY_AH)[0] == -np.inf


def test_charge_left_by_voltage_falls_as_it_was_drawn(sound):
    nights, course = sound
    rows = np.arange(10, DAYS)
    told = left_told(BANK, course.clouds[-1], nights, rows)
    drawn = -nights.out_Ah[rows].sum() / CAPACITY_AH / usable_share(0.008, -20.0)
    assert told[-1] - told[0] == pytest.approx(drawn, rel=0.25)


def highest_odds(capacity_Ah, colder_K):
    """Return the highest odds in ten days in which it gets colder within a week."""
    box_degC = np.interp(DAY, [LOST_D, LOST_D + 8], [-20.0, -20.0 - colder_K])
    nights, course = course_of(capacity_Ah=capacity_Ah, box_degC=box_degC, charge=0.85)
    days = range(LOST_D, LOST_D + 11)
    told = [(course.clouds[day - 12], nights, day, course.capacity_Ah[day - 12]) for day in days]
    return max(loss_odds(BANK, *one)[0] for one in told)


@pytest.mark.parametrize("colder_K", [15.0, -12.0])
def test_a_week_of_other_cold_is_no_loss_and_hides_none(colder_K):
    halved = np.where(DAY >= LOST_D, 0.5 * CAPACITY_AH, CAPACITY_AH)
    assert highest_odds(CAPACITY_AH, colder_K) < 0.0
    assert highest_odds(halved, colder_K) > LOST_AT


def test_odds_are_those_of_two_normal_models():
    rng = np.random.default_rng(5)
    mixed = rng.standard_normal((9, 9))
    common = mixed @ mixed.T + np.eye(9)
    faster, off = rng.standard_normal((4, 9)), rng.standard_normal(9)

    def told(mean, sigma):
        return logsumexp(
            [multivariate_normal(mean * f, common + sigma**2 * np.outer(f, f)).logpdf(off)
             for f in faster]
        )  # fmt: skip

    odds, _, _ = _weighed(off, common, faster, np.arange(4))
    assert odds == pytest.approx(told(1.0, LOST_SIGMA) - told(0.0, SAME_SIGMA), rel=1e-9)
