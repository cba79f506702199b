"""Positions of an invented campaign, the solver replaced by a quick one that notes its calls."""

import json
import shutil

import numpy as np
import pytest

from stakeline.campaign.folders import create
from stakeline.campaign.store import read_table
from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError, SolutionError
from stakeline.positioning.model import CORRECTIONS
from stakeline.tables import Positions
from stakeline.time import from_iso, gps_from_utc
from stakeline.workflows import arcs, position_campaign
from stakeline.workflows.motion_results import csv_rows

pytestmark = pytest.mark.compiled  # each test reads and writes a campaign of three days
STEP_S = 1800
PLACE = "latitude_deg = 79.0412\nlongitude_deg = 17.3580\n"
SETTINGS = '[campaign]\nname = "Trial"\n[position]\ninterval_s = 1800\n'
SETTINGS += '[[station]]\nname = "HV01"\nraw = ["0-raw/HV01"]\n'


@pytest.fixture(scope="module")
def prepared(tmp_path_factory, sky, histories):
    """A campaign of one station and three days, not yet positioned."""
    root = tmp_path_factory.mktemp("prepared")
    create(root)
    (root / "campaign.toml").write_text(SETTINGS, encoding="utf-8")
    (root / "stations" / "HV01.toml").write_text(histories.set_up(place=PLACE), encoding="utf-8")
    for day in range(3):
        times = sky.times(0, 86400, STEP_S) + day * NS_PER_DAY
        sky.write_receiver_file(root / "0-raw" / "HV01" / f"day{day}.rnx", times, seed=day)
        sky.write_orbits(root / "products" / f"day{day}.sp3", day, 1)
    return root


@pytest.fixture
def campaign(prepared, tmp_path):
    root = tmp_path / "trial"
    shutil.copytree(prepared, root)
    return root


