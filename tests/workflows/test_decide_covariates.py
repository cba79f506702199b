"""Influences that the user gives, and the fortnight of tides: taken off, told, and no others."""

import sys
from dataclasses import replace
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.campaign.decide_settings import Covariate, DecidePart
from stakeline.campaign.folders import create, open_campaign
from stakeline.errors import SettingsError
from stakeline.inference.baseline import baseline_design, without_baseline
from stakeline.inference.shape import Events
from stakeline.time import iso
from stakeline.workflows.decide_covariates import (
    fortnight_periods,
    given_covariates,
    influences_taken_off,
    tide_of,
)
from stakeline.workflows.decide_melt import MELT
from stakeline.workflows.decide_plan import plan_text, read_plan
from stakeline.workflows.decide_record import Question, Speeds
from stakeline.workflows.decide_station import other_choices, usual_choices

sys.path.append(str(Path(__file__).parent))
from decide_campaign import DAYS, ONSETS, START, speed

DAY_NS = 86400 * 10**9
AXIS = START / DAY_NS + 0.5 + np.arange(DAYS)
PART = DecidePart()


def asked(percent, **more):
    onset = np.array(ONSETS)[:, None] + np.zeros(4)
    one = Speeds("HV05", percent, np.full(DAYS, 0.6), 1.0)
    names = tuple(f"event {k}" for k in range(len(ONSETS)))
    size = np.ones(len(ONSETS))
    return Question("Upper", START, np.arange(DAYS) + 0.5, (one,), (), Events(onset, onset + 8.0),
                    names, size, size, **more)  # fmt: skip


def campaign(root, text, rows, name="runoff.csv"):
    create(root)
    (root / "campaign.toml").write_text('[campaign]\nname = "T"\n' + text, encoding="utf-8")
    (root / name).write_text("time_gps,runoff_m3_s\n" + "".join(rows), encoding="utf-8")
    return open_campaign(root)


SAID = '[[decide.covariate]]\nname = "runoff"\nfile = "runoff.csv"\ncolumn = "runoff_m3_s"\n'


def rows(days, values):
    return [f"{iso(int(START + d * DAY_NS))},{v}\n" for d, v in zip(days, values, strict=True)]


def test_daily_means_keep_gaps_as_gaps_and_tell_them(tmp_path):
    days = np.arange(0.0, DAYS, 0.25)
    kept = (days < 50.0) | (days >= 60.0)
    values = np.floor(days) + np.tile([0.0, 1.0, 2.0, 3.0], DAYS)
    found, files, said = given_covariates(
        campaign(tmp_path, SAID, rows(days[kept], values[kept])), AXIS
    )
    expected = np.arange(DAYS) + 1.5
    expected[50:60] = np.nan
    np.testing.assert_allclose(found["runoff"], expected, atol=1e-9)
    assert [path.name for path in files] == ["runoff.csv"]
    assert "10 of 200 days have no value" in said[0]


@pytest.mark.parametrize(
    ("said", "table", "words"),
    [
        (SAID.replace("runoff_m3_s", "flow"), rows([1.0], [2.0]), "no column 'flow'; it has"),
        (SAID.replace("runoff.csv", "none.csv"), rows([1.0], [2.0]), "none.csv"),
        (SAID, rows(np.arange(30.0), np.arange(30.0)), "a value on 30 of 200 days"),
        (SAID, rows(np.arange(200.0), np.ones(200)), "does not vary"),
        (SAID + SAID, rows([1.0], [2.0]), "runoff more than once"),
    ],
)
def test_what_cannot_be_used_is_said(tmp_path, said, table, words):
    with pytest.raises(SettingsError, match=words):
        given_covariates(campaign(tmp_path, said, table), AXIS)


def test_what_runoff_explains_is_taken_off_and_the_days_of_its_gaps_are_lost():
    rng = np.random.default_rng(1)
    runoff = rng.normal(0.0, 1.0, DAYS)
    runoff[20] = np.nan
    percent = 100.0 * speed(rng) + 3.0 * np.nan_to_num(runoff)
    question = asked(percent, causes={"runoff": runoff}, given=("runoff",))
    with_it = without_baseline(question.days, percent, usual_choices(PART, question).baseline)
    plain = usual_choices(PART, asked(percent)).baseline
    assert np.nanstd(with_it) < 0.6 * np.nanstd(without_baseline(question.days, percent, plain))
    assert np.flatnonzero(np.isnan(with_it)).tolist() == [20, 21]  # the day after has it too
    rows = other_choices(PART, question)
    assert rows["runoff not taken off"][1].baseline.covariates is None


