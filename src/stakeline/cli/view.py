"""``stakeline view``."""

import click

from ..web.server import PORT, serve
from . import EXIT_CODES


@click.command(epilog=EXIT_CODES)
@click.argument("campaign", type=click.Path(file_okay=False))
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=PORT,
    metavar="N",
    show_default=True,
    help="0 for any that is free.",
)
def command(campaign, port):
    """Show a campaign in a browser on this machine.

    Nothing is asked of the network, and nobody else on it can see the pages. What is typed on a
    page is saved at once.
    """
    serve(campaign, port=port, say=click.echo)
