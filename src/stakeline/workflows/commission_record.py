"""Freezing a visit: record, photographs' checksums, station history, site log; amending it."""

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from .. import __version__
from ..campaign.folders import STATIONS
from ..campaign.history import REFERENCE_POINT, read_history
from ..campaign.history_text import amend_visit, append_visit
from ..campaign.store import sha256_file, write_bytes
from ..campaign.visit_record import (
    RECORD,
    amend,
    changes_between,
    check_amendment,
    flat,
    freeze,
    frozen_before,
    photos_of,
    read_record,
    standing,
)
from ..errors import SettingsError
from .commission_log import log_file
from .sheet_parts import RETRIEVAL_KIND


@dataclass(frozen=True)
class Amending:
    """Why a frozen record is amended, by whom, and when (a datetime with its zone)."""

    why: str
    by: str
    when: datetime


AS_FROZEN = "is as it was frozen"
DIGITS = 4  # of a metre: 0.1 mm, as headers carry heights
SAME_M = 0.0005  # m; heights nearer are the same, as in ``campaign.history``


def photo_rows(photos, folder, root):
    """Return {key: {file, bytes, sha256}} of the photographs that are there, and those missing.

    ``photos``: names from ``folder``; kept are names from the campaign's ``root``, where they lie
    in it.
    """
    found, gone = {}, []
    for key, name in photos.items():
        path = Path(name) if Path(name).is_absolute() else folder / name
        if path.is_file():
            size, checksum = sha256_file(path)
            whole, inside = path.resolve(), root.resolve()
            kept = whole.relative_to(inside) if whole.is_relative_to(inside) else whole
            found[key] = {"file": kept.as_posix(), "bytes": size, "sha256": checksum}
        else:
            gone.append(f"photograph {name} ({key}) is not there; expected at {path}")
    return found, gone


def record_content(taken, verdict, described, photos, visit):
    """Return what is frozen of a visit: what was taken, and what was made of it.

    ``taken``: the :class:`ReadingsFile`; nothing in it tells when it was frozen, so that the same
    readings give the same record.
    """
    return {
        "taken": {
            "station": taken.station,
            "time_utc": taken.time.astimezone(UTC).isoformat(),
            "kind": taken.kind,
            "by": taken.by,
            "note": taken.note,
            "weather": {
                "sky": taken.sky,
                "temperature_degC": taken.temperature_degC,
                "wind_m_s": taken.wind_m_s,
                "battery_degC": taken.battery_degC,
            },
            "entries": {key: value for key, value in taken.readings.items() if value != ""},
            "accepted": dict(taken.accepted),
            "photos": photos,
        },
        "expected": [
            {"key": e.key, "unit": e.unit, "least": e.least, "most": _finite(e.most)}
            for e in verdict.expected
        ],
        "findings": [
            {"key": f.key, "state": f.state, "said": f.sentence} for f in verdict.findings
        ],
        "verdict": verdict.sentence,
        "notes": list(verdict.notes),
        "antenna_height_m": _rounded(verdict.height.height_m),
        "antenna_height_sigma_m": _rounded(verdict.height.sigma_m),
        "visit": visit | {"time": visit["time"].isoformat()},
        "plan_sha256": sha256_file(described.path)[1],
        "program": f"stakeline {__version__}",
    }


def _finite(value):
    return None if math.isinf(value) else value


def _rounded(value):
    return None if math.isnan(value) else round(value, DIGITS)


def visit_of(taken, verdict, record):
    """Return the visit that the history gets, as keys of ``history.Visit``."""
    entries, values = taken.readings, verdict.values
    left = None if math.isnan(verdict.height.height_m) else _height(verdict.height.height_m)
    found = _height(values["found_tape_m"]) if "found_tape_m" in values else None
    if taken.kind == RETRIEVAL_KIND:
        left, found = None, left  # the last height is one found; nothing stands after it
    return {
        "time": taken.time.astimezone(UTC),
        "kind": taken.kind,
        "by": taken.by,
        "note": _note(taken),
        "record": record,
        "mark_above_snow_m": values.get("mark_above_snow_m"),
        "receiver": {
            "type": entries.get("receiver_type", ""),
            "serial": str(entries.get("receiver_serial", "")),
            "firmware": str(entries.get("firmware", "")),
        },
        "antenna": {
            "type": entries.get("antenna_type", ""),
            "serial": str(entries.get("antenna_serial", "")),
        },
        "height": left,
        "height_found": found,
        "tilt_found": _tilt(values, "found_lean"),
        "tilt_left": _tilt(values, "mast_lean"),
        "marker_moved": taken.marker_moved.model_dump() if taken.marker_moved else None,
    }


