"""``stakeline report``."""

from datetime import UTC, datetime

import click

from ..workflows import paper_figures, release, report, report_compare
from . import EXIT_CODES
from .options import QUIET, end, refuse
from .progress import shown


@click.command(epilog=EXIT_CODES)
@click.argument("campaign", required=False, type=click.Path(file_okay=False))
@click.option(
    "--release",
    "folder",
    type=click.Path(file_okay=False),
    help="Write a data set for an archive to this folder instead of the report.",
)
@click.option(
    "--day",
    type=click.DateTime(["%Y-%m-%d"]),
    help="The day that a release carries.  [default: today]",
)
@click.option(
    "--compare",
    "other",
    metavar="OTHER",
    type=click.Path(file_okay=False),
    help="Say instead what differs from another run of the campaign.",
)
@click.option("--figures", "listing", is_flag=True, help="List the figures there are, by name.")
@click.option("--figure", "name", metavar="NAME", help="Draw one of them as a paper prints it.")
@click.option(
    "--width",
    type=click.Choice(list(paper_figures.WIDTHS_MM)),
    help="Of that figure.  [default: two-columns]",
)
@click.option(
    "--to",
    type=click.Path(dir_okay=False),
    metavar="FILE",
    help="Write that figure to FILE.svg, FILE.pdf or FILE.png.  [default: its name.pdf, here]",
)
@QUIET
@click.pass_context
def command(context, campaign, folder, day, other, listing, name, width, to, quiet):
    """Write what a reader gets: one PDF, one HTML file, and where each number comes from.

    Chapters follow the verbs; what a campaign has not, the report says could not be done. It shows
    tables and figures of the verbs and computes nothing. Writes to 8-report/: report.pdf,
    report.html (needs nothing beside it), numbers.json (file, row, column and checksum of
    each number shown).

    --release writes CF NetCDF of positions, motion, lakes and events, the tables as CSV, GeoJSON,
    station logs, a README, known issues, provenance and checksums. Licence, creators and issues
    come from [release] in campaign.toml. Raw files are not copied, only named with their checksums.

    --compare writes 8-report/compare.csv: settings and numbers that differ from those of another
    run of the same campaign.

    --figure draws as wide as one column (85 mm), two (178 mm) or a sheet laid across (247 mm),
    without title and note: these are said, for the caption.

    CAMPAIGN may be left out inside of one.
    """
    _one_thing(folder, other, listing, name)
    refuse((width or to) and not name, "--width and --to go with --figure NAME")
    refuse(day and not folder, "--day goes with --release")
    if listing:
        end(context, paper_figures.list_figures(campaign), quiet=False)
    if name:
        width = width or "two-columns"
        end(context, paper_figures.draw_figure(campaign, name=name, width=width, to=to), quiet)
    if folder:
        day = (day or datetime.now(UTC)).date()
        with shown(quiet) as progress:
            result = release.release(campaign, folder=folder, day=day, progress=progress)
        end(context, result, quiet)
    if other:
        end(context, report_compare.compare(campaign, other=other), quiet)
    with shown(quiet) as progress:
        result = report.run(campaign, progress=progress)
    end(context, result, quiet)


def _one_thing(folder, other, listing, name):
    """Refuse options that each ask for something of its own."""
    asked = {"--release": folder, "--compare": other, "--figures": listing, "--figure": name}
    given = [option for option, value in asked.items() if value]
    refuse(len(given) > 1, f"{' and '.join(given)} are different things; do one after the other")
