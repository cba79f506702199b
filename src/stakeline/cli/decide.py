"""``stakeline decide``."""

from datetime import UTC, datetime

import click

from ..workflows import decide
from . import EXIT_CODES
from .options import QUIET, cluster, end, workers
from .progress import shown


@click.command(epilog=EXIT_CODES)
@click.option(
    "--campaign",
    type=click.Path(file_okay=False),
    help="The campaign.  [default: the one this folder is in]",
)
@click.option("--plan", is_flag=True, help="Freeze the plan of the analysis; analyse nothing.")
@click.option(
    "--day",
    type=click.DateTime(["%Y-%m-%d"]),
    help="The day that a frozen plan carries.  [default: today]",
)
@cluster
@workers("Processes, each for a station of its own.")
@QUIET
@click.pass_context
def command(context, campaign, plan, day, workers, quiet):
    """Say whether the ice changes speed when a lake drains, or whether it is chance.

    Speeds come from 5-motion/, drainages and the water's routes from 6-lakes/. What is up to date
    is left alone. Writes to 7-decide/: a verdict in words, the change of speed by station and
    event with lag and interval, all tests, other choices, what could have been seen, figures.

    --plan writes 7-decide/plan.toml from [decide] in campaign.toml. Do so before you look: the
    verdict says whether it followed a plan frozen beforehand; all else is called exploratory.
    """
    if plan:
        day = (day or datetime.now(UTC)).date()
        end(context, decide.freeze(campaign, day=day), quiet)
    with shown(quiet) as progress:
        result = decide.run(campaign, workers=workers, progress=progress)
    end(context, result, quiet)
