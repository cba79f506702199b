"""A campaign with one plan, and the readings that a good station would show."""

import csv
import re

from stakeline.campaign.folders import create
from stakeline.time import from_iso
from stakeline.workflows import commission

STATION = "HV03"
SET_UP_UTC = "2025-04-28T14:30:00"
WEATHER = {"sky": "clear", "temperature_degC": -18.0, "wind_m_s": 5.0}
GIVEN = {
    "height_tape_m": "1.532",
    "height_slope_1_m": "1.575",
    "height_slope_2_m": "1.581",
    "height_slope_3_m": '"1581 mm"',
    "height_second_in": '"5 ft 0 5/16 in"',
    "rim_above_reference_m": "0.035",
    "mark_above_snow_m": "0.02",
    "antenna_type": '"HALVARD ICE1    NONE"',
    "antenna_serial": '"A-0093"',
    "receiver_type": '"POLAR RX 4"',
    "receiver_serial": '"30117"',
    "firmware": '"2.1.4"',
}


def make(root):
    """Make a campaign in which HV03 is planned and not yet built; write its sheet."""
    create(root)
    (root / "stations" / "HV01.toml").unlink()
    plan = (root / "plans" / "HV01.toml").read_text("utf-8").replace("HV01", STATION)
    (root / "plans" / f"{STATION}.toml").write_text(plan, "utf-8")
    return commission.write_sheet(root, STATION, from_iso(SET_UP_UTC), **WEATHER)


def folder(root):
    """Return the folder of the station's sheets."""
    return root / "2-commission" / STATION


def fill(root, name, **changes):
    """Write a file of readings as a good station gives them, with changes; return its path.

    A change to None takes the line out; ``accepted``: dict of reasons.
    """
    text = (folder(root) / "expected.csv").read_text("utf-8")
    expected = {row["key"]: row for row in csv.DictReader(text.splitlines())}
    accepted = changes.pop("accepted", {})
    lines = []
    for line in (folder(root) / "readings.toml").read_text("utf-8").splitlines():
        found = re.match(r'(?:# (?=photo))?(\w+) = (""|false|.*?)(?=\s|$)', line)
        key = found[1] if found else ""
        if line.startswith("# photo_"):
            line = _photo(root, key)
        elif found and found[2] == "false":
            line = f"{key} = true"
        elif found and found[2] == '""' and key not in ("by", "note"):
            line = f"{key} = {GIVEN.get(key, _usual(key, expected))}"
        if key in changes:
            line = "" if changes[key] is None else f"{key} = {changes[key]}"
        lines.append(line)
        if line.startswith("[accepted]"):
            lines += [f'{k} = "{why}"' for k, why in accepted.items()]
    path = folder(root) / name
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


def _photo(root, key):
    path = folder(root) / "photos" / f"{key}.jpg"
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(key.encode())
    return f'{key} = "photos/{key}.jpg"'


def _usual(key, expected):
    """Return the expected number; '""' where the key is none or it cannot be taken now."""
    row = expected.get(key)
    return '""' if row is None or row["not_now"] else str(float(row["expected"]))
