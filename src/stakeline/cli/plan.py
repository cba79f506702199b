"""``stakeline plan``."""

import click

from ..workflows import plan
from . import EXIT_CODES
from .options import QUIET, end, workers
from .progress import shown


@click.command(epilog=EXIT_CODES)
@click.argument("targets", nargs=-1, type=click.Path(), metavar="[CAMPAIGN | STATION_FILE...]")
@click.option(
    "--out",
    type=click.Path(file_okay=False),
    metavar="FOLDER",
    help="For station files outside of a campaign: where sheets, tables and figures go.",
)
@workers("Processes, each for a station of its own.")
@QUIET
@click.pass_context
def command(context, targets, out, workers, quiet):
    """Say whether a station lives through the winter, stands, and fits the aircraft.

    A STATION_FILE describes a station in plain TOML: site, weather, panels, turbine, battery,
    loads, box, mast, guys, snow, cargo; 'stakeline new' makes an example, plans/HV01.toml. Many
    years of weather are drawn and gone through by the hour.

    With a CAMPAIGN (or in its folder): every station of plans/, what is up to date is left alone;
    writes to 1-plan/NAME a sheet (PDF), tables and figures, and to 1-plan/ what concerns all
    stations: places on the day of the visit, round of visits, baselines, retrieval.

    Figures are engineering estimates: local codes and licensed practice decide.
    """
    with shown(quiet) as progress:
        result = plan.run(targets, out=out, workers=workers, progress=progress)
    end(context, result, quiet)
