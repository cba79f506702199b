"""``stakeline motion``."""

import click

from ..workflows import motion
from . import EXIT_CODES
from .options import QUIET, cluster, end, refuse, workers
from .progress import shown
from .several import SeveralCommand, SeveralOption

FILE = click.Path(exists=True, dir_okay=False)


@click.command(cls=SeveralCommand, epilog=EXIT_CODES)
@click.argument("tables", nargs=-1, type=FILE, metavar="[TABLE]...")
@click.option(
    "--columns",
    cls=SeveralOption,
    type=FILE,
    metavar="MAP...",
    help="Column maps (TOML), one for each TABLE.",
)
@click.option("--out", type=click.Path(file_okay=False), help="Folder of the results of TABLEs.")
@click.option(
    "--campaign",
    type=click.Path(file_okay=False),
    help="The campaign.  [default: the one this folder is in]",
)
@click.option(
    "--station",
    cls=SeveralOption,
    metavar="NAME...",
    help="Only these stations of the campaign.",
)
@cluster
@workers("Processes, each for a station of its own.")
@QUIET
@click.pass_context
def command(context, tables, columns, out, campaign, station, workers, quiet):
    """Turn positions into the motion of the ice.

    Without TABLE: the stations of the campaign around this folder, or of --campaign; what is up to
    date is left alone. Writes to 5-motion/: speed along the flow from before and after and from
    before alone, tide, steps, height budget, each with its uncertainty; strain and lags between
    stations; a summary in words; all of it as NetCDF too.

    With TABLE: positions from elsewhere, CSV, Parquet or NetCDF. A column map says what its columns
    are: 'stakeline motion HV05.csv --columns HV05.toml --out moved'.
    """
    if tables:
        refuse(campaign is not None or bool(station), "--campaign and --station go without TABLE")
        refuse(out is None, "say where the results go: --out FOLDER")
        refuse(not columns, "say what the columns are: --columns MAP.toml")
        with shown(quiet) as progress:
            result = motion.run_tables(tables, columns, out, workers=workers, progress=progress)
    else:
        refuse(bool(out or columns), "--out and --columns go with TABLE")
        with shown(quiet) as progress:
            result = motion.run(
                campaign, stations=station or (), workers=workers, progress=progress
            )
    end(context, result, quiet)
