"""Exit codes, sentences, and options that take several values."""

import click
import pytest

from stakeline import cli
from stakeline.cli.progress import shown
from stakeline.cli.several import SeveralCommand, SeveralOption, spread
from stakeline.errors import ProductError, SettingsError
from stakeline.workflows import position, position_campaign, run
from stakeline.workflows.position import Outcome


@pytest.fixture
def observation(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "HV01.rnx").write_text("anything", encoding="utf-8")
    (tmp_path / "a.sp3").write_text("anything", encoding="utf-8")
    (tmp_path / "b.sp3").write_text("anything", encoding="utf-8")
    return "HV01.rnx"


@pytest.fixture
def asked(monkeypatch):
    """Record what the workflow is asked for, and let it answer ``asked['answer']``."""
    seen = {"answer": Outcome("done\n")}

    def answer(observations, **options):
        seen["observations"], seen["options"] = observations, options
        if isinstance(seen["answer"], BaseException):
            raise seen["answer"]
        return seen["answer"]

    monkeypatch.setattr(position, "run", answer)
    monkeypatch.setattr(position_campaign, "run", lambda campaign, **rest: answer(campaign, **rest))
    return seen


def test_help_names_every_verb_and_exit_code(capsys):
    assert cli.run(["--help"]) == 0
    text = capsys.readouterr().out
    assert all(f"  {verb} " in text for verb in cli.VERBS)
    assert all(f"  {code}  " in text for code in range(4))


@pytest.mark.parametrize("verb", cli.VERBS)
def test_every_verb_explains_itself(verb, capsys):
    assert cli.run([verb, "--help"]) == 0
    assert f"Usage: stakeline {verb}" in capsys.readouterr().out


def test_all_went_well_is_0(observation, asked, capsys):
    assert cli.run(["position", observation, "--orbits", "a.sp3", "--out", "x.csv"]) == 0
    assert capsys.readouterr().out == "done\n"


def test_several_values_after_one_option(observation, asked):
    cli.run(["position", observation, "--orbits", "a.sp3", "b.sp3", "--out", "x.csv"])
    assert asked["observations"] == (observation,)
    assert asked["options"]["orbits"] == ("a.sp3", "b.sp3")


def test_a_failed_input_is_1_and_told(observation, asked, capsys):
    asked["answer"] = Outcome("rest\n", ("HV02: no epoch",))
    assert cli.run(["position", observation, "--out", "x.csv"]) == 1
    assert capsys.readouterr().err == "stakeline: HV02: no epoch\n"


def test_an_error_of_the_input_is_one_line_and_1(observation, asked, capsys):
    asked["answer"] = ProductError("orbits end too early")
    assert cli.run(["position", observation, "--out", "x.csv", "--quiet"]) == 1
    assert capsys.readouterr().err == "stakeline: orbits end too early\n"


def test_a_mistake_of_ours_is_one_line_too(observation, asked, capsys):
    asked["answer"] = KeyError("x")
    assert cli.run(["position", observation, "--out", "x.csv", "--quiet"]) == 1
    told = capsys.readouterr().err
    assert told.startswith("stakeline: stopped by a mistake of Stakeline's own (KeyError at ")
    assert told.count("\n") == 1


def test_bad_settings_are_2_with_a_line_for_each(observation, asked, capsys):
    asked["answer"] = SettingsError("campaign.toml:3: a\ncampaign.toml:9: b")
    assert cli.run(["position"]) == 2
    told = capsys.readouterr().err
    assert told == "stakeline: campaign.toml:3: a\nstakeline: campaign.toml:9: b\n"


def test_an_interrupt_is_3(observation, asked, capsys):
    asked["answer"] = KeyboardInterrupt()
    assert cli.run(["position", observation, "--out", "x.csv"]) == 3
    assert "interrupted; run the same command again" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["positoin"], "there is no verb 'positoin'; did you mean 'position'?"),
        (["position", "missing.rnx", "--out", "x.csv"], "'missing.rnx' does not exist"),
        (["position", "HV01.rnx"], "say where the table goes: --out FILE.csv"),
        (["position", "--out", "x.csv"], "--out without OBS files"),
        (["position", "HV01.rnx", "--out", "x.csv", "--mask", "95"], "95.0 is not in the range"),
        (["position", "HV01.rnx", "--out", "x.csv", "--mode", "slow"], "'slow' is not one of"),
        (["position", "HV01.rnx", "--orbit", "a.sp3", "--out", "x"], "--orbits"),
        (["new"], "Missing argument 'CAMPAIGN'"),
    ],
)
def test_wrong_usage_is_2_and_one_line(observation, arguments, said, capsys):
    assert cli.run(arguments) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert told.startswith("stakeline: ")
    assert said in told


def test_wrong_ending_and_unknown_system_are_2(observation, capsys):
    assert cli.run(["position", observation, "--out", "x.txt"]) == 2
    assert "ends in .csv or .parquet" in capsys.readouterr().err
    assert cli.run(["position", observation, "--out", "x.csv", "--systems", "GPS,ABC"]) == 2
    assert "--systems 'ABC' is no system; systems are GPS, GAL" in capsys.readouterr().err


