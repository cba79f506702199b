"""The command ``commission``: exit codes, refusals, and the words a person reads."""

import sys
from pathlib import Path

import pytest

from stakeline.cli import run

sys.path.append(str(Path(__file__).parents[1] / "workflows"))
import commission_campaign as made


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    root = tmp_path_factory.mktemp("command") / "campaign"
    made.make(root)
    return root


def test_the_sheet(root, capsys):
    options = [
        "--at",
        made.SET_UP_UTC[:16],
        "--sky",
        "clear",
        "--temperature",
        "-18",
        "--wind",
        "5",
    ]
    assert run(["commission", str(root), "HV03", *options]) == 0
    said = capsys.readouterr().out
    assert "Sky clear, Air -18 °C, Wind 5 m/s" in said
    assert "written: 2-commission/HV03/HV03_sheet_letter.pdf" in said


def test_readings_that_are_not_enough_end_with_one(root, capsys):
    path = made.folder(root) / "readings.toml"
    assert run(["commission", str(root), "HV03", "--readings", str(path)]) == 1
    said = capsys.readouterr()
    assert "HV03: do not leave yet" in said.err
    assert "antenna height: no reading" in said.out
    assert run(["commission", str(root), "HV03", "--readings", str(path), "--quiet"]) == 1
    said = capsys.readouterr()
    assert "2-commission/HV03/verdict.txt says what" in said.err
    assert said.out == ""


def test_good_readings_end_with_nought_and_are_shown_again(root, capsys):
    path = made.fill(root, "good.toml")
    assert run(["commission", str(root), "HV03", "--readings", str(path)]) == 0
    assert "HV03: you may leave" in capsys.readouterr().out
    assert run(["commission", str(root), "HV03", "--records"]) == 0
    assert "HV03, set-up of 2025-04-28T14:30:00+00:00" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["HV03", "--readings", "FILE", "--sky", "clear"], "weather and time stand in the file"),
        (["HV03", "--amend", "why"], "--amend goes with --readings"),
        (["HV03", "--readings", "FILE", "--kind", "raise"], "and so does the kind"),
        (["HV01", "--kind", "retrieval"], "nothing stands at HV01 before"),
        (["HV07"], "no plan of HV07"),
        (["HV03", "--sky", "sunny"], "sunny"),
    ],
)
def test_refusals_end_with_two(root, capsys, arguments, sentence):
    path = str(made.folder(root) / "readings.toml")
    arguments = [path if argument == "FILE" else argument for argument in arguments]
    assert run(["commission", str(root), *arguments]) == 2
    assert sentence in capsys.readouterr().err


def test_view_without_a_campaign_says_what_to_do(tmp_path, capsys):
    assert run(["view", str(tmp_path)]) == 2
    assert "start a campaign with" in capsys.readouterr().err
