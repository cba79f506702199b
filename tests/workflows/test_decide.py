"""The verb decide: a response put in is found, none is not made up, nonsense is said in words."""

import csv
import io
import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from stakeline.campaign.decide_settings import DecidePart
from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.store import json_text, parquet_bytes
from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError
from stakeline.inference.shape import Events
from stakeline.time import from_iso
from stakeline.workflows import decide
from stakeline.workflows.decide_melt import degree_days, melt_index
from stakeline.workflows.decide_record import (
    Question,
    Speeds,
    daily_speeds,
    drainings,
    questions,
    spread_samples,
    station_roles,
)
from stakeline.workflows.decide_station import events_seen
from stakeline.workflows.decide_together import LakeFound, loud_changes, windows_of
from stakeline.workflows.decide_verdict import ONE_EVENT, decisions, joint_p
from stakeline.workflows.lakes_results import lake_results
from stakeline.workflows.motion_results import station_results

START = from_iso("2031-05-01")
DAYS = 200
ONSETS = (45.3, 81.8, 158.4)
LENGTH = 8.0
QUICK = DecidePart(permutations=499, lag_step_d=1.0, longer_d=(0.0,), lag_d=(0.0, 3.0))
RESPONDING = {"HV05": 6500.0, "HV06": 15100.0}
SETTINGS = """
[decide]
permutations = 499
lag_step_d = 1.0
longer_d = [0.0]
lag_d = [0.0, 3.0]
"""


def speed(rng, size=0.0, days=DAYS, onsets=ONSETS):
    """Return daily speeds [m/d] of 1 m/d with red noise of 1 %, changed from each onset on."""
    red = np.zeros(days)
    for k in range(1, days):
        red[k] = 0.7 * red[k - 1] + 0.5 * rng.standard_normal()
    noise = 0.008 * red + 0.006 * rng.standard_normal(days)
    begin = np.arange(days)
    for onset in onsets:
        noise += size * (share_after(begin, onset) - share_after(begin, onset + LENGTH + 2.0))
    return 1.0 + noise


def share_after(begin, time):
    """Return the share of each day that lies after a time."""
    return np.clip(begin + 1.0 - time, 0.0, 1.0)


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
    part, plan = QUICK, decide.check_plan(Path("nowhere/plan.toml"), QUICK, {})
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
    power = list(csv.DictReader(io.StringIO(files["power.csv"].decode())))
    injected = [float(row["power_injected"]) for row in power]
    assert np.diff(injected).min() > -0.03  # a share of 300 shifts, either sign: nearly rising
    assert injected[-1] > 0.9
    text = decide.decide_text("Trial", lakes, every, each, plan)
    assert text.startswith(every.sentence)
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
    _, every, _ = decided(question(rows, onsets=(60.3, 62.0, 158.4)))
    assert every.outcome == "cannot tell"
    assert "closer than" in every.sentence
    assert np.isnan(every.p)


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


ROUTES = """\
lake,target,kind,on_drawn_route,along_m,beside_m,beyond_end,probability
Upper,HV01,station,no,,8200,no,0.000
Upper,HV04,station,no,,-5300,no,0.000
Upper,HV05,station,yes,6500,10,no,0.920
Upper,HV06,station,yes,15100,20,no,0.980
Upper,HV10,station,yes,31000,20,no,0.980
Upper,HV14,station,no,,-9000,yes,0.000
Upper,Lower,lake,yes,21000,,,0.990
"""


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


def windows(values):
    start = START + np.arange(len(values)) * NS_PER_DAY
    return {
        "window_d": np.full(len(values), 1.0), "axis": np.full(len(values), "along", object),
        "start_gps": start.view("datetime64[ns]"),
        "end_gps": (start + NS_PER_DAY).view("datetime64[ns]"),
        "velocity_m_d": values, "velocity_sigma_m_d": np.full(len(values), 0.006),
    }  # fmt: skip


def write_station(root, name, values):
    folder = root / "5-motion" / name
    folder.mkdir(parents=True, exist_ok=True)
    about = {"mean_speed_m_d": 1.0, "mean_speed_sigma_m_d": 1e-5}
    (folder / f"{name}_windows.parquet").write_bytes(parquet_bytes(windows(values), {}, about))
    time = {"time_gps": np.array([START], np.int64).view("datetime64[ns]")}
    (folder / f"{name}_motion.parquet").write_bytes(parquet_bytes(time, {}, about))