def test_melt_and_runoff_stand_beside_each_other():
    melt, runoff = np.random.default_rng(2).uniform(0.0, 3.0, (2, DAYS))
    question = asked(100.0 * speed(np.random.default_rng(3)),
                     causes={MELT: melt, "runoff": runoff}, given=("runoff",))  # fmt: skip
    assert influences_taken_off(PART, question).shape == (DAYS, 4)
    labels = other_choices(PART, question)
    assert {"melt not taken off", "runoff not taken off"} <= set(labels)
    np.testing.assert_array_equal(labels["melt not taken off"][1].baseline.covariates[:, 0], runoff)
    off = PART.model_copy(update={"take_off_melt": False})
    assert f"{MELT} taken off" in other_choices(off, question)


def test_nothing_changes_without_tide_and_covariates():
    question = asked(100.0 * speed(np.random.default_rng(4)))
    baseline = usual_choices(PART, question).baseline
    assert (baseline.periods, baseline.covariates, baseline.trend) == ((), None, 1)
    assert not any("fortnight" in label for label in other_choices(PART, question))


def test_a_tide_that_is_found_gives_a_row_and_a_strong_one_the_baseline():
    found = asked(100.0 * speed(np.random.default_rng(5)), tides=("found",))
    assert usual_choices(PART, found).baseline.periods == ()
    assert other_choices(PART, found)["fortnight taken off"][1].baseline.periods
    strong = replace(found, tides=("found", "strong"))
    assert usual_choices(PART, strong).baseline.periods == fortnight_periods(199.0)
    assert other_choices(PART, strong)["fortnight not taken off"][1].baseline.periods == ()
    off = PART.model_copy(update={"take_off_fortnight": False})
    assert usual_choices(off, strong).baseline.periods == ()


def test_a_spring_and_neap_is_gone_from_the_rest():
    day = np.arange(DAYS) + 0.5
    wave = 2.0 * np.cos(2.0 * np.pi * day / 14.7653)  # MSF: Doodson 1921, 1.0158958 deg/h
    percent = 100.0 + wave
    question = asked(percent, tides=("strong",))
    design = baseline_design(day, usual_choices(PART, question).baseline)
    rest = percent - design @ np.linalg.lstsq(design, percent, rcond=None)[0]
    assert np.abs(rest).max() < 1e-3


def test_records_part_the_two_waves_from_half_a_year_on():
    assert fortnight_periods(20.0) == ()
    assert fortnight_periods(100.0) == pytest.approx((14.7653,), abs=1e-3)
    # both turn against each other once in half a tropical year: 182.6 d
    assert [len(fortnight_periods(d)) for d in (182.0, 183.5)] == [1, 2]


def tide(axis, size, sigma=0.0001, **more):
    return {"axis": axis, "amplitude_m": str(size), "amplitude_sigma_m": str(sigma)} | more


@pytest.mark.parametrize(
    ("rows", "kind"),
    [
        ((), ""),
        ((tide("along", 0.0003),), ""),
        ((tide("along", 0.002),), "found"),
        ((tide("along", 0.02, by_geometry="yes"),), ""),
        ((tide("across", 0.02),), ""),
        ((tide("along", 0.02),), "strong"),
        ((tide("up", 0.3),), "strong"),
    ],
)
def test_how_a_tide_moves_a_station(rows, kind):
    assert tide_of(SimpleNamespace(tides=rows)) == kind


def test_settings_of_a_covariate_stand_in_a_plan(tmp_path):
    part = PART.model_copy(update={"covariate": (Covariate(name="a", file="b.csv", column="c"),)})
    plain = PART.model_dump(mode="json", exclude_none=True)
    assert not {"covariate", "take_off_fortnight"} & set(plain)  # plans frozen before still hold
    settings = part.model_dump(mode="json", exclude_none=True)
    path = tmp_path / "plan.toml"
    text = plan_text({"settings": settings}, date(2031, 1, 1), "2031-01-01T00:00:00")
    path.write_text(text, encoding="utf-8")
    content, whole, _ = read_plan(path)
    assert whole
    assert content["settings"]["covariate"] == [{"name": "a", "file": "b.csv", "column": "c"}]
