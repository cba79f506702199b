"""``stakeline intake``."""

import click

from ..workflows import intake, product_fetch, quality_picture
from . import EXIT_CODES
from .options import cluster, refuse, workers
from .progress import shown


@click.command(epilog=EXIT_CODES)
@click.argument("campaign", default=".", type=click.Path(file_okay=False))
@cluster
@workers("Processes that read files.")
@click.option("--quiet", is_flag=True, help="Show no progress and no summary.")
@click.option(
    "--picture",
    "pictures",
    multiple=True,
    metavar="FILE",
    help="Draw the quality of this receiver file, as the manifest names it, and take in nothing.",
)
@click.option(
    "--products",
    type=click.Path(exists=True, dir_okay=False),
    metavar="LIST",
    help="Fetch products first: a list of archives (TOML), or a bundle.",
)
@click.option(
    "--bundle",
    type=click.Path(dir_okay=False),
    metavar="FILE",
    help="Write the products of --products to one file, to carry where no network is.",
)
@click.option(
    "--raw-from",
    "store",
    metavar="ADDRESS",
    help="Copy raw files that 0-raw/ lacks first, from an object store such as s3://bucket/halvard.",
)
@click.pass_context
def command(context, campaign, workers, quiet, pictures, products, bundle, store):
    """Take in the raw files of CAMPAIGN (this folder where none is given).

    Reads every file below 0-raw/ by its content and changes none of them. Writes to 3-intake/: the
    manifest (every file with size, checksum, kind, station and span), what had to be set aside and
    why, duplicates, days with their completeness, headers that contradict the station history,
    proposals for wrong dates, quality of receivers' days, health of stations by their loggers, next
    visits by risk, and a summary in words. Files set aside lead to exit code 1.

    With --products, orbits, clocks and the like of the campaign's days are fetched into products/
    first, from archives that you name; missing days are told, and lead to exit code 1. With
    --raw-from, names below the address become names below 0-raw/; nothing there is written over.
    """
    for name in pictures:
        click.echo(quality_picture.draw_file(campaign, name))
    if pictures:
        return
    refuse(bundle and not products, "--bundle goes with --products LIST, which says what to fetch")
    problems = _copied(campaign, quiet, store) if store else ()
    problems += _fetched(campaign, workers, quiet, products, bundle) if products else ()
    with shown(quiet) as progress:
        report = intake.run(campaign, workers=workers, progress=progress)
    if not quiet:
        click.echo(report.text, nl=False)
    context.exit(1 if report.set_aside or problems else 0)


def _copied(campaign, quiet, store):
    """Copy raw files from a store, say what went wrong; return the sentences on it."""
    try:
        from ..workflows import raw_store
    except ModuleNotFoundError as missing:
        refuse(
            True,
            f"--raw-from needs the library '{missing.name}', which is not installed: "
            "pip install 'stakeline[object-store]', or copy the files to 0-raw/ yourself",
        )
    with shown(quiet) as progress:
        done = raw_store.run(campaign, store, progress=progress)
    return _told(done, quiet)


def _told(done, quiet):
    for sentence in done.problems:
        click.echo(f"stakeline: {sentence}", err=True)
    if not quiet:
        click.echo(done.text, nl=False)
    return tuple(done.problems)


def _fetched(campaign, workers, quiet, products, bundle):
    """Fetch products, say what is missing; return the sentences on it."""
    with shown(quiet) as progress:
        said = product_fetch.run(
            campaign, products, bundle=bundle, workers=workers, progress=progress
        )
    return _told(said, quiet)
