"""What intake found, as tables and in words a person reads."""

import csv
import io
import itertools

import numpy as np

from ..campaign.folders import STATIONS
from ..campaign.history import Step
from ..formats.plain_table import TABLE_KINDS
from ..time import iso
from .dating import FITS_M, DateFit
from .examine import OBSERVATION_KINDS
from .intake_results import health_lines, quality_lines, visit_lines
from .intake_tables import table_lines

_MANIFEST = (
    "file",
    "bytes",
    "sha256",
    "kind",
    "station",
    "first_gps",
    "last_gps",
    "epochs",
    "rows",
    "date_shift_weeks",
    "used",
    "set_aside",
    "same_as",
    "warnings",
)
_DAYS = (
    "station",
    "day_gps",
    "interval_s",
    "epochs",
    "expected",
    "percent",
    "gaps",
    "longest_gap_s",
    "files",
)
_LOW_PERCENT = 95.0


def _csv(rows, names):
    sink = io.StringIO()
    writer = csv.DictWriter(sink, names, lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return sink.getvalue()


def manifest_csv(files):
    """Return the manifest: one line for every raw file, so that no byte is unaccounted for."""
    rows = []
    for file in files:
        raw = file.raw
        span = [iso(t) for t in file.span_ns] if file.span_ns else ["", ""]
        told = [*raw.warnings, *file.mismatches, *([file.suspicion] if file.suspicion else [])]
        rows.append(
            {
                "file": raw.path,
                "bytes": raw.size,
                "sha256": raw.sha256,
                "kind": raw.kind,
                "station": file.station,
                "first_gps": span[0],
                "last_gps": span[1],
                "epochs": raw.epochs,
                "rows": raw.rows,
                "date_shift_weeks": file.shift_weeks,
                "used": "yes" if file.usable else "no",
                "set_aside": raw.reason,
                "same_as": file.same_as,
                "warnings": "; ".join(told),
            }
        )
    return _csv(rows, _MANIFEST)


def days_csv(days):
    """Return the completeness of every station-day as CSV."""
    rows = [
        {
            "station": day.station,
            "day_gps": day.day,
            "interval_s": f"{day.interval_s:g}",
            "epochs": day.epochs,
            "expected": day.expected,
            "percent": f"{day.percent:.2f}",
            "gaps": day.gaps,
            "longest_gap_s": f"{day.longest_gap_s:g}",
            "files": day.files,
        }
        for day in days
    ]
    return _csv(rows, _DAYS)


def proposals_toml(files):
    """Return the repairs that are proven and wait for the user, ready to copy to campaign.toml."""
    lines = ["# Wrong dates, proven by the files' own ranges. To accept one, copy its table to"]
    lines += ["# campaign.toml. Raw files never change; the shift is applied on reading.", ""]
    for file in files:
        if not file.proposal_weeks:
            continue
        raw = file.raw
        lines += [f"# {sentence}" for sentence in date_proof(raw)]
        lines += ["[[repairs.date]]", f'file = "{raw.path}"', f'sha256 = "{raw.sha256}"']
        lines += [f"shift_weeks = {file.proposal_weeks}", ""]
    return "\n".join(lines)


def date_proof(raw):
    """Return sentences: how the ranges of a file fit each date that was looked at."""
    sentences = []
    for fit in (DateFit(*pair) for pair in raw.date_fits):
        date = iso(raw.first_ns + fit.shift_weeks * 7 * 86_400 * 10**9)
        name = "as written" if fit.shift_weeks == 0 else f"{fit.shift_weeks:+d} weeks"
        if fit.misfit_m is None:
            said = "no satellite positions among the products"
        elif np.isinf(fit.misfit_m):
            said = "the ranges meet nowhere on Earth"
        else:
            said = f"ranges miss by {_length(fit.misfit_m)}"
            said += f" (under {FITS_M:.0f} m: it fits)" if fit.fits else ""
        sentences.append(f"{date} ({name}): {said}")
    if raw.proof_products:
        sentences.append(f"Satellites from {', '.join(raw.proof_products)}")
    return sentences


def _length(metres):
    return f"{metres:.1f} m" if metres < 10_000 else f"{metres / 1000:.0f} km"


def summary_text(campaign, files, days, index, histories, health=(), audit=(), visits=()):
    """Return the summary in words: counts first, then each thing that wants attention."""
    sections = [
        _counts(campaign, files),
        _block("Set aside (not read; the file itself is untouched)", _set_aside(files)),
        _block("The same content more than once (the first is used)", _copies(files)),
        _block("Wrong dates, proven; accept them in campaign.toml", _proposals(files)),
        _block("Dates in doubt (not used until cleared up)", _doubts(files)),
        _block("Accepted date repairs", _repairs(files)),
        _block("Files of no station (name it in campaign.toml or use its folder)", _nobody(files)),
        _block("One marker name at two stations", _shared_markers(files)),
        _block("Overlapping files, joined by epoch", _overlaps(files)),
        _block("Headers against the station history (the history is used)", _mismatches(files)),
        _block("Forms of visits against telemetry and headers", audit),
        _block("Remarks on files", _warnings(files)),
        _block("Tables", table_lines(campaign, files)),
        _block("Files of no kind known here (kept, and used for nothing)", _unknown(files)),
        _block("Health of stations (health.csv, health/)", health_lines(health)),
        _block("Next visits, the most urgent first (visits.csv)", visit_lines(visits)),
        _block("Quality of receivers' days (quality.csv)", quality_lines(files)),
        _block("Station history", _histories(campaign, histories)),
        _block("Days", _days(days)),
        _block("Products", _products(index)),
    ]
    return "\n".join(section for section in sections if section)


def _block(title, lines):
    return "\n".join([title, *(f"  {line}" for line in lines), ""]) if lines else ""


def _counts(campaign, files):
    size = sum(file.raw.size for file in files)
    used = sum(file.usable for file in files)
    kinds = {}
    for file in files:
        kinds[file.raw.kind] = kinds.get(file.raw.kind, 0) + 1
    listed = ", ".join(f"{count} {kind}" for kind, count in sorted(kinds.items()))
    lines = [f"{campaign.settings.campaign.name}: intake"]
    lines.append(f"  {len(files)} files, {size} bytes: {listed or 'nothing in 0-raw'}")
    lines.append(f"  {used} observation files are used")
    return "\n".join([*lines, ""])


def _set_aside(files):
    return [f"{f.raw.path} ({f.raw.size} bytes): {f.raw.reason}" for f in files if f.raw.reason]


def _copies(files):
    station = {f.raw.path: f.station for f in files}
    return [
        f"{f.raw.path} is {f.same_as}"
        + ("" if station[f.same_as] == f.station else f", which is of {station[f.same_as]}!")
        for f in files
        if f.same_as
    ]


def _proposals(files):
    lines = []
    for file in files:
        if file.proposal_weeks:
            lines.append(f"{file.raw.path}: shift_weeks = {file.proposal_weeks}")
            lines += [f"  {sentence}" for sentence in date_proof(file.raw)]
    return lines


def _doubts(files):
    return [f"{f.raw.path}: {f.suspicion}" for f in files if f.suspicion]


def _repairs(files):
    return [f"{f.raw.path}: {f.shift_weeks:+d} weeks" for f in files if f.shift_weeks]


def _nobody(files):
    return [
        f"{f.raw.path}: marker name '{f.raw.header.get('marker_name', '')}'"
        for f in files
        if f.raw.kind in OBSERVATION_KINDS and not f.station and not f.raw.reason
    ]


def _shared_markers(files):
    stations = {}
    for file in files:
        marker = file.raw.header.get("marker_name", "").strip().upper()
        if marker and file.station:
            stations.setdefault(marker, {}).setdefault(file.station, file.raw)
    lines = []
    for marker, by_station in sorted(stations.items()):
        if len(by_station) > 1:
            named = [
                f"{name} (receiver {raw.header.get('receiver_number') or 'unknown'})"
                for name, raw in sorted(by_station.items())
            ]
            lines.append(f"{marker}: {', '.join(named)}; folders decide")
    return lines


def _overlaps(files):
    lines = []
    for station in sorted({f.station for f in files if f.usable}):
        own = sorted((f for f in files if f.station == station and f.usable), key=_span)
        for before, after in itertools.pairwise(own):
            if after.span_ns[0] > before.span_ns[1]:
                continue
            shared = len(np.intersect1d(before.epochs_ns, after.epochs_ns))
            lines.append(f"{before.raw.path} and {after.raw.path}: {shared} epochs in both")
    return lines


def _span(file):
    return file.span_ns


def _mismatches(files):
    """Return each distinct sentence of a station once, with the first file and how many more."""
    seen = {}
    for file in files:
        for sentence in file.mismatches:
            seen.setdefault((file.station, sentence), []).append(file.raw.path)
    return [
        f"{station}: {sentence} ({paths[0]}"
        + (f" and {len(paths) - 1} more)" if paths[1:] else ")")
        for (station, sentence), paths in sorted(seen.items())
    ]


def _unknown(files):
    return [f.raw.path for f in files if f.raw.kind == "unknown" and not f.raw.reason]


def _warnings(files):
    return [
        text if text.startswith(f.raw.path) else f"{f.raw.path}: {text}"
        for f in files
        if f.raw.kind not in TABLE_KINDS
        for text in f.raw.warnings
    ]


def _histories(campaign, histories):
    lines = []
    for part in campaign.settings.station:
        history = histories.get(part.name)
        if history is None and part.positions and not part.raw:
            continue  # its positions were made elsewhere
        if history is None:
            lines.append(
                f"{part.name}: {STATIONS}/{part.name}.toml is missing; no positions without it"
            )
        else:
            lines += [f"{part.name}: {_step_text(step)}" for step in history.steps()]
    return lines


def _step_text(step: Step):
    return f"{iso(step.time_ns)} GPS {step.kind}: {step.sentence}"


def _days(days):
    lines = []
    for station in sorted({day.station for day in days}):
        own = [day for day in days if day.station == station]
        low = [day for day in own if day.percent < _LOW_PERCENT]
        mean = sum(day.percent for day in own) / len(own)
        lines.append(
            f"{station}: {len(own)} days, {own[0].day} to {own[-1].day}, {mean:.1f} % complete, "
            f"every {own[0].interval_s:g} s"
        )
        lines += [
            f"  {day.day}: {day.percent:.1f} %, gaps: {day.gaps}, longest {day.longest_gap_s:g} s"
            for day in low
        ]
    return lines


def _products(index):
    lines = [f"{e.path}: cannot be read: {e.problem}" for e in index if e.problem]
    for kind in sorted({e.kind for e in index if not e.problem}):
        own = [e for e in index if e.kind == kind and not e.problem]
        spanned = [e for e in own if e.last_ns]
        span = ""
        if spanned:
            first, last = min(e.first_ns for e in spanned), max(e.last_ns for e in spanned)
            span = f", {iso(first)} to {iso(last)}"
        lines.append(f"{kind}: {len(own)} files{span}")
    return lines or ["none; put orbits and clocks into products/"]
