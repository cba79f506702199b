"""Photographs of frozen visits in a release: those that are as they were frozen, and a table."""

from pathlib import Path, PurePosixPath

from ..campaign.folders import FOLDERS
from ..campaign.store import write_bytes
from ..campaign.visit_record import RECORD, photos_of, read_record
from ..errors import SettingsError
from .commission_record import AS_FROZEN, photo_state
from .intake_results import csv_text
from .report_sources import Sources

COMMISSION, FOLDER, TABLE = FOLDERS[2], "photographs", "photographs.csv"
COLUMNS = ("station", "visit", "what", "file", "campaign_file", "bytes", "sha256", "state")
ELSEWHERE = "lies outside of the campaign"
LEFT_OUT = "is left out by the settings"


def photographs(campaign):
    """Yield (name, bytes, files of the campaign) of photographs, and of the table of them all.

    One that is gone, changed, outside of the campaign, or left out stands in the table with its
    checksum alone; so does a visit whose record cannot be read, with the reason.
    """
    rows, records = [], []
    for folder in sorted((campaign.root / COMMISSION).glob("*/visits/*/")):
        records.append(campaign.relative(folder / RECORD))
        for row in _rows(campaign, folder):
            rows.append(row)
            if row.get("file"):
                path = row["campaign_file"]
                yield row["file"], (campaign.root / path).read_bytes(), (path,)
    if rows:
        yield TABLE, csv_text(rows, COLUMNS).encode("utf-8"), tuple(records)


def _rows(campaign, folder):
    """Return a row of the table for each photograph of one visit."""
    of = {"station": folder.parents[1].name, "visit": folder.name}
    try:
        photos = photos_of(read_record(folder))
    except SettingsError as problem:
        return [of | {"state": str(problem).replace(f"{campaign.root}/", "")}]
    return [of | _row(campaign, f"{FOLDER}/{of['station']}/{folder.name}/{key}", key, one)
            for key, one in sorted(photos.items())]  # fmt: skip


def _row(campaign, name, key, one):
    row = {"what": key, "bytes": one["bytes"], "sha256": one["sha256"], "file": ""}
    if Path(one["file"]).is_absolute():
        return row | {"state": ELSEWHERE}
    row["campaign_file"] = one["file"]
    if not campaign.settings.release.photographs:
        return row | {"state": LEFT_OUT}
    state = photo_state(campaign.root, one)
    file = f"{name}{PurePosixPath(one['file']).suffix.lower()}" if state == AS_FROZEN else ""
    return row | {"state": state, "file": file}


def put_back(root, folder):
    """Lay the photographs of a release where they lay in its campaign.

    Raises
    ------
    SettingsError
        Where the release names a place outside of the campaign.
    """
    for one in Sources(folder).rows(TABLE):
        file, path = one.values.get("file"), one.values.get("campaign_file")
        if not file:
            continue
        target = root / path
        if not target.resolve().is_relative_to(root.resolve()):
            raise SettingsError(f"{folder}: names a photograph outside of the campaign: {path}")
        write_bytes(target, (folder / file).read_bytes())
