"""``stakeline intake``."""

import click

from ..workflows import intake, quality_picture
from . import EXIT_CODES
from .options import workers
from .progress import shown


@click.command(epilog=EXIT_CODES)
@click.argument("campaign", default=".", type=click.Path(file_okay=False))
@workers("Processes that read files.")
@click.option("--quiet", is_flag=True, help="Show no progress and no summary.")
@click.option(
    "--picture",
    "pictures",
    multiple=True,
    metavar="FILE",
    help="Draw the quality of this receiver file, as the manifest names it, and take in nothing.",
)
@click.pass_context
def command(context, campaign, workers, quiet, pictures):
    """Take in the raw files of CAMPAIGN (this folder where none is given).

    Reads every file below 0-raw/ by its content and changes none of them. Writes to 3-intake/: the
    manifest (every file with size, checksum, kind, station and span), what had to be set aside and
    why, duplicates, days with their completeness, headers that contradict the station history,
    proposals for wrong dates, quality of receivers' days, health of stations by their loggers, next
    visits by risk, and a summary in words. Files set aside lead to exit code 1.
    """
    for name in pictures:
        click.echo(quality_picture.draw_file(campaign, name))
    if pictures:
        return
    with shown(quiet) as progress:
        report = intake.run(campaign, workers=workers, progress=progress)
    if not quiet:
        click.echo(report.text, nl=False)
    context.exit(1 if report.set_aside else 0)
