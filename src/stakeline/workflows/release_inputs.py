"""What a campaign's results follow from: carried in a release where small and ours, else named."""

import csv
import io
import re
from pathlib import Path

from ..campaign.folders import (
    DECIDE,
    FOLDERS,
    INTAKE,
    PLANS,
    PRODUCTS,
    RAW,
    SETTINGS_FILE,
    STATIONS,
)
from ..campaign.journal import JOURNAL
from ..campaign.ledger import fingerprint
from ..campaign.store import sha256_file
from .report_sources import Sources

PACKAGE = Path(__file__).parents[1]
CARRIED = "campaign"
MAPS, COMMISSION = "maps", FOLDERS[2]
NAMED_ONLY = (f"{RAW}/", f"{PRODUCTS}/")
TEXTS = (".toml", ".json", ".jsonl", ".geojson", ".csv", ".txt")
LARGEST_BYTES = 1_000_000  # of a text that a release carries; choice
PLAN_FILE = f"{DECIDE}/plan.toml"
BOOK_COLUMNS = ("station", "file", "visit_utc", "visit", "how")
BY_NAME, NO_DATE, NO_BOOK = "by the date in its name", "no date in its name", "no field book"
_DATE = re.compile(r"\d{4}(-\d\d(-\d\d)?)?")


def sources_sum():
    """Return the SHA-256 of the package's sources: one version may have had several."""
    files = sorted(PACKAGE.rglob("*.py"))
    return fingerprint([(p.relative_to(PACKAGE).as_posix(), sha256_file(p)[1]) for p in files])


def input_paths(campaign):
    """Return the paths of all files that results follow from, sorted; field books are apart."""
    folders = (STATIONS, PLANS, MAPS, PRODUCTS, RAW)
    found = [path for folder in folders for path in campaign.folder(folder).rglob("*")
             if not path.name.startswith(".")]  # fmt: skip
    found += campaign.folder(COMMISSION).glob("*/visits/**/*")
    single = [campaign.root / name for name in (SETTINGS_FILE, JOURNAL, PLAN_FILE)]
    return tuple(sorted(campaign.relative(p) for p in (*found, *single) if p.is_file()))


def is_carried(campaign, path):
    """Say whether a release carries an input, or only names it with its checksum."""
    small = (campaign.root / path).stat().st_size <= LARGEST_BYTES
    return small and path.endswith(TEXTS) and not path.startswith(NAMED_ONLY)


def carried_files(campaign):
    """Yield (name, bytes, (path,)) of the inputs that a release carries."""
    for path in input_paths(campaign):
        if is_carried(campaign, path):
            yield f"{CARRIED}/{path}", (campaign.root / path).read_bytes(), (path,)


def inputs_told(campaign):
    """Return {path: size, checksum, whether it is carried} of all inputs.

    Checksums of raw files are those of the manifest, where it has them: they are large.
    """
    manifest = Sources(campaign.root).rows(f"{INTAKE}/manifest.csv")
    known = {one.values["file"]: one.values for one in manifest}
    told = {}
    for path in input_paths(campaign):
        size, row = (campaign.root / path).stat().st_size, known.get(path)
        same = row is not None and int(row["bytes"]) == size
        digest = row["sha256"] if same else sha256_file(campaign.root / path)[1]
        told[path] = {"bytes": size, "sha256": digest, "carried": is_carried(campaign, path)}
    return told


def field_books_csv(campaign, names):
    """Return the table that links scanned field books to the visits of station histories.

    Parameters
    ----------
    campaign : Campaign
    names : sequence of str
        Field books as the release names them: ``fieldbooks/STATION/...``. A name that begins with a
        year, month or day belongs to the visits then.

    Returns
    -------
    bytes
        A row for each book and visit, each book without a visit, each visit without a book.
    """
    rows, histories = [], campaign.histories()
    for name in names:
        station, _, own = name.partition("/")[2].partition("/")
        found = _DATE.match(own)
        visits = _visits(histories.get(station), found[0] if found else None)
        how = BY_NAME if found else NO_DATE
        rows += [(station, name, *visit, how) for visit in visits or [("", "")]]
    with_book = {(row[0], row[2]) for row in rows}
    for station, history in histories.items():
        rows += [(station, "", *visit, NO_BOOK) for visit in _visits(history, "")
                 if (station, visit[0]) not in with_book]  # fmt: skip
    sink = io.StringIO()
    writer = csv.writer(sink, lineterminator="\n")
    writer.writerow(BOOK_COLUMNS)
    writer.writerows(sorted(rows))
    return sink.getvalue().encode("utf-8")


def _visits(history, date):
    """Return (time, kind) of a history's visits whose time begins with a date; none for None."""
    if history is None or date is None:
        return []
    every = [(f"{one.time:%Y-%m-%dT%H:%M:%S}Z", one.kind) for one in history.content.visit]
    return [visit for visit in every if visit[0].startswith(date)]