def test_no_campaign_anywhere_is_2(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert cli.run(["position"]) == 2
    assert "stand in the folder of a campaign" in capsys.readouterr().err
    assert cli.run(["intake", str(tmp_path)]) == 2
    assert "holds no campaign.toml; start a campaign with" in capsys.readouterr().err


def test_new_makes_the_folders_and_refuses_to_do_it_twice(tmp_path, capsys):
    folder = tmp_path / "halvard"
    assert cli.run(["new", str(folder)]) == 0
    assert (folder / "stations" / "HV01.toml").is_file()
    assert sorted(p.name for p in folder.iterdir() if p.name[0].isdigit())[0] == "0-raw"
    assert cli.run(["new", str(folder)]) == 2
    assert "already holds a campaign" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("given", "spread_out"),
    [
        ("o --a 1 2 --b 3", "o --a 1 --a 2 --b 3"),
        ("--a=1 2 --c 3 4", "--a=1 --a 2 --c 3 4"),
        ("--a 1 -- 2", "--a 1 -- 2"),
        ("--c 1 2", "--c 1 2"),
        ("--a 1 --a 2 3", "--a 1 --a 2 --a 3"),
    ],
)
def test_values_get_the_name_of_their_option(given, spread_out):
    assert spread(given.split(), {"--a", "--b"}) == spread_out.split()


def test_commas_part_values_too():
    @click.command(cls=SeveralCommand)
    @click.option("--a", cls=SeveralOption, type=int)
    def command(a):
        return a

    assert command.main(["--a", "1,2", "3"], standalone_mode=False) == (1, 2, 3)


def test_progress_is_plain_lines_in_a_log_and_nothing_when_quiet(capsys):
    with shown() as progress:
        progress(1, 2, "HV01 positioned")
    with shown(quiet=True) as progress:
        progress(2, 2, "HV02 positioned")
    seen = capsys.readouterr()
    assert (seen.out, seen.err) == ("", "[1/2] HV01 positioned\n")


def test_progress_is_a_bar_on_a_terminal(capsys):
    class Terminal:
        text = ""
        encoding = "utf-8"

        def isatty(self):
            return True

        def write(self, text):
            self.text += text

        def flush(self):
            pass

    terminal = Terminal()
    with shown(stream=terminal) as progress:
        progress(1, 2, "HV01 positioned")
    assert "1/2" in terminal.text


@pytest.fixture
def reported(monkeypatch):
    """Let the run of all verbs answer with a report of one verb."""

    def answer_with(**parts):
        report = run.RunReport("Trial", (("intake", run.VerbReport(**parts), 0.5),))
        monkeypatch.setattr(run, "run", lambda campaign, **rest: report)

    return answer_with


def test_a_run_in_which_all_went_well_is_0(reported, capsys):
    reported(done=("3 files examined",))
    assert cli.run(["run", "halvard"]) == 0
    said = capsys.readouterr().out
    assert said == "Trial: intake\nintake (0.5 s)\n  done: 3 files examined\nall is done\n"
    assert cli.run(["run", "halvard", "--quiet"]) == 0
    assert capsys.readouterr().out == ""


def test_a_run_in_which_something_failed_is_1_and_says_so_when_quiet_too(reported, capsys):
    reported(failed=("HV01.rnx: the file is empty",))
    assert cli.run(["run", "halvard"]) == 1
    assert "  failed: 1\n    HV01.rnx: the file is empty\n" in capsys.readouterr().out
    assert cli.run(["run", "--quiet"]) == 1
    seen = capsys.readouterr()
    assert (seen.out, seen.err) == ("", "stakeline: intake: HV01.rnx: the file is empty\n")


def test_verbs_stand_in_the_order_of_the_work():
    verbs = [
        "new",
        "plan",
        "commission",
        "intake",
        "position",
        "motion",
        "lakes",
        "decide",
        "report",
        "view",
        "journal",
        "run",
        "demo",
    ]
    assert list(cli.VERBS) == verbs


def test_a_plan_is_frozen_with_its_day_and_not_twice(tmp_path, capsys):
    assert cli.run(["new", str(tmp_path)]) == 0
    arguments = ["decide", "--campaign", str(tmp_path), "--plan", "--day", "2031-06-01"]
    capsys.readouterr()
    assert cli.run(arguments) == 0
    said = capsys.readouterr().out
    assert said.startswith("plan frozen: 7-decide/plan.toml; the day it carries lies ")
    assert 'frozen_on = "2031-06-01"' in (tmp_path / "7-decide" / "plan.toml").read_text()
    assert cli.run(arguments) == 2
    assert "a plan is frozen already" in capsys.readouterr().err
    assert cli.run(["decide", "--campaign", str(tmp_path), "--plan", "--day", "June"]) == 2
