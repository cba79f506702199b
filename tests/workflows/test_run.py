"""All verbs in one run: nothing twice, nothing stopped by another's failure, all of it said."""

import shutil

import numpy as np
import pytest

from stakeline.campaign.folders import create
from stakeline.campaign.store import only_one
from stakeline.errors import SettingsError, SolutionError
from stakeline.workflows import run
from stakeline.workflows.run import LISTED, Step, VerbReport

SETTINGS = '[campaign]\nname = "Trial"\n[[station]]\nname = "HV01"\nraw = ["0-raw/HV01"]\n'
SETTINGS += 'positions = ["0-raw/positions/HV01.csv"]\n'
TABLE = "time_gps,x_m,y_m,z_m,sigma_east_m,sigma_north_m,sigma_up_m\n"
TABLE += "2031-05-01,1163000.0,363000.0,6238000.0,0.01,0.01,0.02\n"


@pytest.fixture
def campaign(tmp_path, histories):
    """A campaign of one table of positions, a note, and files that cannot be used."""
    root = tmp_path / "trial"
    create(root)
    (root / "campaign.toml").write_text(SETTINGS, encoding="utf-8")
    (root / "stations" / "HV01.toml").write_text(histories.set_up(), encoding="utf-8")
    (root / "plans" / "HV01.toml").unlink()
    (root / "0-raw" / "positions").mkdir()
    (root / "0-raw" / "positions" / "HV01.csv").write_text(TABLE, encoding="utf-8")
    (root / "0-raw" / "note.txt").write_text("The mast stood well in the wind.", encoding="utf-8")
    return root


def parts(report):
    return {verb: said for verb, said, _ in report.verbs}


def test_a_first_run_does_all_a_second_nothing(campaign):
    first = parts(run.run(campaign))
    assert first["intake"].done == ("2 files examined",)
    assert first["position"].done == ("1 stations' positions taken from tables",)
    again = run.run(campaign)
    assert parts(again)["intake"].up_to_date == ("2 files",)
    assert parts(again)["position"].up_to_date == ("1 stations' positions of tables",)
    assert not any(said.done or said.failed for said in parts(again).values())
    assert parts(again)["motion"].skipped[0] == "HV01: 1 positions; motion needs at least 10"
    assert again.verdict == "all is up to date"


def test_the_summary_lies_in_the_campaign_without_seconds(campaign):
    report = run.run(campaign)
    text = (campaign / "run.txt").read_text(encoding="utf-8")
    assert text == report.text(with_seconds=False)
    assert text.startswith(
        "Trial: plan, intake, position, motion, lakes, decide\nplan\n  skipped: 1\n"
        "    there is no station file in plans\nintake\n  done: 2 files examined\n"
    )
    assert " s)" in report.text()
    assert " s)" not in text


def test_the_same_campaign_elsewhere_gives_the_same_words(campaign, tmp_path):
    shutil.copytree(campaign, tmp_path / "other")
    run.run(campaign)
    run.run(tmp_path / "other")
    assert (campaign / "run.txt").read_bytes() == (tmp_path / "other" / "run.txt").read_bytes()


def test_files_that_fail_stop_nothing(campaign):
    (campaign / "0-raw" / "empty.rnx").write_bytes(b"")
    (campaign / "0-raw" / "again.csv").write_text(TABLE, encoding="utf-8")
    (campaign / "0-raw" / "odd.bin").write_bytes(bytes(range(256)))
    report = run.run(campaign)
    assert report.failed == ("intake: 0-raw/empty.rnx: the file is empty",)
    assert parts(report)["intake"].skipped == (
        "0-raw/odd.bin: its kind is not known",
        "0-raw/positions/HV01.csv: the same content as 0-raw/again.csv",
    )
    assert parts(report)["position"].done
    assert "1 failed; the rest is done" in report.text()


def test_a_broken_table_is_a_failure_of_its_station(campaign):
    (campaign / "0-raw/positions/HV01.csv").write_text(TABLE.replace("0.02", "-1"), "utf-8")
    (said,) = run.run(campaign).failed
    assert said.startswith("position: HV01: 0-raw/positions/HV01.csv: found -1 m of sigma_up_m")


def test_a_verb_without_input_is_skipped(campaign):
    for path in (campaign / "0-raw").rglob("*.*"):
        path.unlink()
    (campaign / "campaign.toml").write_text('[campaign]\nname = "Trial"\n', encoding="utf-8")
    report = run.run(campaign)
    assert parts(report)["intake"].skipped == ("there is no file in 0-raw",)
    assert parts(report)["position"].skipped == (
        "no usable receiver file and no table of positions",
    )
    assert report.failed == ()


def _does(done):
    return lambda root, workers, progress: VerbReport(done=(done,))


def _raises(problem):
    def work(root, workers, progress):
        raise problem

    return work


def test_a_verb_that_fails_stops_no_other(campaign):
    steps = (
        Step("first", _raises(SolutionError("too few satellites"))),
        Step("second", _raises(ZeroDivisionError("division"))),
        Step("third", _does("all of it")),
    )
    report = run.run(campaign, steps=steps)
    assert report.failed[0] == "first: too few satellites"
    assert "mistake of Stakeline's own (ZeroDivisionError" in report.failed[1]
    assert parts(report)["third"].done == ("all of it",)


def test_an_interrupt_ends_the_run_and_leaves_no_summary(campaign):
    with pytest.raises(KeyboardInterrupt):
        run.run(campaign, steps=(Step("first", _raises(KeyboardInterrupt())),))
    assert not (campaign / "run.txt").exists()
    assert run.run(campaign).failed == ()


def test_long_lists_are_counted(campaign):
    many = tuple(f"file {number}" for number in range(LISTED + 7))
    step = Step("first", lambda root, workers, progress: VerbReport(failed=many))
    text = run.run(campaign, steps=(step,)).text()
    assert f"  failed: {LISTED + 7}\n    file 0\n" in text
    assert f"    file {LISTED - 1}\n    and 7 more\n" in text


def test_progress_names_the_verb_and_the_item(campaign):
    seen = []
    run.run(campaign, progress=lambda done, total, text: seen.append((done, total, text)))
    assert seen[0] == (0, 7, "plan")
    assert seen[-1] == (7, 7, "done")  # whether or not the last verb had anything to do
    assert (1, 2, "intake 2/7: 0-raw/note.txt") in seen
    assert (1, 1, "position 3/7: HV01 positions of a table") in seen


def test_a_campaign_that_is_held_or_impossible_is_told_at_once(campaign, tmp_path):
    with (
        only_one(campaign / "ledger" / "lock"),
        pytest.raises(SettingsError, match="another run is working"),
    ):
        run.run(campaign)
    (campaign / "stations" / "HV01.toml").write_text("station = 5\n", encoding="utf-8")
    with pytest.raises(SettingsError, match=r"HV01.toml:1: station"):
        run.run(campaign)
    with pytest.raises(SettingsError, match="start a campaign"):
        run.run(tmp_path)


def test_receiver_files_that_wait_say_why(campaign, sky):
    times = sky.times(0, 7200)
    sky.write_receiver_file(campaign / "0-raw" / "stray.rnx", times, marker_name="TEST")
    report = run.run(campaign)
    said = "0-raw/stray.rnx: of no station; name it in campaign.toml or use its folder"
    assert said in parts(report)["intake"].skipped
    assert np.all([said.failed == () for said in parts(report).values()])
