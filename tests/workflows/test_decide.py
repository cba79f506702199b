"""The verb decide: a response put in is found, none is not made up, nonsense is said in words."""

import csv
import io
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from stakeline.campaign.decide_settings import DecidePart
from stakeline.constants import NS_PER_DAY
from stakeline.inference.permutation import PermutationResult
from stakeline.inference.response import fit_response
from stakeline.inference.shape import Events, ShapeGrid, columns
from stakeline.workflows import decide
from stakeline.workflows.decide_melt import degree_days
from stakeline.workflows.decide_record import (
    Question,
    Speeds,
    spread_samples,
    station_roles,
)
from stakeline.workflows.decide_station import events_seen, shape_grid
from stakeline.workflows.decide_together import (
    LakeFound,
    loud_changes,
    main_test,
    windows_of,
)
from stakeline.workflows.decide_verdict import ONE_EVENT, decisions, joint_p, least_p

sys.path.append(str(Path(__file__).parent))
from decide_campaign import (
    DAYS,
    LENGTH,
    ONSETS,
    QUICK,
    RESPONDING,
    ROUTES,
    START,
    speed,
)

pytestmark = pytest.mark.compiled  # a dozen fits of a decision take minutes without

NO_PLAN = decide.check_plan(Path("nowhere/plan.toml"), QUICK, {}, {})


def question(rows, onsets=ONSETS, placebos=(), days=DAYS, **more):
    """Return a Question of speeds (m/d) by station."""
    middle = np.array(onsets, float)[:, None] + 0.2 * np.linspace(-1.0, 1.0, 4)
    events = Events(middle, middle + LENGTH) if len(onsets) else None
    size = 1e7 * np.arange(1.0, len(onsets) + 1.0)
    series = [
        Speeds(n, 100.0 * v / np.nanmedian(v), np.full(len(v), 0.6), np.nanmedian(v), 5.0 * k)
        for k, (n, v) in enumerate(rows.items(), 1)
    ]  # fmt: skip
    beside = [Speeds(n, 100.0 * v, np.full(len(v), 0.6), 1.0) for n, v in dict(placebos).items()]
    names = tuple(f"Upper event {k + 1}" for k in range(len(onsets)))
    return Question("Upper", START, np.arange(days) + 0.5, tuple(series), tuple(beside), events,
                    names, size, 0.2 * size, **more)  # fmt: skip


def decided(*asked, part=QUICK):
    lakes, problems = decide.solve_questions(part, asked)
    assert problems == []
    return lakes, *decisions(part, lakes)


@pytest.fixture(scope="module")
def faster():
    """One lake, two stations that respond by 6 %, one that does not."""
    rng = np.random.default_rng(21)
    rows = {name: speed(rng, 0.06) for name in RESPONDING}
    return decided(question(rows, placebos={"HV01": speed(rng)}))


def test_a_response_is_found_with_its_size_and_its_p(faster):
    (lake,), every, each = faster
    assert each == (every,)
    assert every.outcome == "faster"
    assert every.sentence.startswith("Faster: the ice moves ")
    assert "when Upper drains" in every.sentence
    low, high = every.pooled.interval
    assert 0.0 < low < 6.0 < high
    assert every.p <= 0.05
    assert lake.placebo_p["HV01"] > 0.05
    for station in lake.fitted:
        assert station.fit.interval[0] < 6.0 < station.fit.interval[1]
        assert set(station.single) == {0, 1, 2}


def test_speeds_turned_around_turn_the_verdict_around(faster):
    rng = np.random.default_rng(21)
    rows = {name: 2.0 - speed(rng, 0.06) for name in RESPONDING}
    _, every, _ = decided(question(rows))
    assert every.outcome == "slower"
    assert every.sentence.startswith("Slower: ")
    assert every.pooled.effect == pytest.approx(-faster[1].pooled.effect, abs=0.3)
    assert every.p == pytest.approx(faster[1].p, abs=0.02)


def test_a_response_that_dies_away_slowly_is_not_taken_for_a_smaller_one():
    rng = np.random.default_rng(22)
    events = Events(np.array(ONSETS), np.array(ONSETS) + LENGTH)
    slow = ShapeGrid((1.0,), (1.0,), (0.0,), (15.0,), as_event=True)
    days = np.arange(DAYS) + 0.5
    values = 100.0 + 10.0 * columns(days, events, slow, 1.0, 0).sum(axis=0)[:, 0]
    values = values + 0.6 * rng.standard_normal(DAYS)
    for part, held in ((DecidePart(), True), (DecidePart(decay_d=(5.0,)), False)):
        fit = fit_response(days, values, events, shape_grid(part))
        assert (fit.interval[0] < 10.0 < fit.interval[1]) == held
        assert held or fit.amplitude < 9.8


