"""The command line: eight verbs, each loaded only when it is called."""

import difflib
import importlib
import os
import sys

import click

from .. import __version__
from ..errors import StakelineError
from ..threads import leave_one_thread

VERBS = {
    "new": "Start a campaign: folders, settings, an example station.",
    "plan": "Say whether a station lives through the winter, stands, and fits the aircraft.",
    "commission": "Build it right: field sheet, expected readings, and may I leave?",
    "intake": "Take in what the receivers brought back: catalogue, gaps, warnings.",
    "position": "Turn observations into positions: single files, or a whole campaign.",
    "motion": "Turn positions into the motion of the ice: speed, tide, strain, residual up.",
    "lakes": "Find when lakes below the ice fill and drain, and how much water.",
    "decide": "Say whether the ice changes speed when a lake drains, or whether it is chance.",
    "report": "Hand it on: a report in PDF and HTML, and where each number comes from.",
    "view": "Show a campaign in a browser on this machine; the field sheet for a tablet.",
    "journal": "Show or write down what was decided by hand: who, when, why.",
    "run": "Do all verbs on a campaign: whatever is out of date, in order.",
    "demo": "Invent a campaign on moving ice, do all verbs on it, compare with the truth.",
}

MODULES = {"run": "run_campaign"}  # a module named run would hide the function below

EXIT_CODES = """\b
Exit codes:
  0  all was done
  1  an input could not be used or a solution failed; the rest was done
  2  wrong usage or settings; nothing was done
  3  interrupted; run the same command again to go on
"""


class Verbs(click.Group):
    """A group that knows its verbs by name and imports only the one that is called."""

    def list_commands(self, context):
        """Return the verbs in the order of the work."""
        return list(VERBS)

    def get_command(self, context, name):
        """Import one verb's module and return its command."""
        if name not in VERBS:
            near = difflib.get_close_matches(name, VERBS, 1)
            hint = f"did you mean '{near[0]}'?" if near else f"verbs are {', '.join(VERBS)}"
            raise click.UsageError(f"there is no verb '{name}'; {hint}", context)
        return importlib.import_module(f".{MODULES.get(name, name)}", __package__).command

    def format_commands(self, context, formatter):
        """List the verbs without importing them."""
        with formatter.section("Verbs"):
            formatter.write_dl(list(VERBS.items()))


@click.group(cls=Verbs, epilog=EXIT_CODES, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="stakeline", message="%(prog)s %(version)s")
def stakeline():
    """Positions of GNSS stations on moving ice, from a raw receiver file on.

    'stakeline VERB --help' explains a verb.
    """


def _usage_sentence(problem):
    context = getattr(problem, "ctx", None)
    path = context.command_path if context else "stakeline"
    return f"{problem.format_message().rstrip('.')}; '{path} --help' shows the usage"


def main(arguments=None):
    """Run the command line and leave with its exit code."""
    leave_one_thread()
    sys.exit(run(arguments))


def run(arguments=None):
    """Run the command line; return the exit code. Problems of the input are said in one line."""
    try:
        return stakeline.main(arguments, prog_name="stakeline", standalone_mode=False) or 0
    except click.exceptions.Exit as leaving:
        return leaving.exit_code
    except (click.Abort, KeyboardInterrupt):
        click.echo("stakeline: interrupted; run the same command again to go on", err=True)
        return 3
    except click.ClickException as problem:
        click.echo(f"stakeline: {_usage_sentence(problem)}", err=True)
        return 2
    except StakelineError as problem:
        for line in str(problem).splitlines():
            click.echo(f"stakeline: {line}", err=True)
        return problem.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 1
    except Exception as problem:
        from ..workflows.pool import own_mistake

        click.echo(f"stakeline: {own_mistake(problem)}", err=True)
        return 1