def write_lake(root, onsets=ONSETS, **changed):
    """Write the tables of lake Upper; ``changed`` goes into its first event."""
    folder = root / "6-lakes" / "Upper"
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(10)
    told, samples = [], {"event": [], "onset_gps": [], "end_gps": []}
    for onset in onsets:
        day = START + int(onset * NS_PER_DAY)
        draws = day + (rng.normal(0.0, 0.2, 50) * NS_PER_DAY).astype(np.int64)
        name = f"Upper day {onset:g} drain"
        told.append({"event": name, "kind": "drain", "status": "automatic", "probability_real": 1.0}
                    | {f"volume_m3_{w}": v for w, v in
                       (("low", 1e7), ("median", 2e7), ("high", 3e7))})  # fmt: skip
        samples["event"].append(np.full(50, name, object))
        samples["onset_gps"].append(draws)
        samples["end_gps"].append(draws + int(LENGTH * NS_PER_DAY))
    told[0] |= changed
    table = {k: np.concatenate(v) for k, v in samples.items()}
    table |= {k: table[k].view("datetime64[ns]") for k in ("onset_gps", "end_gps")}
    parts = {"samples": table, "levels": {"x": np.zeros(1)}, "stations": {"x": np.zeros(1)}}
    for end, columns in parts.items():
        path = folder / f"Upper_{end}.parquet"
        path.write_bytes(parquet_bytes(columns, {}, {"origin_ns": {}}))
    (folder / "Upper_summary.json").write_text(json_text({"lake": "Upper", "events": told}))
    (root / "6-lakes" / "routes.csv").write_text(ROUTES)


@pytest.fixture
def campaign(tmp_path):
    create(tmp_path)
    path = tmp_path / "campaign.toml"
    path.write_text('[campaign]\nname = "Trial"\n' + SETTINGS)
    rng = np.random.default_rng(11)
    for name in RESPONDING:
        write_station(tmp_path, name, speed(rng, 0.06))
    write_station(tmp_path, "HV01", speed(rng))
    write_lake(tmp_path)
    return tmp_path


def test_the_verb_writes_everything_once(campaign):
    said = decide.run(campaign)
    assert said.problems == ()
    assert said.done == ("1 lakes",)
    folder = campaign / "7-decide"
    text = (folder / "verdict.txt").read_text(encoding="utf-8")
    assert text.startswith("Faster: ")
    assert "No plan was frozen beforehand" in text
    told = json.loads((folder / "verdict.json").read_text(encoding="utf-8"))
    assert told["verdict"]["outcome"] == "faster"
    assert told["lakes"][0]["placebo_stations"] == ["HV01"]
    tables = ("effects", "pooled", "tests", "robustness", "power")
    assert all((folder / f"{name}.csv").stat().st_size > 50 for name in tables)
    assert len(list((folder / "figures").glob("*.svg"))) == 5
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    again = decide.run(campaign)
    assert again.up_to_date == ("1 lakes",)
    assert again.done == ()
    (folder / "verdict.txt").unlink()
    assert decide.run(campaign).done == ("1 lakes",)
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before


def test_a_plan_is_followed_only_whole_early_and_unchanged(campaign):
    day = date(2031, 12, 1)
    decide.freeze(campaign, day=day)
    path = campaign / "7-decide" / "plan.toml"
    settings = open_campaign(campaign).settings.decide
    stations = decide.stations_of(open_campaign(campaign))
    assert stations == {"Upper": ["HV05", "HV06"]}
    assert decide.check_plan(path, settings, stations).followed
    with pytest.raises(SettingsError, match="frozen already"):
        decide.freeze(campaign, day=day)
    other = settings.model_copy(update={"after_d": 12.0})
    check = decide.check_plan(path, other, stations)
    assert (check.state, check.followed) == ("not followed", False)
    assert "after_d: planned 10.0, done 12.0" in check.sentence
    check = decide.check_plan(path, settings, {"Upper": ["HV05"]})
    assert "Upper: planned HV05, HV06, done HV05" in check.sentence
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace('"after_d" = 10.0', '"after_d" = 12.0'))
    assert decide.check_plan(path, other, stations).state == "changed"
    path.unlink()
    (campaign / "7-decide" / "verdict.json").write_text("{}")
    decide.freeze(campaign, day=day)
    assert decide.check_plan(path, settings, stations).state == "late"
    path.write_text("nonsense")
    with pytest.raises(SettingsError, match="is no frozen plan"):
        decide.check_plan(path, settings, stations)