def _note(taken):
    """Return the note of a visit, with what a retrieval leaves behind."""
    what = str(taken.readings.get("left_what", "")).strip()
    where = str(taken.readings.get("left_where", "")).strip()
    told = f"Left behind: {what}" + (f", {where}" if where else "") if what else ""
    return " ".join(part for part in (taken.note, told) if part)


def _height(metres):
    return {
        "measured_m": round(metres, DIGITS),
        "how": "vertical",
        "from": "marker",
        "to": REFERENCE_POINT,
    }


def _tilt(values, name):
    """Return a tilt where both its angle and where it leans to were written down."""
    angle, toward = values.get(f"{name}_deg"), values.get(f"{name}_toward_deg")
    if angle is None or toward is None:
        return None
    return {"angle_deg": angle, "toward_deg": toward}


def freeze_visit(campaign, folder, taken, verdict, described, photos):
    """Write history, record and site log of a visit; return the paths, written or up to date.

    The history is first: it refuses a visit that positions could not use.
    """
    record_folder = visit_folder(folder, taken)
    visit = visit_of(taken, verdict, campaign.relative(record_folder / RECORD))
    content = record_content(taken, verdict, described, photos, visit)
    history_path = campaign.root / STATIONS / f"{taken.station}.toml"
    if frozen_before(record_folder, content) is None and not _stands(history_path, taken, visit):
        append_visit(history_path, visit, taken.station, _facts(described))
    freeze(record_folder, content)
    return [record_folder / RECORD, history_path, write_log(folder, history_path, described)]


def _stands(history_path, taken, visit):
    """Say whether the history has this visit already; refuse one of another height."""
    if not history_path.exists():
        return False
    there = [v for v in read_history(history_path).content.visit if v.time == taken.time]
    height = visit["height"]
    for one in there:
        if height and one.height and abs(one.height.vertical_m - height["measured_m"]) > SAME_M:
            raise SettingsError(
                f"{history_path}: holds a visit of {taken.time:%Y-%m-%dT%H:%MZ} with an antenna "
                f"height of {one.height.vertical_m:.4f} m, the readings say "
                f"{height['measured_m']:.4f} m; put one of them right"
            )
    return bool(there)


def amend_visit_record(campaign, folder, taken, verdict, described, photos, amending):
    """Write an amendment beside a frozen record, and the history's visit; return paths written.

    ``amending``: :class:`Amending`.

    Raises
    ------
    SettingsError
        Where nothing changes, there is no record, or the history was changed by hand.
    """
    record_folder = visit_folder(folder, taken)
    chain = read_record(record_folder)
    visit = visit_of(taken, verdict, campaign.relative(record_folder / RECORD))
    content = record_content(taken, verdict, described, photos, visit)
    said = {
        "why": amending.why,
        "by": amending.by,
        "written_utc": amending.when.astimezone(UTC).isoformat(),
        "changes": changes_between(standing(chain), flat(content["taken"])),
        "photos": photos,
        "verdict": content["verdict"],
        "antenna_height_m": content["antenna_height_m"],
        "visit": content["visit"],
    }
    history_path = campaign.root / STATIONS / f"{taken.station}.toml"
    before = _with_time(chain[-1]["visit"])
    check_amendment(said)
    why = f"{amending.why} (amendment {len(chain)})"
    amend_visit(history_path, before, visit, why)
    amend(record_folder, said)
    return [
        record_folder / f"amendment-{len(chain):02d}.json",
        history_path,
        write_log(folder, history_path, described),
    ]


def _with_time(visit):
    return visit | {"time": datetime.fromisoformat(visit["time"])}


def changed_photos(root, chain):
    """Return sentences on photographs that are gone, or are not what they were."""
    states = [(one["file"], photo_state(root, one)) for one in photos_of(chain).values()]
    return [f"photograph {file} {state}" for file, state in states if state != AS_FROZEN]


def photo_state(root, one):
    """Return how a photograph of a record stands: ``AS_FROZEN``, or a clause that says not."""
    path = root / one["file"]
    if not path.is_file():
        return "is gone"
    if sha256_file(path)[1] != one["sha256"]:
        return "is not what it was when it was frozen"
    return AS_FROZEN


def visit_folder(folder, taken):
    """Return the folder of a visit's record."""
    name = f"{taken.time.astimezone(UTC):%Y-%m-%dT%H%M%SZ}"
    return folder / "visits" / name


def write_log(folder, history_path, described):
    """Write the site log of a station as its history stands; return its path."""
    systems = () if described is None else described.settings.recording.systems
    name, data = log_file(read_history(history_path), systems)
    path = folder / name
    if not path.exists() or path.read_bytes() != data:
        write_bytes(path, data)
    return path


def _facts(described):
    site = described.design.site
    return {
        "description": described.settings.note,
        "latitude_deg": site.latitude_deg,
        "longitude_deg": site.longitude_deg,
        "height_m": site.elevation_m,
    }
