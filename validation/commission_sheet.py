"""Field sheets: pages and numbers on A4 and Letter, as in the record; the same bytes twice.

    python validation/commission_sheet.py

Needs pdftotext (poppler) to read the sheets back; exit code 1 where it is missing.
"""

import re
import shutil
import subprocess
import sys
import tempfile
from datetime import UTC, datetime
from pathlib import Path

from _commission import moment, planned
from _measured import Table

from stakeline.campaign.history import read_history
from stakeline.campaign.history_text import append_visit
from stakeline.report.field_sheet import PAPERS, field_sheet
from stakeline.workflows.commission_sheet import build_sheet, expectations
from stakeline.workflows.sheet_parts import NUMBER

TWO_PAGES = "own bar: one or two pages"
POINTS = {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}  # ISO 216; ANSI, in points
SIGNS = ((" ohm", " Ω"), (" deg", "°"), ("dBHz", "dB-Hz"))
PLAIN = (
    ("[turbine]\ndiameter_m = 1.1\nrated_W = 100\nhub_m = 3.2\n", ""),
    ("dump_W = 150                            # what its regulator can burn\n", ""),
)


def text_of(pdf):
    """Return (pages, size in points, text) of a PDF."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sheet.pdf"
        path.write_bytes(pdf)
        about = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
        words = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True,
                               check=True).stdout  # fmt: skip
    size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", about)
    return int(re.search(r"Pages:\s+(\d+)", about)[1]), (float(size[1]), float(size[2])), words


def visited(described):
    """Return a history of the station with its set-up, as a later visit finds it."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{described.name}.toml"
        visit = {
            "time": datetime(2031, 4, 28, 14, 30, tzinfo=UTC),
            "kind": "set-up",
            "antenna": {"type": "HALVARD ICE1    NONE"},
            "height": {"measured_m": 1.532, "how": "vertical", "from": "marker",
                       "to": "antenna reference point"},
        }  # fmt: skip
        append_visit(path, visit, described.name, {})
        return read_history(path)


def look(table, name, described, when, history=None):
    """Print both papers of one station; compare each band with the record's."""
    sheet = build_sheet(described, when, history)
    record = {e.key: e for e in expectations(described, when)}
    bands = [item.band for item in sheet.items() if item.kind == NUMBER and item.band]
    for paper in PAPERS:
        pdf = field_sheet(sheet.as_data(), paper)
        pages, size, words = text_of(pdf)
        flat = " ".join(words.split())
        table.line(f"{name}, {paper}: pages", pages, 2, "", TWO_PAGES)
        off = max(abs(a - b) for a, b in zip(size, POINTS[paper], strict=True))
        table.line(f"{name}, {paper}: size off", off, 1.0, "pt", "ISO 216, ANSI")
        missing = [band for band in bands if printed(band) not in flat]
        table.line(
            f"{name}, {paper}: of {len(bands)} bands not on it", len(missing), 0, "", "record"
        )
        again = field_sheet(sheet.as_data(), paper)
        table.line(
            f"{name}, {paper}: other bytes the second time", int(pdf != again), 0, "", "rule"
        )
    ticks = {e.key for e in record.values()} - {item.key for item in sheet.items()}
    table.line(f"{name}: expected readings without a place", len(ticks), 0, "", "record")


def printed(band):
    """Return a band as the sheet prints it."""
    for before, after in SIGNS:
        band = band.replace(before, after)
    return band


def main():
    if not shutil.which("pdftotext"):
        print("pdftotext is missing: install poppler-utils")
        sys.exit(1)
    table = Table("Field sheets on paper")
    example = planned()
    look(table, "set-up", example, moment())
    look(table, "visit", example, moment("2032-04-20T10:00", "unknown"), visited(example))
    look(table, "no turbine", planned(*PLAIN), moment())
    south = planned(("latitude_deg = 79.0412", "latitude_deg = -84.3"))
    look(table, "south, no Sun", south, moment("2031-06-21T12:00", "unknown", -45.0))
    table.end()


if __name__ == "__main__":
    main()
