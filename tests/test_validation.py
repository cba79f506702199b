"""The runner of the figures: every program is run, a shortfall is said, machines stay unnamed."""

import importlib.util
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]


@pytest.fixture
def runner(tmp_path, monkeypatch):
    """Return the runner, set on a project of its own in an empty folder."""
    place = ROOT / "validation" / "__main__.py"
    specification = importlib.util.spec_from_file_location("validation_runner", place)
    module = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(module)
    (tmp_path / "validation").mkdir()
    (tmp_path / "docs").mkdir()
    monkeypatch.setattr(module, "ROOT", tmp_path)
    monkeypatch.setattr(module, "PAGE", tmp_path / "docs" / "validation.md")
    monkeypatch.setenv("STAKELINE_REFERENCE_DATA", str(tmp_path / "open" / "data"))
    return module


def write(runner, name, text):
    (runner.ROOT / "validation" / f"{name}.py").write_text(text, encoding="utf-8")


GOOD = '"""Height of the pole."""\n\nimport os\n\nprint(os.environ["STAKELINE_REFERENCE_DATA"])\n'
SHORT = '"""Depth of the lake."""\n\nimport sys\n\nprint("3 m, bar 2 m")\nsys.exit(1)\n'


def test_all_reached(runner, capfd):
    write(runner, "position_a", GOOD)
    write(runner, "_shared", "raise SystemExit(5)\n")
    assert runner.main([]) == 0
    text = runner.PAGE.read_text(encoding="utf-8")
    assert "1 of 1 reach their bar" in text
    assert "| Height of the pole | reached | 0 |" in text
    assert "DATA" in text
    assert str(runner.ROOT) not in text
    assert "all figures reach their bar" in capfd.readouterr().out


def test_one_that_falls_short_does_not_stop_the_rest(runner, capfd):
    write(runner, "a_short", SHORT)
    write(runner, "b_good", GOOD)
    assert runner.main([]) == 1
    text = runner.PAGE.read_text(encoding="utf-8")
    assert "1 of 2 reach their bar" in text
    assert "| Depth of the lake | **fell short** | 0 |" in text
    assert "3 m, bar 2 m" in text
    assert "fell short: a_short" in capfd.readouterr().out


def test_a_program_that_breaks_falls_short(runner):
    write(runner, "broken", "raise ValueError('no')\n")
    assert runner.main([]) == 1
    assert "ValueError: no" in runner.PAGE.read_text(encoding="utf-8")


def test_nothing_to_measure_is_no_success(runner):
    assert runner.main([]) == 1


def test_names_select_and_the_rest_of_the_page_stays(runner):
    write(runner, "a_short", SHORT)
    write(runner, "b_good", GOOD)
    assert runner.main(["b_good"]) == 0
    text = runner.PAGE.read_text(encoding="utf-8")
    assert "1 of 2 reach their bar" in text
    assert "| Depth of the lake | not measured |" in text
    assert runner.main(["a_short"]) == 1
    first = runner.kept()
    assert list(first) == ["a_short", "b_good"]
    assert f"`python validation/b_good.py` left with 0 after {first['b_good'].seconds} s" in text
    assert first["b_good"].shown == "DATA"
    with pytest.raises(SystemExit, match="no such figure: c"):
        runner.main(["c"])


def test_arguments_reach_the_program_and_the_page(runner):
    write(runner, "many", '"""Many."""\nimport sys\nprint(sys.argv[1:])\n')
    assert runner.main(["many:100:161"]) == 0
    (outcome,) = runner.kept().values()
    assert outcome.words == " 100 161"
    assert outcome.shown == "['100', '161']"


def test_programs_run_with_this_interpreter(runner):
    write(runner, "which", '"""Which."""\nimport sys\nprint(sys.executable)\n')
    outcome = runner.run(runner.ROOT / "validation" / "which.py")
    assert outcome.code == "0"
    assert runner.without_places(sys.executable) == outcome.shown
