"""What a release tells of itself in words: README, citation, known issues."""

import csv
import io

from .. import __version__
from ..campaign.folders import MOTION
from .release_attributes import licence
from .report_sources import Sources

ISSUE_COLUMNS = ("day", "station", "what", "why", "who")
OURS = "Stakeline, automatic"
NOT_GIVEN = "not given"
KINDS = (
    ("positions/", "positions of each station's marker, with standard deviations and correlations; "
     "`_imported`: taken in from tables made elsewhere"),
    ("motion/velocities.nc", "distance, speed and tide along and across the flow, all stations"),
    ("motion/vertical.nc", "motion, tide and residual up, all stations"),
    ("lakes/levels.nc", "level, stored water and outflow of each lake"),
    ("lakes/events.nc", "fillings and drainings with their intervals"),
    ("tables/", "the tables of the verbs as CSV, byte for byte; units stand in the names"),
    ("maps/", "places, events and water routes as GeoJSON (RFC 7946, WGS 84)"),
    ("stations/", "station logs, and the dated histories they follow from"),
    ("fieldbooks/", "scanned field books, by the station whose history they belong to; "
     "`fieldbooks.csv` says which visits each belongs to, and which visits have none"),
    ("photographs/", "of frozen visits; `photographs.csv` says of which, and where the rest is"),
    ("campaign/", "what the results follow from: settings, histories, plans, outlines"),
)  # fmt: skip
RULES = """\
- NetCDF files follow CF 1.11 and ACDD 1.3 (classic format, 64-bit offset).
- Times are GPS time, ahead of UTC by the leap seconds since 1980; names that end in `_utc` are UTC.
- Heights are above the ellipsoid; the frame stands with the positions.
- Missing is NaN or empty. A gap is a gap: nothing was interpolated.
- Every estimate has its standard deviation or a 95 % interval beside it."""


def citation(part, campaign, day):
    """Return how the data set is cited."""
    who = ", ".join(one.name for one in part.creator) or "Creators not given"
    where = f" https://doi.org/{part.doi}" if part.doi else ""
    return f"{who} ({day.year}): {part.title or campaign.name}, version {part.version}.{where}"


def issue_rows(campaign):
    """Return the known issues: those of campaign.toml, then steps that motion took out."""
    rows = [
        {"day": one.day.isoformat(), "station": one.station, "what": one.what, "why": one.why,
         "who": one.who}
        for one in campaign.settings.release.issue
    ]  # fmt: skip
    sources = Sources(campaign.root)
    for path in sources.names(f"{MOTION}/*/*_steps.csv"):
        station = path.split("/")[1]
        for record in sources.rows(path):
            values = record.values
            if values["removed"] == "yes" and values["logged"] == "no":
                what = (f"a step that no history names was taken out: {values['along_m']}, "
                        f"{values['across_m']}, {values['up_m']} m along, across, up")  # fmt: skip
                rows.append({"day": values["after_gps"][:10], "station": station, "what": what,
                             "why": values["reason"], "who": OURS})  # fmt: skip
    return rows


def issues_csv(rows):
    """Return the known issues as the bytes of a CSV table."""
    sink = io.StringIO()
    writer = csv.DictWriter(sink, ISSUE_COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return sink.getvalue().encode("utf-8")


def readme(campaign, day, names, issues):
    """Return the README of a data set.

    Parameters
    ----------
    campaign : Campaign
    day : datetime.date
    names : sequence of str
        Files of the release.
    issues : list of dict
        Of :func:`issue_rows`.
    """
    part, of = campaign.settings.release, campaign.settings.campaign
    creators = [
        f"- {', '.join(text for text in (c.name, c.institution, c.email, c.url) if text)}"
        for c in part.creator
    ]
    held = [f"| `{start}` | {sum(name.startswith(start) for name in names)} | {words} |"
            for start, words in KINDS if any(name.startswith(start) for name in names)]  # fmt: skip
    told = [f"- {one['day']} {one['station']}: {one['what']}. {one['why']} ({one['who']})"
            for one in issues]  # fmt: skip
    parts = (
        f"# {part.title or of.name}",
        part.summary or of.note,
        f"- Released: {day.isoformat()}, version {part.version}\n"
        f"- Licence: {licence(part) or NOT_GIVEN}\n- DOI: {part.doi or NOT_GIVEN}\n"
        f"- Made with: Stakeline {__version__}",
        f"## How to cite\n{citation(part, of, day)}",
        "## Who\n" + ("\n".join(creators) or f"Creators: {NOT_GIVEN}."),
        "## What is in it\n| files | how many | what |\n|---|---|---|\n" + "\n".join(held),
        f"## Rules\n{RULES}",
        "## Known issues\n" + ("\n".join(told) or "None are known.") + "\n\nAlso as `issues.csv`.",
        "## Sound and whole\n`checksums.sha256` lists the SHA-256 of every file "
        "(`sha256sum -c checksums.sha256`). `provenance.json` says what each file was made of, "
        "with the settings and the checksums of the raw files; `metadata.json` holds the fields "
        "that an archive asks for.",
        "## Again from raw\nRaw files, products and grids are not in it: `inputs` in "
        "`provenance.json` names each with its checksum. With them in a folder, under any names, "
        "Stakeline of the version above does everything again, and says whether every number is "
        "the same:\n\n    stakeline report NEW_CAMPAIGN --rebuild THIS_FOLDER --raw FOLDER",
        part.acknowledgement and f"## Thanks\n{part.acknowledgement}",
    )
    return "\n\n".join(text for text in parts if text) + "\n"
