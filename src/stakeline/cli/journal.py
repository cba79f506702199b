"""``stakeline journal``."""

from datetime import UTC, datetime

import click

from ..workflows.view_journal import enter, journal
from . import EXIT_CODES

KINDS = ("review", "date", "held", "issue", "undo")


def _pair(context, option, values):
    """Return {name: value} of texts ``name=value``."""
    pairs = {}
    for text in values:
        name, equals, value = text.partition("=")
        if not (name.strip() and equals):
            raise click.BadParameter(f"'{text}' is no NAME=VALUE", context, option)
        pairs[name.strip()] = value.strip()
    return pairs


@click.command(epilog=EXIT_CODES)
@click.argument("campaign", type=click.Path(exists=True, file_okay=False))
@click.option("--add", "kind", type=click.Choice(KINDS), help="Write one more decision down.")
@click.option(
    "--about",
    multiple=True,
    metavar="NAME=VALUE",
    callback=_pair,
    help="What it is about, see below; repeatable.",
)
@click.option("--who", metavar="NAME", help="Whose decision it is.")
@click.option("--why", metavar="TEXT", help="The reason.")
def command(campaign, kind, about, who, why):
    """Show who chose what by hand, when and why, or write a decision down.

    Decisions hold from then on in every run. None is ever changed: undo one by another.

    \b
    --add review  --about lake=... onset=YYYY-MM-DD status=reviewed|rejected
    --add date    --about file=...            (a date that intake proposes)
    --add held    --about station=... begin_utc=YYYY-MM-DDThh:mm:ss end_utc=...
    --add issue   --about what=... day=YYYY-MM-DD [station=...]
    --add undo    --about number=N

    Each NAME=VALUE has an --about of its own.
    """
    if kind is None:
        if about or who or why:
            raise click.UsageError("what kind of decision? give --add")
        _show(journal(campaign))
        return
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    number = enter(campaign, {"kind": kind, "who": who, "why": why, "about": about}, now)
    click.echo(f"decision {number} is written down; 'stakeline run {campaign}' makes it felt")


def _show(told):
    """Print the decisions, newest first, then those that stand in the settings themselves."""
    for number, time, who, words, why, undone in told["entries"]:
        click.echo(f"{number}  {time} UTC  {words}" + (f"  (undone by {undone})" if undone else ""))
        click.echo(f"   {who}: {why}")
    for words, who, why in told["typed"]:
        click.echo(f"campaign.toml  {words}" + (f"\n   {who}: {why}" if who or why else ""))
    if not told["entries"] and not told["typed"]:
        click.echo("no decision was made by hand")