@pytest.fixture
def solved(monkeypatch, sky):
    """The windows solved so far; ``solved.broken`` holds days whose arcs shall fail."""

    class Calls(list):
        broken = ()

    calls = Calls()
    calls.before = []  # the spans of earlier days that came along

    def quick(observations, products, settings, progress, before):
        progress("model")
        first, last = observations.time_ns[[0, -1]]
        middle = str(((first + last) // 2).view("datetime64[ns]"))[:10]
        if middle in calls.broken:
            raise SolutionError("too few satellites")
        calls.append((int(first), int(last), settings, products))
        calls.before.append(None if before is None else before.time_ns[[0, -1]].tolist())
        n = len(observations)
        up = settings.antenna_height_m[0] + 1e-3 * len(str(first)) * np.sin(np.arange(n))
        return Positions(
            station="",
            frame="",
            time_ns=observations.time_ns,
            position_m=sky.site * (1 - up / 6.36e6)[:, None] + float(first % 7) * 1e-3,
            covariance_m2=np.tile(np.eye(3) * 1e-4, (n, 1, 1)),
            satellites=np.diff(observations.row_start),
            state=np.full(n, "float"),
            summary={"mode": settings.mode, "warnings": []},
        )

    monkeypatch.setattr(arcs, "solve", quick)
    return calls


def run(root):
    return position_campaign.run(root)


def results(root):
    return {
        p.relative_to(root).as_posix(): p.read_bytes()
        for p in sorted((root / "4-position").rglob("*"))
        if p.is_file() and not p.name.startswith(".")
    }


def test_every_day_gets_a_table_and_a_summary(campaign, solved):
    outcome = run(campaign)
    assert outcome.problems == ()
    names = set(results(campaign))
    for day in ("2031-05-01", "2031-05-02", "2031-05-03"):
        assert f"4-position/HV01/HV01_{day}.parquet" in names
        assert f"4-position/HV01/HV01_{day}.json" in names
    (row,) = csv_rows(campaign / "4-position/midnights.csv")
    assert (row["station"], row["midnights"]) == ("HV01", "2")
    # the arcs made above differ by millimetres, with sigmas of a centimetre
    assert 0.0 < float(row["rms_sigmas"]) < 1.0


def test_tables_are_cut_to_the_day_and_know_their_frame_and_sources(campaign, solved, sky):
    run(campaign)
    columns, metadata = read_table(campaign / "4-position/HV01/HV01_2031-05-02.parquet")
    np.testing.assert_array_equal(
        columns["time_gps"].view(np.int64), sky.times(0, 86400, STEP_S) + NS_PER_DAY
    )
    assert metadata["frames"] == {"HV01": "IGS20"}
    files = {item["file"] for item in metadata["inputs"]}
    assert {f"0-raw/HV01/day{day}.rnx" for day in range(3)} <= files
    assert {f"products/day{day}.sp3" for day in range(3)} <= files
    assert all(len(item["sha256"]) == 64 for item in metadata["inputs"])


def test_arcs_take_six_hours_of_the_neighbours_along(campaign, solved, sky):
    run(campaign)
    first, last, *_ = solved[1]
    assert first == sky.day + NS_PER_DAY - 6 * 3600 * 10**9
    assert last == sky.day + 2 * NS_PER_DAY + 6 * 3600 * 10**9 - STEP_S * 10**9


def test_heights_and_antennas_come_from_the_history(campaign, solved):
    run(campaign)
    assert {call[2].antenna_height_m for call in solved} == {(1.532, 0.0, 0.0)}
    assert {call[2].antenna_model for call in solved} == {"HALVARD ICE1    NONE"}


def test_corrections_left_out_come_from_the_settings(campaign, solved):
    path = campaign / "campaign.toml"
    every = ", ".join(f'"{name}"' for name in CORRECTIONS)
    text = SETTINGS.replace("interval_s", f"switched_off = [{every}]\ninterval_s")
    path.write_text(text, encoding="utf-8")
    run(campaign)
    assert {call[2].switched_off for call in solved} == {CORRECTIONS}
    path.write_text(text.replace('"Shapiro"', '"tide"'), encoding="utf-8")
    with pytest.raises(SettingsError, match=r"campaign.toml:4: position.switched_off"):
        run(campaign)


def test_a_second_run_solves_nothing(campaign, solved):
    run(campaign)
    before, count = results(campaign), len(solved)
    outcome = run(campaign)
    assert len(solved) == count == 3
    assert results(campaign) == before
    assert "3 arcs: 3 up to date, 0 solved, 0 failed" in outcome.text


def test_the_same_input_gives_the_same_bytes_elsewhere(campaign, solved, prepared, tmp_path):
    run(campaign)
    other = tmp_path / "elsewhere"
    shutil.copytree(prepared, other)
    run(other)
    assert results(other) == results(campaign)


def test_no_clock_and_no_machine_path_stands_in_results(campaign, solved):
    run(campaign)
    text = b"".join(results(campaign).values())
    assert str(campaign).encode() not in text
    summary = json.loads((campaign / "4-position/HV01/HV01_2031-05-01.json").read_text())
    assert "seconds" not in json.dumps(summary)
    record = (campaign / "ledger" / "arcs" / "HV01_2031-05-01.json").read_text(encoding="utf-8")
    kept = json.loads(record)
    assert set(kept["seconds"]) == {"reading", "products", "model", "height above the snow"}
    assert kept["peak_memory_bytes"] >= 0


def test_what_arcs_cost_is_told_where_any_was_solved(campaign, solved):
    assert "s of one core an arc" in run(campaign).text
    assert "of one core" not in run(campaign).text


def test_a_lost_result_is_made_again(campaign, solved):
    run(campaign)
    before = results(campaign)
    (campaign / "4-position/HV01/HV01_2031-05-02.parquet").unlink()
    (campaign / "4-position/arcs/HV01/HV01_2031-05-03.parquet").write_bytes(b"PAR1 damaged")
    run(campaign)
    assert len(solved) == 4
    assert results(campaign) == before


def test_a_changed_setting_redoes_all_a_new_day_redoes_its_neighbours(campaign, solved, sky):
    run(campaign)
    times = sky.times(0, 86400, STEP_S) + 3 * NS_PER_DAY
    sky.write_receiver_file(campaign / "0-raw" / "HV01" / "day3.rnx", times, seed=3)
    run(campaign)
    assert len(solved) == 3 + 2  # the new day, and the day before it whose arc now is longer
    path = campaign / "campaign.toml"
    path.write_text(path.read_text().replace("= 1800", "= 3600"), encoding="utf-8")
    run(campaign)
    assert len(solved) == 5 + 4


def test_a_raw_file_taken_away_takes_its_results_along(campaign, solved):
    run(campaign)
    (campaign / "0-raw/HV01/day2.rnx").unlink()
    run(campaign)
    assert not [name for name in results(campaign) if "2031-05-03" in name]
    assert [name for name in results(campaign) if "2031-05-02" in name]


def test_a_failed_arc_is_told_and_stops_nothing(campaign, solved):
    solved.broken = ("2031-05-02",)
    outcome = run(campaign)
    assert outcome.problems == ("HV01_2031-05-02: too few satellites",)
    assert not [name for name in results(campaign) if "2031-05-02" in name]
    assert [name for name in results(campaign) if "2031-05-03.json" in name]
    solved.broken = ()
    assert run(campaign).problems == ()
    assert [name for name in results(campaign) if "2031-05-02" in name]


def test_arcs_end_at_a_raise_and_each_has_its_height(campaign, solved, histories):
    raised = histories.visit("2031-05-02T12:00:00", "raise", 2.532)
    history = histories.set_up(place=PLACE) + raised
    (campaign / "stations" / "HV01.toml").write_text(history, encoding="utf-8")
    outcome = run(campaign)
    assert outcome.problems == ()
    step = int(gps_from_utc(from_iso("2031-05-02T12:00:00")))
    for first, last, settings, _ in solved:
        assert last < step or first >= step
        assert settings.antenna_height_m[0] == (1.532 if last < step else 2.532)
    columns, _ = read_table(campaign / "4-position/HV01/HV01_2031-05-02.parquet")
    assert len(columns["x_m"]) == 48


def with_settings(campaign, old, new):
    path = campaign / "campaign.toml"
    path.write_text(path.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")


def test_earlier_days_come_along_where_the_station_asks_and_never_over_a_raise(
    campaign, solved, sky, histories
):
    run(campaign)
    assert solved.before == [None] * 3
    with_settings(campaign, 'name = "HV01"', 'name = "HV01"\nsidereal_days = 1')
    solved.before.clear()
    run(campaign)
    day_ns, later_ns = NS_PER_DAY, (7 * 3600 - STEP_S) * 10**9  # its end: margin and an hour
    assert solved.before == [
        None,
        [sky.day, sky.day + day_ns + later_ns],
        [sky.day + 2 * day_ns - 31 * 3600 * 10**9, sky.day + 2 * day_ns + later_ns],
    ]
    with (campaign / "stations" / "HV01.toml").open("a", encoding="utf-8") as file:
        file.write(histories.visit("2031-05-02T12:00:00", "raise", 2.532))
    solved.before.clear()
    run(campaign)
    step = int(gps_from_utc(from_iso("2031-05-02T12:00:00")))
    to_the_raise, from_it_on, next_day = solved.before  # the first day's arc ends before the raise
    assert to_the_raise[1] < step
    assert from_it_on is None
    assert next_day[0] >= step


def test_earlier_days_of_the_whole_campaign_come_along_for_still_antennas_alone(campaign, solved):
    with_settings(campaign, "= 1800\n", "= 1800\nsidereal_days = 1\n")
    run(campaign)
    assert solved.before == [None] * 3
    with_settings(campaign, "= 1800\n", '= 1800\nmode = "static"\n')
    solved.before.clear()
    run(campaign)
    assert [span is not None for span in solved.before] == [False, True, True]


def test_a_station_without_history_is_refused_in_words(campaign, solved):
    (campaign / "stations" / "HV01.toml").unlink()
    outcome = run(campaign)
    assert solved == []
    assert (
        "stations/HV01.toml is missing; it is the only source of antenna heights"
        in outcome.problems[0]
    )


def test_without_orbits_an_arc_says_what_to_give(campaign, solved):
    for path in (campaign / "products").iterdir():
        path.unlink()
    outcome = run(campaign)
    assert len(outcome.problems) == 3
    assert "give SP3 orbits with clocks, or RINEX navigation" in outcome.problems[0]


def test_each_piece_of_a_day_has_a_height_above_the_snow_or_why_not(campaign, solved, histories):
    with (campaign / "stations" / "HV01.toml").open("a", encoding="utf-8") as file:
        file.write(histories.visit("2031-05-02T12:00:00", "raise", 2.532))
    outcome = run(campaign)
    columns, _ = read_table(campaign / "4-position" / "HV01" / "HV01_snow.parquet")
    assert columns["antenna_height_m"].tolist() == [1.532, 1.532, 2.532, 2.532]
    assert set(columns["said"]) == {"the files hold no signal strengths"}
    said = "HV01: no day has a height above the snow: the files hold no signal strengths"
    assert outcome.notes == (said,)
    assert run(campaign).notes == (said,)
    (campaign / "0-raw" / "HV01" / "day2.rnx").unlink()
    run(campaign)
    assert not list(campaign.glob("4-position/arcs/HV01/*05-03_snow.json"))
    assert len(read_table(campaign / "4-position/HV01/HV01_snow.parquet")[0]["said"]) == 3


def test_leftovers_of_a_kill_are_cleared_away(campaign, solved):
    part = campaign / "4-position" / "HV01" / ".HV01_2031-05-01.parquet.123.part"
    part.parent.mkdir()
    part.write_bytes(b"half")
    run(campaign)
    assert not part.exists()
    # three arcs with their heights above the snow, three tables, three summaries, the snow's two,
    # the midnights
    assert len(results(campaign)) == 15


@pytest.mark.parametrize("writes", range(1, 21, 3))
def test_a_stop_after_any_write_is_made_good(
    campaign, solved, monkeypatch, writes, prepared, tmp_path
):
    whole = tmp_path / "whole"
    shutil.copytree(prepared, whole)
    run(whole)
    replace, count = type(campaign).replace, []

    def stop(self, target):
        count.append(target)
        if len(count) > writes:
            raise KeyboardInterrupt
        return replace(self, target)

    with monkeypatch.context() as patch:
        patch.setattr(type(campaign), "replace", stop)
        with pytest.raises(KeyboardInterrupt):
            run(campaign)
    assert len(results(campaign)) < len(results(whole))
    run(campaign)
    assert results(campaign) == results(whole)
