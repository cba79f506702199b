"""``stakeline position``."""

import click

from ..tables import Settings
from ..workflows import position, position_campaign
from . import EXIT_CODES
from .options import QUIET, cluster, end, refuse, workers
from .progress import shown
from .several import SeveralCommand, SeveralOption

USUAL = Settings()
FILE = click.Path(exists=True, dir_okay=False)


def _several(name, text):
    return click.option(name, cls=SeveralOption, type=FILE, metavar="FILE...", help=text)


@click.command(cls=SeveralCommand, epilog=EXIT_CODES)
@click.argument("observations", nargs=-1, type=FILE, metavar="[OBS]...")
@_several("--orbits", "Precise orbits (SP3).")
@_several("--clocks", "Satellite clocks (RINEX clock); without them, those in the orbit files.")
@_several("--navigation", "Broadcast navigation (RINEX). Used where precise orbits are not given.")
@_several("--antennas", "Antenna calibrations (ANTEX).")
@_several("--offsets", "Antenna offsets (SINEX), where there are no calibrations.")
@_several("--loading", "Ocean loading coefficients (BLQ).")
@_several("--orientation", "Earth orientation: pole and UT1.")
@_several("--biases", "Biases of codes and phases (SINEX-BIAS); with --integers.")
@click.option("--mode", type=click.Choice(["kinematic", "static"]), help="[default: kinematic]")
@click.option("--systems", metavar="LIST", help="Of GPS,GAL,GLO,BDS.  [default: all four]")
@click.option(
    "--interval",
    type=click.FloatRange(0, 3600, min_open=True),
    metavar="S",
    help=f"Seconds between positions.  [default: {USUAL.interval_s:g}]",
)
@click.option(
    "--mask",
    type=click.FloatRange(0, 60),
    metavar="DEG",
    help=f"Lowest elevation used.  [default: {USUAL.mask_deg:g}]",
)
@click.option(
    "--integers",
    is_flag=True,
    help="Fix ambiguities to integers where clocks and biases allow it; better level only.",
)
@cluster
@workers("Processes, each for a station of its own.")
@click.option("--out", type=click.Path(dir_okay=False), help="Table: FILE.csv or FILE.parquet.")
@click.option("--summary", type=click.Path(dir_okay=False), help="What was done, as JSON.")
@click.option(
    "--campaign",
    type=click.Path(file_okay=False),
    help="Position a campaign.  [default: the one this folder is in]",
)
@QUIET
@click.pass_context
def command(context, observations, quiet, workers, campaign, out, summary, **options):
    """Turn observations into positions.

    With OBS files: one station or several at once (pieces of one station are joined by epoch); the
    table goes to --out. Observation files stand before the options, which take one or several
    values: 'stakeline position HV01*.rnx --orbits A.sp3 B.sp3 --clocks A.clk --out HV01.csv'.

    Without OBS: every station and day of the campaign around this folder, or of --campaign; what
    is up to date is left alone, and settings are those of campaign.toml.
    """
    if observations:
        refuse(campaign is not None, "--campaign stands with OBS files; give one or the other")
        refuse(out is None, "say where the table goes: --out FILE.csv or --out FILE.parquet")
        with shown(quiet) as progress:
            result = position.run(
                observations, out=out, summary=summary, workers=workers, progress=progress,
                **options,
            )  # fmt: skip
    else:
        options |= {"out": out, "summary": summary}
        given = ", ".join(f"--{name}" for name, value in options.items() if value)
        refuse(
            bool(given),
            f"{given} without OBS files; in a campaign this is set in campaign.toml "
            "(OBS files stand before the options)",
        )
        with shown(quiet) as progress:
            result = position_campaign.run(campaign, workers=workers, progress=progress)
    end(context, result, quiet)
