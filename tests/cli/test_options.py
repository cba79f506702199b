"""How verbs end: what went wrong and what could not be done is said, and tells by the exit code."""

import click
import pytest
from click.testing import CliRunner

from stakeline.cli import stakeline
from stakeline.cli.options import end
from stakeline.workflows.position import Outcome


@click.command()
@click.pass_context
def ended(context):
    end(context, context.obj, quiet=False)


@pytest.mark.parametrize(
    ("outcome", "code", "text", "aside"),
    [
        (Outcome("all done\n"), 0, "all done\n", ""),
        (Outcome("all done\n", skipped=("one aside",)), 0, "all done\n", ""),
        (Outcome("rest done\n", ("no sun",)), 1, "rest done\n", "stakeline: no sun\n"),
        (Outcome("", skipped=("no map", "gone")), 1, "", "stakeline: no map\nstakeline: gone\n"),
    ],
)
def test_the_exit_code_tells_what_was_done(outcome, code, text, aside):
    said = CliRunner().invoke(ended, obj=outcome)
    assert (said.exit_code, said.stdout, said.stderr) == (code, text, aside)


@pytest.mark.parametrize(
    ("verb", "words"), [("decide", "run 'stakeline motion' first"), ("lakes", "no outline of a")]
)
def test_a_verb_that_can_do_nothing_says_why(tmp_path, verb, words):
    root = str(tmp_path / "c")
    assert CliRunner().invoke(stakeline, ["new", root]).exit_code == 0
    said = CliRunner().invoke(stakeline, [verb, "--campaign", root, "--quiet"])
    assert said.exit_code == 1
    assert words in said.stderr
