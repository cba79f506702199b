"""The page of intake: what came back, what was refused and why, how good the signals are."""

import tomllib
from collections import Counter

from ..campaign.folders import INTAKE, open_campaign
from ..errors import SettingsError
from .examine import OBSERVATION_KINDS
from .intake_results import CALENDAR, csv_text
from .view_network import calendar
from .view_tables import blocks_of, number, rows_of, sheet_text, text_of

QUALITY_TABLE = "quality.csv"
MOST_ROWS = 400  # of a table on a page; choice
ODD_DAYS = "Quality of receivers' days"
QUALITY = {
    "percent": ("Satellite epochs had, of those promised", "%", "Above 10 deg elevation."),
    "multipath_1_m": ("Multipath of the first code", "m", ""),
    "multipath_2_m": ("Multipath of the second code", "m", ""),
    "strength_1_high_dB_Hz": ("Strength of signals from high up", "dB-Hz",
                              "A fall of some dB: snow or rime on the antenna, a cable."),
    "epochs_per_slip": ("Satellite epochs for each slip", "1", ""),
    "ionosphere_index_tecu_min": ("Restlessness of the ionosphere", "TECU/min", ""),
}  # fmt: skip
MEDIANS = ("percent", "multipath_1_m", "multipath_2_m", "strength_1_high_dB_Hz", "epochs_per_slip")


def intake(root):
    """Return what the page of intake shows, as a dict; ``there`` is False before ``intake``."""
    campaign = open_campaign(root)
    folder = campaign.folder(INTAKE)
    manifest = rows_of(folder / "manifest.csv")
    text = text_of(folder / "summary.txt")
    quality = rows_of(folder / QUALITY_TABLE)
    refused = _refused(manifest, folder)
    return {
        "there": bool(manifest),
        "counts": _counts(manifest, refused),
        "calendar": calendar(campaign, positions=False),
        "refused": refused[:MOST_ROWS],
        "proposed": list(_proposed(folder)),
        "proposals": text_of(folder / "proposals.toml") if _proposed(folder) else "",
        "remarks": [(row["file"], row["warnings"]) for row in manifest if row["warnings"]
                    and row["used"] == "yes"][:MOST_ROWS],
        "quality": _medians(quality),
        "charts": {name: said for name, said in QUALITY.items()
                   if any(number(row[name]) is not None for row in quality)},
        "picture": (campaign.root / CALENDAR).is_file(),
        "odd": [line.strip() for line in blocks_of(text).get(ODD_DAYS, ())
                if line.startswith("    ")],
        "health": rows_of(folder / "health.csv")[:MOST_ROWS],
        "visits": rows_of(folder / "visits.csv")[:MOST_ROWS],
        "changes": rows_of(folder / "visit_changes.csv")[:MOST_ROWS],
        "text": text,
    }  # fmt: skip


def quality_picture(root):
    """Return the calendar of quality that intake drew, as bytes; SettingsError without one."""
    path = open_campaign(root).root / CALENDAR
    if not path.is_file():
        raise SettingsError("there is no calendar of quality yet: stakeline intake")
    return path.read_bytes()


def quality_table(root):
    """Return the figures of quality by station and day as a CSV table; SettingsError without."""
    rows = rows_of(open_campaign(root).folder(INTAKE) / QUALITY_TABLE)
    if not rows:
        raise SettingsError("there is no table of quality yet: stakeline intake")
    safe = [{name: text if number(text) is not None else sheet_text(text)
             for name, text in row.items()} for row in rows]  # fmt: skip
    return csv_text(safe, tuple(rows[0]))


def quality_chart(root, name):
    """Return a chart of a figure of quality by day; SettingsError for a figure that is none."""
    if name not in QUALITY:
        raise SettingsError(f"there is no chart '{name}' of intake")
    unit = QUALITY[name][1]
    rows = rows_of(open_campaign(root).folder(INTAKE) / QUALITY_TABLE)
    traces = []
    for ink, station in enumerate(sorted({row["station"] for row in rows})):
        own = sorted((row for row in rows if row["station"] == station),
                     key=lambda row: row["day_gps"])  # fmt: skip
        traces.append({"name": station, "kind": "points", "size": 6, "ink": ink,
                       "x": [row["day_gps"] for row in own],
                       "y": [number(row[name]) for row in own]})  # fmt: skip
    return {"x_kind": "time", "y_title": unit, "traces": traces}


def _proposed(folder):
    """Return {file: weeks} of the wrong dates that are proven and wait."""
    try:
        told = tomllib.loads(text_of(folder / "proposals.toml"))
    except tomllib.TOMLDecodeError:
        return {}
    return {one["file"]: one["shift_weeks"] for one in told.get("repairs", {}).get("date", ())}


def _refused(manifest, folder):
    """Return [(file, station, kind, why)] of the files that positions or results do without."""
    proposed, found = _proposed(folder), []
    for row in manifest:
        observed = row["kind"] in OBSERVATION_KINDS and row["used"] != "yes"
        if row["set_aside"]:
            why = row["set_aside"]
        elif row["same_as"]:
            why = f"the same content as {row['same_as']}"
        elif row["file"] in proposed:
            why = (f"its date is wrong by {proposed[row['file']]} weeks, proven; accept it below. "
                   f"{row['warnings']}")  # fmt: skip
        elif row["kind"] == "unknown":
            why = "of no kind known here; kept, and used for nothing"
        elif observed and not row["station"]:
            why = "of no station: name it in campaign.toml, or use its folder"
        elif observed:
            why = row["warnings"] or "in doubt: see the summary"
        else:
            continue
        found.append((row["file"], row["station"], row["kind"], why))
    return found


def _counts(manifest, refused):
    """Return [(number, words)] for the top of the page."""
    kinds = Counter(row["kind"] for row in manifest)
    observed = sum(kinds[kind] for kind in OBSERVATION_KINDS)
    used = sum(row["used"] == "yes" for row in manifest)
    size = sum(int(number(row["bytes"]) or 0) for row in manifest)
    tables = sum(count for kind, count in kinds.items() if kind.endswith("table"))
    return [
        (str(len(manifest)), f"files, {size / 1e6:.1f} MB"),
        (f"{used} of {observed}", "files of observations used"),
        (str(tables), "tables"),
        (str(len(refused)), "refused"),
    ]


def _medians(rows):
    """Return [(station, files, median of each figure)] of the table of quality."""
    found = []
    for station in sorted({row["station"] for row in rows}):
        own = [row for row in rows if row["station"] == station]
        slips = sum(int(number(row["slips"]) or 0) for row in own)
        jumps = sum(int(number(row["clock_jumps"]) or 0) for row in own)
        found.append((station, len(own), *(_median(own, name) for name in MEDIANS), slips, jumps))
    return found


def _median(rows, name):
    values = sorted(value for row in rows if (value := number(row[name])) is not None)
    if not values:
        return "none"
    middle = (values[(len(values) - 1) // 2] + values[len(values) // 2]) / 2.0
    return f"{middle:.0f}" if abs(middle) >= 100.0 else f"{middle:.3g}"
