"""``stakeline intake``."""

import click

from ..workflows import intake
from . import EXIT_CODES
from .options import workers
from .progress import shown


@click.command(epilog=EXIT_CODES)
@click.argument("campaign", default=".", type=click.Path(file_okay=False))
@workers("Processes that read files.")
@click.option("--quiet", is_flag=True, help="Show no progress and no summary.")
@click.pass_context
def command(context, campaign, workers, quiet):
    """Take in the raw files of CAMPAIGN (this folder where none is given).

    Reads every file below 0-raw/ by its content and changes none of them. Writes to 3-intake/: the
    manifest (every file with size, checksum, kind, station and span), what had to be set aside and
    why, duplicates, days with their completeness, headers that contradict the station history,
    proposals for wrong dates, and a summary in words. Files set aside lead to exit code 1.
    """
    with shown(quiet) as progress:
        report = intake.run(campaign, workers=workers, progress=progress)
    if not quiet:
        click.echo(report.text, nl=False)
    context.exit(1 if report.set_aside else 0)
