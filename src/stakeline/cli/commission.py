"""``stakeline commission``."""

from datetime import UTC, datetime
from pathlib import Path

import click

from ..time import from_iso
from ..workflows import commission
from . import EXIT_CODES
from .options import QUIET, end, refuse


@click.command(epilog=EXIT_CODES)
@click.argument("campaign", type=click.Path(file_okay=False))
@click.argument("station")
@click.option(
    "--at",
    type=click.DateTime(["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%MZ", "%Y-%m-%d"]),
    metavar="TIME",
    help="UTC of the readings, as 2031-04-28T14:30.  [default: now]",
)
@click.option(
    "--kind",
    type=click.Choice(["set-up", "visit", "raise", "swap", "retrieval"]),
    help="What the sheet is for.  [default: set-up, or visit where it stands]",
)
@click.option("--sky", type=click.Choice(["clear", "cloudy", "unknown"]), help="[default: unknown]")
@click.option(
    "--temperature",
    type=click.FloatRange(-100, 50),
    metavar="C",
    help="Of the air, degrees Celsius.  [default: the plan's mean]",
)
@click.option(
    "--wind",
    type=click.FloatRange(0, 100),
    metavar="M/S",
    help="[default: the plan's mean]",
)
@click.option(
    "--battery-temperature",
    type=click.FloatRange(-100, 60),
    metavar="C",
    help="Of the battery's case.  [default: the air's]",
)
@click.option(
    "--readings",
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    metavar="FILE.toml",
    help="What was found: verdict, record, history, site log.",
)
@click.option("--amend", metavar="REASON", help="Put a frozen visit right by --readings, and why.")
@click.option("--by", default="", metavar="NAME", help="Who amends.")
@click.option("--records", is_flag=True, help="Show the frozen visits and their amendments.")
@QUIET
@click.pass_context
def command(context, campaign, station, at, kind, readings, amend, by, records, quiet, **weather):
    """Build it right: field sheet, expected readings, and a verdict on those taken.

    Without --readings: the field sheet of STATION as PDF (A4 and Letter), the readings to expect in
    this light and cold, and a file of readings to fill in, in 2-commission/STATION/.

    With --readings: what each reading means, and whether the site may be left. Where it may, the
    visit is frozen with its photographs' checksums, the station's history gets it, and the IGS site
    log is written. Exit code 1 where something is to be done first.
    """
    given = {name: value for name, value in weather.items() if value is not None}
    refuse(
        bool(readings) and bool(given or at or kind),
        "weather and time stand in the file of readings, and so does the kind",
    )
    refuse(bool(amend) and not readings, "--amend goes with --readings FILE.toml, put right")
    if records:
        end(context, commission.show_records(campaign, station), quiet=False)
    now = datetime.now(UTC)
    if readings:
        outcome = commission.take_readings(
            campaign, station, readings, now=now, amend=amend or "", by=by
        )
        end(context, outcome, quiet)
    moment = (at or now).replace(tzinfo=None, second=0, microsecond=0)
    outcome = commission.write_sheet(
        campaign,
        station,
        from_iso(moment.isoformat()),
        sky=weather["sky"],
        temperature_degC=weather["temperature"],
        wind_m_s=weather["wind"],
        battery_degC=weather["battery_temperature"],
        time_given=at is not None,
        kind=kind or "",
    )
    end(context, outcome, quiet)
