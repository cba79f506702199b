"""``stakeline lakes``."""

import click

from ..workflows import lakes
from . import EXIT_CODES
from .options import QUIET, cluster, end, workers
from .progress import shown
from .several import SeveralCommand, SeveralOption


@click.command(cls=SeveralCommand, epilog=EXIT_CODES)
@click.option(
    "--campaign",
    type=click.Path(file_okay=False),
    help="The campaign.  [default: the one this folder is in]",
)
@click.option(
    "--lake", cls=SeveralOption, metavar="NAME...", help="Only these lakes of the campaign."
)
@cluster
@workers("Processes, each for a lake of its own.")
@QUIET
@click.pass_context
def command(context, campaign, lake, workers, quiet):
    """Find when lakes below the ice filled and drained, how much water, and how surely.

    Lakes are the outlines in the campaign's maps/ (GeoJSON, or shapefiles); heights come from
    5-motion/, so do 'stakeline motion' first. What is up to date is left alone. Writes to 6-lakes/:
    a catalogue of events, the day of each onset by several definitions, levels, volumes and
    discharge with their intervals, what stands against each event, a summary in words.

    An event that a person has looked at is flagged by [[lakes.review]] in campaign.toml.
    """
    with shown(quiet) as progress:
        result = lakes.run(campaign, lakes=lake or (), workers=workers, progress=progress)
    end(context, result, quiet)
