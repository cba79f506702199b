"""``stakeline run``."""

import click

from ..workflows import run
from . import EXIT_CODES
from .options import cluster, workers
from .progress import shown


@click.command(epilog=EXIT_CODES)
@click.argument("campaign", default=".", type=click.Path(file_okay=False))
@cluster
@workers("Processes that share the work.")
@click.option("--quiet", is_flag=True, help="Show no progress and no summary.")
@click.pass_context
def command(context, campaign, workers, quiet):
    """Do all verbs on CAMPAIGN (this folder where none is given).

    Goes through the verbs in the order of the work and does what is out of date; what is up to date
    is left alone. A file, a day or a verb that fails does not stop the rest. The summary at the end
    says for each verb what was done, was up to date, failed or was skipped, and why; run.txt in the
    campaign holds it too. Interrupted, the same command goes on where it stopped.
    """
    with shown(quiet) as progress:
        report = run.run(campaign, workers=workers, progress=progress)
    if quiet:
        for sentence in report.failed:
            click.echo(f"stakeline: {sentence}", err=True)
    else:
        click.echo(report.text(), nl=False)
    context.exit(1 if report.failed else 0)
