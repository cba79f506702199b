"""All that can go wrong, put into an invented campaign on purpose, and listed in its truth.

Each case of the catalogue is planted in a file, or arises by itself from the invented physics; the
list says which, what verb is to find it, and words that the verb's report uses once it has.
"""

import csv

from ..campaign.folders import INTAKE
from ..formats.plain_table import write_plain_table
from .invented_truth import TRUTH
from .plant_desk import Desk, Planted
from .plant_loggers import LOGGER_CASES
from .plant_positions import POSITION_CASES
from .plant_receivers import RECEIVER_CASES
from .plant_surveys import SURVEY_CASES

PLANTED = f"{TRUTH}/planted.csv"

OF_ITSELF = (
    (22, "HV01", "motion", "every pole sinks, some cm in the first year: part 'settling'"),
    (24, "HV06", "motion", "the pole leans more and more: part 'tilt'"),
    (29, "HV02", "decide", "there are drainages to smooth across: an answer before its cause"),
    (33, "HV03", "lakes", "stands near the lake's margin and shows less than the middle"),
    (34, "HV05", "lakes", "travels over undulations of the surface: part 'slope'"),
    (42, "HV12", "plan", "travels towards the grounding line, where tides bend the ice"),
)
"""Cases that the physics of every campaign holds: number, station, verb, what."""


def plant(folder, invented, raw_names):
    """Change the files of a campaign and list it; return the tuple of :class:`Planted`."""
    desk = Desk(folder, invented, raw_names)
    done = []
    for case in (*RECEIVER_CASES, *POSITION_CASES, *LOGGER_CASES, *SURVEY_CASES):
        told = case.change(desk)
        if told is not None:
            done.append(Planted(case.number, *told, case.found_by, case.sign))
    for number, station, verb, what in OF_ITSELF:
        if station in invented.sites:
            done.append(Planted(number, station, "", what, verb))
    done.sort(key=lambda planted: planted.case)
    desk.write(PLANTED, write_plain_table(_columns(done)))
    return tuple(done)


def _columns(done):
    names = ("case", "station", "file", "what", "found_by", "sign")
    return {name: [getattr(planted, name) for planted in done] for name in names}


def found_by_intake(folder):
    """Return (planted rows that intake is to find, those of them that its summary tells of)."""
    with (folder / PLANTED).open(encoding="utf-8", newline="") as file:
        wanted = [row for row in csv.DictReader(file) if row["found_by"] == "intake"]
    lines = (folder / INTAKE / "summary.txt").read_text(encoding="utf-8").splitlines()
    return wanted, [row for row in wanted if _told(row, lines)]


def _told(row, lines):
    """Say whether a line names the file and the sign, or the lines set below it hold the sign."""
    for number, line in enumerate(lines):
        if row["file"] in line and any(row["sign"] in text for text in _block(lines, number)):
            return True
    return False


def _block(lines, number):
    """Return a line and those set deeper right below it."""
    depth = len(lines[number]) - len(lines[number].lstrip())
    end = number + 1
    while end < len(lines) and lines[end].startswith(" " * (depth + 1)):
        end += 1
    return lines[number:end]
