"""``stakeline report``."""

from datetime import UTC, datetime

import click

from ..workflows import paper_figures, release, release_rebuild, report, report_compare
from . import EXIT_CODES
from .options import QUIET, end, refuse, workers
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
@click.option(
    "--rebuild",
    "source",
    metavar="RELEASE",
    type=click.Path(exists=True, file_okay=False),
    help="Make CAMPAIGN, a new folder, from a release and raw files; say whether numbers agree.",
)
@click.option(
    "--raw",
    multiple=True,
    metavar="FOLDER",
    type=click.Path(exists=True, file_okay=False),
    help="Where --rebuild finds raw files, products and grids, by their checksums; repeatable.",
)
@workers("Processes that share the work of --rebuild.")
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
def command(context, campaign, **given):
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

    --rebuild does the way back on any machine: CAMPAIGN is made of a release and the raw files that
    it names, all verbs are done, and what comes out is held against the release, number by number.

    --figure draws as wide as one column (85 mm), two (178 mm) or a sheet laid across (247 mm),
    without title and note: these are said, for the caption.

    CAMPAIGN may be left out inside of one.
    """
    quiet = given["quiet"]
    _one_thing(given)
    refuse(given["day"] and not given["folder"], "--day goes with --release")
    refuse((given["width"] or given["to"]) and not given["name"], "--width and --to: with --figure")
    refuse(bool(given["raw"]) != bool(given["source"]), "--rebuild RELEASE and --raw go together")
    if given["listing"]:
        end(context, paper_figures.list_figures(campaign), quiet=False)
    if given["name"]:
        width = given["width"] or "two-columns"
        drawn = paper_figures.draw_figure(campaign, name=given["name"], width=width, to=given["to"])
        end(context, drawn, quiet)
    if given["other"]:
        end(context, report_compare.compare(campaign, other=given["other"]), quiet)
    with shown(quiet) as progress:
        result = _written(campaign, given, progress)
    end(context, result, quiet)


def _written(campaign, given, progress):
    """Return the Outcome of a rebuilt campaign, a release, or the report."""
    if given["source"]:
        refuse(campaign is None, "--rebuild needs the name of a new folder for the campaign")
        return release_rebuild.rebuild(
            campaign, from_release=given["source"], raw=given["raw"], workers=given["workers"],
            progress=progress,
        )  # fmt: skip
    if given["folder"]:
        day = (given["day"] or datetime.now(UTC)).date()
        return release.release(campaign, folder=given["folder"], day=day, progress=progress)
    return report.run(campaign, progress=progress)


def _one_thing(given):
    """Refuse options that each ask for something of its own."""
    options = {"--release": "folder", "--compare": "other", "--figures": "listing",
               "--figure": "name", "--rebuild": "source"}  # fmt: skip
    asked = [option for option, key in options.items() if given[key]]
    refuse(len(asked) > 1, f"{' and '.join(asked)} are different things; do one after the other")
