"""A planned station, and what good readings of it are; shared by the figures of commission."""

import tempfile
from pathlib import Path

from stakeline.campaign.folders import create
from stakeline.time import from_iso
from stakeline.workflows.commission_sheet import Moment, build_sheet, expectations
from stakeline.workflows.commission_verdict import judge_site
from stakeline.workflows.plan_description import describe_station
from stakeline.workflows.sheet_parts import PHOTO, TEXT, TICK

HEIGHTS = {
    "height_tape_m": 1.532,
    "height_slope_1_m": 1.575,
    "height_slope_2_m": 1.581,
    "height_slope_3_m": 1.581,
    "height_second_in": "5 ft 0 5/16 in",
    "rim_above_reference_m": 0.035,
    "mark_above_snow_m": 0.02,
}


def planned(*changes):
    """Return the description of the example station, with (before, after) changes of its file."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "campaign"
        create(root)
        path = root / "plans" / "HV01.toml"
        text = path.read_text("utf-8")
        for before, after in changes:
            assert before in text, before
            text = text.replace(before, after)
        path.write_text(text, "utf-8")
        return describe_station(path)


def moment(iso="2031-04-28T14:30", sky="clear", air=-18.0, wind=5.0):
    """Return a moment; UTC."""
    return Moment(from_iso(iso), sky, air, wind)


def good_entries(described, when):
    """Return the entries and photographs of a station on which all is as expected."""
    sheet = build_sheet(described, when)
    expected = {e.key: e for e in expectations(described, when)}
    entries = {item.key: True for item in sheet.items() if item.kind == TICK}
    entries |= {item.key: "A-1" for item in sheet.items() if item.kind == TEXT}
    entries |= {key: e.expected for key, e in expected.items() if not e.why_not}
    photos = {item.key for item in sheet.items() if item.kind == PHOTO}
    return entries | HEIGHTS, photos


def verdict(described, when, change=None, photos=None, taken_at=None, history=None):
    """Return the verdict on good readings of ``taken_at`` with a change, judged as of ``when``."""
    entries, there = good_entries(described, taken_at or when)
    entries = {k: v for k, v in (entries | (change or {})).items() if v is not None}
    sheet = build_sheet(described, when, history)
    return judge_site(described, when, sheet, entries, photos=there if photos is None else photos)
