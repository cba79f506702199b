"""``stakeline new``."""

import click

from ..workflows import new
from . import EXIT_CODES


@click.command(epilog=EXIT_CODES)
@click.argument("campaign", type=click.Path(file_okay=False))
def command(campaign):
    """Start a campaign in the folder CAMPAIGN.

    Makes campaign.toml (settings, with comments), the numbered folders in the order of the work,
    a folder for orbits and other products, and stations/HV01.toml, an example of a station's
    history. An existing campaign is left alone.
    """
    for path in new.run(campaign):
        click.echo(path)
    click.echo(f"Next: edit {campaign}/campaign.toml and {campaign}/stations/, put receiver files")
    click.echo(f"into {campaign}/0-raw/ and products into {campaign}/products/, then run")
    click.echo(f"'stakeline intake {campaign}'.")
