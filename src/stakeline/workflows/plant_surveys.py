"""Mistakes of maps, satellite heights, notes and field books."""

import numpy as np

from ..campaign.folders import RAW
from .invented_ground import ALTIMETRY
from .plant_desk import Case

_TIDE_SYSTEM_M = 0.12  # m; size of the mean less the tide-free system at 79 deg, from memory


def _tide_system(desk):
    """Satellite heights come in another tide system, and nothing says so."""
    head, *lines = desk.read(ALTIMETRY).decode("utf-8").splitlines()
    column = head.split(",").index("height_m")
    for number, line in enumerate(lines):
        parts = line.split(",")
        parts[column] = f"{float(parts[column]) + _TIDE_SYSTEM_M:.3f}"
        lines[number] = ",".join(parts)
    desk.write(ALTIMETRY, ("\n".join([head, *lines]) + "\n").encode("utf-8"))
    return "", ALTIMETRY, f"all heights {_TIDE_SYSTEM_M} m too high: another tide system"


def _waypoints(desk):
    """Degrees, minutes and seconds are handed to the pilot as decimal minutes."""
    lines = ["name,latitude,longitude"]
    for name, site in desk.invented.sites.items():
        latitude, longitude = (
            np.degrees(a) for a in (site.place.latitude_rad, site.place.longitude_rad)
        )
        lines.append(f"{name},{_misread(latitude)},{_misread(longitude)}")
    path = f"{RAW}/notes/waypoints.csv"
    desk.write(path, ("\n".join(lines) + "\n").encode("utf-8"))
    return "", path, "seconds are written as decimals of minutes: up to 0.7 km off, and no units"


def _misread(angle_deg):
    """Return 79 10' 34" as the text 79 10.34."""
    seconds = round(abs(angle_deg) * 3600.0)
    sign = "-" if angle_deg < 0 else ""
    return f"{sign}{seconds // 3600} {seconds // 60 % 60:02d}.{seconds % 60:02d}"


def _question_marks(desk):
    """A table from an old disk whose columns nobody can name any more."""
    chance = desk.invented.stream("old table")
    rows = chance.normal([12.4, -20.0, 3.1], [0.4, 8.0, 0.2], (200, 3))
    times = desk.invented.time_ns(np.arange(200) * 3600.0).view("datetime64[ns]")
    lines = ["time,?,?,col4"]
    lines += [
        f"{str(t)[:19]},{a:.2f},{b:.1f},{c:.2f}" for t, (a, b, c) in zip(times, rows, strict=True)
    ]
    path = f"{RAW}/notes/old_table.csv"
    desk.write(path, ("\n".join(lines) + "\n").encode("utf-8"))
    return "", path, "columns named '?', no units, no time scale"


def _field_book(desk):
    """Lengths in feet among metres, times in no zone, one bonding strap forgotten."""
    text = (
        "HV04 visit, 15 May, about ten in the morning\n"
        "antenna to snow 5.2\n"
        "pole below snow 7 (feet?)\n"
        "bonding strap not fitted, will bring one next year\n"
    )
    path = f"{RAW}/notes/field_book.txt"
    desk.write(path, text.encode("utf-8"))
    return "HV04", path, "lengths without units, time without a zone, bonding strap missing"


SURVEY_CASES = (
    Case(32, "lakes", "", _tide_system),
    Case(36, "plan", "", _waypoints),
    Case(40, "commission", "", _field_book),
    Case(45, "intake", "columns named '?'", _question_marks),
)
