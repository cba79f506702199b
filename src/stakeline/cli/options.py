"""What several verbs share: their options, how they refuse, how they end."""

import click

QUIET = click.option("--quiet", is_flag=True, help="Show no progress.")


def cluster(command):
    """Add ``--cluster``: an address stands in for the number of ``--workers``."""
    return click.option(
        "--cluster",
        metavar="ADDRESS",
        expose_value=False,
        callback=_instead_of_workers,
        help="Scheduler of a cluster whose workers see the same folders, instead of --workers.",
    )(command)


def _instead_of_workers(context, _, address):
    if address:
        context.params["workers"] = address  # --workers is eager, and so is read before


def workers(text, usual=1):
    """Return the option ``--workers``; ``text`` says what the processes share."""
    return click.option(
        "--workers",
        is_eager=True,
        type=click.IntRange(1, 64),
        default=usual,
        metavar="N",
        show_default=True,
        help=text,
    )


def refuse(wrong, sentence):
    """Raise a usage error with a sentence where something is ``wrong``."""
    if wrong:
        raise click.UsageError(sentence)


def end(context, outcome, quiet):
    """Say what a verb did and what it could not; leave with 1 where there were problems.

    A verb without a word about anything done could do nothing: it says why, and leaves with 1.
    """
    nothing = () if outcome.text else outcome.skipped
    for sentence in (*outcome.problems, *nothing):
        click.echo(f"stakeline: {sentence}", err=True)
    if not quiet:
        click.echo(outcome.text, nl=False)
    context.exit(1 if outcome.problems or nothing else 0)
