"""``stakeline report``."""

import click

from ..workflows import report
from . import EXIT_CODES
from .options import QUIET, end
from .progress import shown


@click.command(epilog=EXIT_CODES)
@click.argument("campaign", required=False, type=click.Path(file_okay=False))
@QUIET
@click.pass_context
def command(context, campaign, quiet):
    """Write what a reader gets: one PDF, one HTML file, and where each number comes from.

    Chapters follow the verbs; what a campaign has not, the report says could not be done. It shows
    tables and figures of the verbs and computes nothing. Writes to 8-report/: report.pdf,
    report.html (needs nothing beside it), numbers.json (file, row, column and checksum of
    each number shown).

    CAMPAIGN may be left out inside of one.
    """
    with shown(quiet) as progress:
        result = report.run(campaign, progress=progress)
    end(context, result, quiet)