def test_without_a_response_none_is_made_up():
    rng = np.random.default_rng(2)
    _, every, _ = decided(question({name: speed(rng) for name in RESPONDING}))
    assert every.outcome == "no change larger"
    assert every.verdict.bound < 6.0
    assert every.pooled.interval[0] < 0.0 < every.pooled.interval[1]


def test_a_change_that_began_before_is_no_response():
    rng = np.random.default_rng(3)
    early = [onset - 2.5 for onset in ONSETS]
    _, every, _ = decided(question({n: speed(rng, 0.06, onsets=early) for n in RESPONDING}))
    assert every.outcome not in ("faster", "slower")
    assert "a change was under way before them" in "; ".join(every.weakening)


def test_a_record_in_which_no_p_is_small_enough_is_told():
    chance = PermutationResult(
        *[None] * 7, draws=15, resolution=1 / 16, floor=0.25, exhaustive=True
    )
    found = [LakeFound(None, chance=replace(chance, floor=f)) for f in (0.25, 0.06)]
    assert (least_p(found).strong, least_p(found).p) == (0.25, 1 / 16)
    assert least_p(found[1:], times=2).strong == pytest.approx(0.12)
    assert least_p(found[1:], times=2).p == 1 / 8
    assert least_p(found[:1], times=9).strong == 1.0
    assert least_p([LakeFound(None)]) is None


def test_what_one_event_can_show_is_said():
    rng = np.random.default_rng(4)
    rows = {name: speed(rng, 0.08, onsets=(81.8,)) for name in RESPONDING}
    _, every, _ = decided(question(rows, onsets=(81.8,)))
    assert every.pooled.events == 1
    assert ONE_EVENT in every.weakening


def test_two_lakes_pay_for_two_questions(faster):
    lake = faster[0][0]
    every, each = decisions(QUICK, [lake, lake])
    assert every.name == "all lakes"
    assert every.p == lake.chance.p  # the same question twice: nothing more was asked
    assert each[0].p == pytest.approx(2.0 * lake.chance.p)
    assert every.pooled.events == 6


def test_the_p_of_all_lakes_is_that_of_the_largest_change_of_any():
    nulls = np.array([[1.0, 2.0, 3.0, 4.0], [4.5, 1.0, 1.0, 1.0]])
    lakes = [
        LakeFound(None, chance=True, null=null, observed=size)
        for null, size in zip(nulls, (3.0, 1.0), strict=True)
    ]
    # of four shifts three have a change of 3 or more at either lake, by hand
    assert joint_p(lakes) == (1 + 3) / (1 + 4)
    assert np.isnan(joint_p([LakeFound(None)]))


def test_tables_words_and_figures_hold_what_was_found(faster):
    lakes, every, each = faster
    part, plan = QUICK, NO_PLAN
    files = decide.decide_files(lakes, every, each, plan)
    effects = list(csv.DictReader(io.StringIO(files["effects.csv"].decode())))
    assert [row["event"] for row in effects].count("all") == 2
    assert len(effects) == 2 * 4
    first = effects[0]
    assert float(first["change_percent"]) == pytest.approx(
        lakes[0].fitted[0].fit.amplitude, abs=0.01
    )
    assert float(first["change_m_d"]) == pytest.approx(
        float(first["change_percent"]) / 100.0 * float(first["usual_speed_m_d"]), abs=0.001
    )
    tests = list(csv.DictReader(io.StringIO(files["tests.csv"].decode())))
    assert {row["rank"] for row in tests} == {"exploratory"}
    assert float(tests[0]["p"]) == pytest.approx(every.p, abs=1e-4)
    # 200 days, each shift once; lags of 0 to 3 d see the same events again at 4 of them
    assert every.least.strong == pytest.approx(4 / DAYS)
    assert every.least.p == pytest.approx(1 / DAYS)
    assert float(tests[0]["p_smallest"]) == pytest.approx(1 / DAYS)
    assert (every.least.shifts, every.least.every) == (DAYS - 1, True)
    choices = list(csv.DictReader(io.StringIO(files["robustness.csv"].decode())))
    p = {row["choice"]: float(row["p_main_test"]) for row in choices}
    assert p["as planned"] == p["noise by a power law"] == pytest.approx(every.p, abs=1e-4)
    windows = ("5 d before and 5 d after", "15 d before and 15 d after", "lags up to 6 d")
    other = replace(lakes[0].question, trials=None)
    for label, given in zip(windows, ((5.0, 5.0, 3.0), (15.0, 15.0, 3.0), (10.0, 10.0, 6.0)),
                            strict=True):  # fmt: skip
        settings = dict(zip(("before_d", "after_d"), given[:2], strict=True))
        settings["lag_d"] = (0.0, given[2])
        again = main_test(part.model_copy(update=settings), other)[0]
        assert p[label] == pytest.approx(again.p, abs=1e-4)
    assert p["speeds over 2 d"] <= 0.1
    power = list(csv.DictReader(io.StringIO(files["power.csv"].decode())))
    called = [float(row["share_called"]) for row in power]
    assert called[0] < 0.2
    assert max(called) > 0.8
    assert np.diff(called).min() > -0.1  # doubts may grow with the change, by some of 60 trials
    told = every.power.at(every.smallest)
    assert told == pytest.approx(0.8, abs=0.01)
    assert f"a change of {every.smallest:.2g} % would have been called" in "; ".join(every.support)
    text = decide.decide_text("Trial", lakes, every, each, plan)
    assert text.startswith(every.sentence)
    assert "smallest p is 0.005 (199 shifts, every distinct one); shifts within the lags" in text
    assert "HV05 (5.0 km): +" in text
    figures = decide.decide_figures(part, lakes, every, each, "Trial")
    assert set(figures) == {"aligned_Upper", "effects", "chance", "power", "robustness"}