@pytest.mark.parametrize(
    ("changed", "match"),
    [
        ({"status": "rejected"}, "rejected by a person"),
        ({"probability_real": 0.4}, "real with a probability of 0.40 only"),
    ],
)
def test_events_that_do_not_count_are_named(campaign, changed, match):
    write_lake(campaign, **changed)
    (asked,), _ = questions(open_campaign(campaign), station_results(open_campaign(campaign)))
    assert len(asked.names) == 2
    assert any(match in line for line in asked.left_out)


def test_events_outside_the_record_are_named(campaign):
    write_lake(campaign, onsets=(2.0, 81.8, 400.0))
    (asked,), _ = questions(open_campaign(campaign), station_results(open_campaign(campaign)))
    assert len(asked.names) == 1
    assert sum("outside the record" in line for line in asked.left_out) == 2


def test_series_that_say_nothing_are_named(campaign):
    write_station(campaign, "HV05", np.full(DAYS, 1.0))
    write_station(campaign, "HV06", np.full(DAYS, np.nan))
    write_lake(campaign)
    said = decide.run(campaign)
    text = (campaign / "7-decide" / "verdict.txt").read_text(encoding="utf-8")
    assert text.startswith("Cannot tell: no moving station stands on the route of Upper's water.")
    assert "HV05: its speed does not vary at all" in text
    assert "HV06: 0 days of speed" in text
    assert said.problems == ()
    told = json.loads((campaign / "7-decide" / "verdict.json").read_text(encoding="utf-8"))
    assert told["verdict"]["p"] is None


def test_what_is_not_there_is_said(campaign, tmp_path):
    path = campaign / "campaign.toml"
    path.write_text(path.read_text().replace("[decide]", '[decide]\nlakes = ["Lower"]'))
    with pytest.raises(SettingsError, match="there is no lake 'Lower' in 6-lakes; there are Upper"):
        decide.run(campaign)
    path.write_text(path.read_text().replace('lakes = ["Lower"]', 'stations = ["HV99"]'))
    with pytest.raises(SettingsError, match="no motion of a station 'HV99'"):
        decide.run(campaign)
    path.write_text(path.read_text().replace('stations = ["HV99"]', "window_d = 3"))
    with pytest.raises(SettingsError, match="motion has windows of 1 d"):
        decide.run(campaign)
    create(tmp_path / "empty")
    assert decide.run(tmp_path / "empty").skipped == (decide.NO_MOTION,)


def test_melt_needs_a_table_of_temperature(campaign):
    opened = open_campaign(campaign)
    axis = START / NS_PER_DAY + np.arange(4) + 0.5
    melt, files, said = melt_index(opened, axis)
    assert melt is None
    assert files == ()
    assert "no table of air temperature" in said[-1]
    folder = campaign / "0-raw" / "weather"
    folder.mkdir()
    rows = "".join(f"2031-05-0{d}T12:00:00Z,{t}\n" for d, t in ((1, 2.0), (2, -3.0), (3, 4.5)))
    (folder / "HV01.csv").write_text("time_utc,temperature_degC\n" + rows)
    melt, files, _ = melt_index(opened, axis)
    assert melt[:3] == pytest.approx([2.0, 0.0, 4.5])
    assert files == (folder / "HV01.csv",)


def test_speeds_lie_on_one_axis(campaign):
    results = station_results(open_campaign(campaign))
    axis, found, said = daily_speeds(results, 1.0)
    assert len(axis) == DAYS
    assert axis[0] == pytest.approx(START / NS_PER_DAY + 0.5)
    percent, sigma, usual = found["HV05"]
    assert np.median(percent) == pytest.approx(100.0, abs=0.01)
    assert sigma[0] == pytest.approx(0.6 / usual)
    assert said == ()


def test_drainings_without_volume_are_sized_by_the_roof(campaign):
    lake = lake_results(open_campaign(campaign))[0]
    for told in lake.told["events"]:
        told |= {"volume_m3_median": None, "volume_m3_low": None, "volume_m3_high": None}
        told |= {"change_m_low": -2.4, "change_m_median": -2.0, "change_m_high": -1.6}
    axis = START / NS_PER_DAY + np.arange(DAYS) + 0.5
    events, names, size, sigma, unit, _ = drainings(DecidePart(), lake, axis)
    assert (len(events), len(names), unit) == (3, 3, "m")
    assert size == pytest.approx([2.0] * 3)
    assert sigma == pytest.approx([0.8 / 3.92] * 3)
    assert np.median(events.onset[0]) == pytest.approx(ONSETS[0] - 0.5, abs=0.2)
