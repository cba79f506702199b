"""``stakeline demo``."""

import click

from ..workflows import demo
from . import EXIT_CODES
from .progress import shown


@click.command(epilog=EXIT_CODES)
@click.argument("folder", default="stakeline-demo", type=click.Path(file_okay=False))
@click.option("--seed", type=int, default=2031, show_default=True, help="Of all chance.")
@click.option("--quiet", is_flag=True, help="Show no progress.")
@click.pass_context
def command(context, folder, seed, quiet):
    """Invent two stations on Halvard Glacier in FOLDER and position them.

    Writes receiver files, orbits, clocks and antennas of two invented days, turns them into
    positions, and prints and draws how near these come to the true motion.
    """
    with shown(quiet) as progress:
        code = demo.run(folder, seed=seed, progress=progress)
    context.exit(code)
