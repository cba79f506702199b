"""What was made from files that have changed since, as pages say it."""

import json

from ..campaign.folders import DECIDE, INTAKE, LAKES, MOTION
from ..campaign.store import read_heading, sha256_file
from .view_kept import once
from .view_tables import rows_of

MOST_SAID = 30  # sentences of one kind


def out_of_date(campaign):
    """Return sentences on what was made from files that have changed since; at most 30.

    Settings are not compared, only files: ``stakeline run`` looks at both.
    """
    said = _not_taken_in(campaign)
    results = [
        *sorted(campaign.folder(MOTION).glob("*/*_motion.parquet")),
        *sorted(campaign.folder(LAKES).glob("*/*_summary.json")),
        campaign.folder(DECIDE) / "verdict.json",
    ]
    for path in results:
        if path.is_file():
            said += changed(campaign, campaign.relative(path), _inputs(path))
    return said[:MOST_SAID]


def changed(campaign, name, pairs):
    """Return a sentence on a result whose sources have changed; none where they have not.

    Parameters
    ----------
    campaign : Campaign
    name : str
        Of the result.
    pairs : iterable of (str, str)
        File of the campaign, and its checksum when the result was made.
    """
    other = [source for source, sha in pairs if checksum(campaign.root / source) != sha]
    if not other:
        return []
    more = f" and {len(other) - 1} more" if len(other) > 1 else ""
    return [f"{name}: {other[0]}{more} has changed since"]


def checksum(path):
    """Return the SHA-256 of a file, worked out once while it stays as it is; '' without a file."""
    try:
        told = path.stat()
    except OSError:
        return ""
    return _file_sum(str(path), told.st_mtime_ns, told.st_size)


@once(4096)
def _file_sum(path, _changed_ns, _size):
    return sha256_file(path)[1]


def _not_taken_in(campaign):
    rows = rows_of(campaign.folder(INTAKE) / "manifest.csv")
    known = {row["file"] for row in rows}
    raw = campaign.folder("0-raw")
    new = [p for p in raw.rglob("*") if p.is_file() and campaign.relative(p) not in known]
    said = [f"{len(new)} files of 0-raw are not taken in yet, such as {campaign.relative(new[0])}"
            ] if new else []  # fmt: skip
    aside = [row for row in rows if row.get("set_aside") not in ("", "no", None)]
    return said + [f"{row['file']} is set aside: {row['set_aside']}" for row in aside]


def _inputs(path):
    """Return [(file, checksum)] that a result says it was made from."""
    if path.suffix == ".parquet":
        told = _made_from(str(path), path.stat().st_mtime_ns)
    else:
        told = json.loads(path.read_text("utf-8")).get("inputs", [])
    pairs = [(i["file"], i["sha256"]) if isinstance(i, dict) else tuple(i) for i in told]
    return [(str(name), str(sha)) for name, sha in pairs]


@once(512)
def _made_from(path, _changed_ns):
    return read_heading(path)[1].get("inputs", [])