# --- what cannot be decided -------------------------------------------------------------------


def test_no_event_no_station_are_said():
    rng = np.random.default_rng(5)
    rows = {"HV05": speed(rng)}
    _, every, _ = decided(question(rows, onsets=()))
    assert every.sentence == "Cannot tell: no drainage of Upper can be used."
    _, every, _ = decided(question({}))
    assert every.sentence.startswith("Cannot tell: no moving station stands on the route")
    assert every.pooled is None
    assert np.isnan(every.p)


def test_events_closer_than_their_length_are_said():
    rng = np.random.default_rng(6)
    rows = {"HV05": speed(rng), "HV06": speed(rng)}
    lakes, every, _ = decided(question(rows, onsets=(60.3, 62.0, 158.4)))
    assert every.outcome == "cannot tell"
    assert "closer than" in every.sentence
    assert np.isnan(every.p)
    # one cause in the sentence, the others among what was not possible
    assert every.sentence.count("closer than") == 1
    assert ";" not in every.sentence
    text = decide.decide_text("Trial", lakes, every, (every,), NO_PLAN)
    left = text.split("Left out, or not possible")[1]
    assert left.count("\n") > 3
    assert "closer than" in left


def test_a_station_that_saw_no_event_is_left_out():
    rng = np.random.default_rng(7)
    blind = speed(rng)
    for onset in ONSETS:
        blind[int(onset) - 8 : int(onset) + 9] = np.nan
    asked = question({"HV05": speed(rng, 0.06), "HV06": blind})
    assert events_seen(QUICK, asked, asked.responding[1]) == ()
    (lake,), every, _ = decided(asked)
    assert [s.station for s in lake.fitted] == ["HV05"]
    assert any("HV06: no event lies in its record" in line for line in lake.problems)
    assert any("one series only" in line for line in every.weakening)


# --- from the campaign's tables ---------------------------------------------------------------


def test_samples_keep_the_quantiles_of_the_onset_and_are_mixed():
    onset = np.random.default_rng(8).normal(10.0, 1.0, 400)
    chosen = onset[spread_samples(onset, 0)]
    assert np.mean(chosen) == pytest.approx(onset.mean(), abs=0.1)
    assert np.std(chosen) == pytest.approx(onset.std(), rel=0.15)
    assert not np.array_equal(spread_samples(onset, 0), spread_samples(onset, 1))


def test_loud_changes_are_found_without_the_lakes():
    rng = np.random.default_rng(9)
    rest = 100.0 * np.array([speed(rng, 0.08, onsets=(81.8,)) - 1.0 for _ in range(3)])
    times = loud_changes(np.arange(DAYS) + 0.5, rest, windows_of(QUICK))
    assert np.abs(times - 81.8).min() < 1.5


def test_degree_days_are_the_positive_part():
    hours = START + np.arange(48) * (NS_PER_DAY // 24)
    axis = START / NS_PER_DAY + np.array([0.5, 1.5, 2.5])
    warm = np.where(np.arange(48) < 24, 3.0, -5.0)
    found = degree_days(hours, warm, axis)
    assert found[:2] == pytest.approx([3.0, 0.0])
    assert np.isnan(found[2])


def test_roles_follow_the_route_down_to_the_next_lake():
    rows = tuple(csv.DictReader(io.StringIO(ROUTES)))
    names = ["HV01", "HV04", "HV05", "HV06", "HV10", "HV14"]
    (responding, placebos), said = station_roles(DecidePart(), "Upper", rows, names)
    assert responding == [("HV05", 6.5), ("HV06", 15.1)]
    assert [name for name, _ in placebos] == ["HV01"]
    assert said == ()
    part = DecidePart(stations=("HV10",), placebo_stations=("HV04",))
    (responding, placebos), _ = station_roles(part, "Upper", rows, names)
    assert responding == [("HV10", 31.0)]
    assert [name for name, _ in placebos] == ["HV04"]
    (responding, _), said = station_roles(DecidePart(), "Upper", (), names)
    assert responding == []
    assert "no routes" in said[0]
