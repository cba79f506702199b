"""``stakeline demo``."""

import click

from ..workflows import demo
from ..workflows.invent import SCENARIO_NAMES, Order
from . import EXIT_CODES
from .options import QUIET, workers
from .progress import shown

USUAL = Order()


def _count(name, text, usual):
    return click.option(name, type=int, default=usual, show_default=True, metavar="N", help=text)


@click.command(epilog=EXIT_CODES)
@click.argument("folder", default="stakeline-demo", type=click.Path(file_okay=False))
@click.option(
    "--scenario",
    type=click.Choice(SCENARIO_NAMES),
    default=USUAL.scenario,
    show_default=True,
    help="What happens on the glacier.",
)
@click.option("--seed", type=int, default=USUAL.seed, show_default=True, help="Of all chance.")
@_count("--raw-days", "Days with receiver files.", USUAL.raw_days)
@_count("--days", "Length of the campaign.", USUAL.days)
@_count("--stations", "Stations on the ice; a base on rock comes on top.", USUAL.stations)
@workers("Processes that share the work.", usual=2)
@QUIET
@click.pass_context
def command(context, folder, scenario, seed, raw_days, days, stations, workers, quiet):
    """Invent a campaign on Halvard Glacier in FOLDER and do all verbs on it.

    Four stations and the base have receiver files of some days around a drainage; all other days
    and stations are at position level, and the output says which is which. Scenarios are
    flood-fast, flood-slow, no-response, melt-confounded, quiet and wrecked. What was found is
    compared with the truth, which lies in FOLDER/truth.
    """
    order = Order(seed, scenario, days, stations, raw_days)
    with shown(quiet) as progress:
        code = demo.run(folder, order, workers=workers, progress=progress)
    context.exit(code)
