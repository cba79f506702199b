"""The verb ``commission``: field sheet and expected readings; verdict, record, history, log."""

import csv
import io
import math
from dataclasses import dataclass
from datetime import UTC

from ..campaign.folders import FOLDERS, PLANS, STATIONS, open_campaign
from ..campaign.history import read_history
from ..campaign.readings_file import read_readings
from ..campaign.store import only_one, write_bytes, write_text
from ..campaign.visit_record import read_record
from ..errors import SettingsError
from ..report.field_sheet import PAPERS, field_sheet
from ..time import from_iso, iso
from .commission_record import (
    Amending,
    amend_visit_record,
    changed_photos,
    freeze_visit,
    photo_rows,
)
from .commission_sheet import Moment, build_sheet, expectations
from .commission_text import readings_text, record_text
from .commission_verdict import audit_sentences, history_before, judge_site
from .plan_description import describe_station
from .sheet_parts import SET_UP_KIND, VISIT_KIND

COMMISSION = FOLDERS[2]
LOCK = "lock"
VERDICT_FILE, READINGS_FILE, EXPECTED_FILE = "verdict.txt", "readings.toml", "expected.csv"


@dataclass(frozen=True)
class Commissioned:
    """What the verb did: problems in sentences, and a text for people."""

    problems: tuple
    text: str
    verdict: object = None


def plan_of(campaign, station):
    """Return the StationDescription of a station's plan.

    Raises
    ------
    SettingsError
        Where there is none; says which there are and what to do.
    """
    path = campaign.root / PLANS / f"{station}.toml"
    if not path.is_file():
        there = sorted(p.stem for p in (campaign.root / PLANS).glob("*.toml"))
        known = f"plans there are: {', '.join(there)}" if there else "there is none yet"
        raise SettingsError(
            f"{path}: no plan of {station}; {known}. Write one: 'stakeline new' puts an example "
            f"into {PLANS}/ of a new campaign"
        )
    described = describe_station(path)
    if described.name != station:
        raise SettingsError(
            f"{path}: name: found '{described.name}' in a file named {path.name}; "
            "the two must agree"
        )
    return described


def history_of(campaign, station):
    """Return the history of a station, None where nobody has set it up yet."""
    path = campaign.root / STATIONS / f"{station}.toml"
    return read_history(path) if path.is_file() else None


def moment_of(described, utc_ns, *, sky=None, temperature_degC=None, wind_m_s=None,
              battery_degC=None, time_given=True):  # fmt: skip
    """Return the :class:`Moment` of what is given, the rest from the plan's climate, said so."""
    weather = described.settings.weather
    given = {"time": time_given, "sky": sky, "temperature": temperature_degC, "wind": wind_m_s}
    return Moment(
        utc_ns=utc_ns,
        sky=sky or "unknown",
        temperature_degC=weather.mean_degC if temperature_degC is None else temperature_degC,
        wind_m_s=weather.wind_m_s if wind_m_s is None else wind_m_s,
        battery_degC=battery_degC,
        assumed=tuple(name for name, value in given.items() if value in (None, False)),
    )


def folder_of(campaign, station):
    """Return the folder of a station's sheets and records."""
    return campaign.root / COMMISSION / station


def write_sheet(root, station, utc_ns, *, kind="", **weather):
    """Write field sheet (both papers), expected readings and an empty file of readings.

    Parameters
    ----------
    root : path
        Of the campaign.
    station : str
    utc_ns : int
        When the readings will be taken, UTC. [ns]
    kind : str, optional
        Of ``sheet_parts.KINDS``; set-up or visit, as the history has it, where not given.
    **weather
        Of :func:`moment_of`.

    Returns
    -------
    Commissioned
    """
    campaign = open_campaign(root)
    described = plan_of(campaign, station)
    moment = moment_of(described, utc_ns, **weather)
    expected = expectations(described, moment)
    history = history_of(campaign, station)
    if kind:
        _fitting(f"{station}: sheet", kind, station, history, iso(utc_ns)[:10])
    sheet = build_sheet(described, moment, history, expected, kind)
    folder = folder_of(campaign, station)
    written = []
    for paper in PAPERS:
        path = folder / f"{station}_sheet_{paper}.pdf"
        write_bytes(path, field_sheet(sheet.as_data(), paper))
        written.append(path)
    write_text(folder / EXPECTED_FILE, _csv(expected))
    written.append(folder / EXPECTED_FILE)
    readings = folder / readings_name(sheet.kind)
    if not readings.exists():
        write_text(readings, readings_text(sheet, moment))
        written.append(readings)
    lines = [f"{station}, {sheet.kind}: " + ", ".join(f"{a} {b}" for a, b in sheet.conditions)]
    lines += [f"  {item.label}: {item.band or item.why_not}" for item in sheet.items()
              if item.band or item.why_not]  # fmt: skip
    lines += [f"note: {one}" for one in (described.typed.sentences if described.typed else ())]
    lines += [f"written: {campaign.relative(path)}" for path in written]
    return Commissioned((), "\n".join(lines) + "\n")


def readings_name(kind):
    """Return the name of an empty file of readings; what is rarer than a visit has its own."""
    return READINGS_FILE if kind in (SET_UP_KIND, VISIT_KIND) else f"readings_{kind}.toml"


def _csv(expected):
    """Return the expected readings as CSV."""
    out = io.StringIO()
    rows = csv.writer(out, lineterminator="\n")
    rows.writerow(["key", "part", "what", "unit", "least", "expected", "most", "must", "not_now"])
    for e in expected:
        numbers = [f"{v:.4g}" if math.isfinite(v) else "" for v in (e.least, e.expected, e.most)]
        rows.writerow([e.key, e.part, e.what, e.unit, *numbers, int(e.must), e.why_not])
    return out.getvalue()


def judge_readings(root, station, path, *, now):
    """Return (campaign, taken, described, verdict, photographs, problems) of a file of readings.

    ``now``: a datetime with its zone; a visit after it is told.
    """
    campaign = open_campaign(root)
    described = plan_of(campaign, station)
    taken = read_readings(path)
    if taken.station != station:
        raise SettingsError(f"{path}: station: readings of {taken.station}, not of {station}")
    history = history_before(history_of(campaign, station), taken.time)
    _fitting(path, taken.kind, taken.station, history, f"{taken.time:%Y-%m-%d}")
    photos, gone = photo_rows(taken.photos, path.parent, campaign.root)
    moment = Moment(
        _utc_ns(taken.time),
        taken.sky,
        taken.temperature_degC,
        taken.wind_m_s,
        taken.battery_degC,
    )
    expected = expectations(described, moment)
    sheet = build_sheet(described, moment, history, expected, taken.kind)
    try:
        verdict = judge_site(
            described,
            moment,
            sheet,
            taken.readings,
            photos=photos,
            accepted=taken.accepted,
            history=history,
            now_utc_ns=_utc_ns(now),
            expected=expected,
        )
    except SettingsError as problem:
        raise SettingsError(f"{path}: {problem}") from None
    return campaign, taken, described, verdict, photos, gone


def _utc_ns(time):
    """Return UTC of a datetime with its zone. [ns]"""
    return from_iso(time.astimezone(UTC).replace(tzinfo=None).isoformat())


def _fitting(where, kind, station, history, day):
    """Refuse a visit of a kind that the history contradicts."""
    if history is None and kind != SET_UP_KIND:
        raise SettingsError(
            f'{where}: kind "{kind}": nothing stands at {station} before {day}; '
            'the first visit is the "set-up"'
        )
    if history is not None and kind == SET_UP_KIND:
        raise SettingsError(
            f'{where}: kind "set-up": {station} was set up on '
            f'{history.content.visit[0].time:%Y-%m-%d}; write "visit", "raise", "swap" or '
            '"retrieval"'
        )


def take_readings(root, station, path, *, now, amend="", by=""):
    """Judge a file of readings; freeze the visit where the site may be left, or amend it.

    Parameters
    ----------
    root, path : Path
    station : str
    now : datetime
        With its zone; an amendment carries it.
    amend, by : str
        Why, and by whom, a frozen record is amended; '' for a first reading.

    Returns
    -------
    Commissioned
        ``problems`` are what must be done before leaving.
    """
    campaign, taken, described, verdict, photos, gone = judge_readings(root, station, path, now=now)
    folder = folder_of(campaign, station)
    text = verdict.text()
    with only_one(campaign.folder("ledger") / LOCK):
        write_text(folder / VERDICT_FILE, text)
        written = []
        if amend:
            amending = Amending(amend, by or taken.by, now)
            written = amend_visit_record(
                campaign, folder, taken, verdict, described, photos, amending
            )
        elif verdict.may_leave:
            written = freeze_visit(campaign, folder, taken, verdict, described, photos)
    lines = [f"written: {campaign.relative(p)}" for p in [folder / VERDICT_FILE, *written]]
    if not written:
        lines.append("not frozen: do these first, or say under [accepted] why the site may be left")
    else:
        lines += [f"note: {line}" for line in audit_sentences(history_of(campaign, station))]
    where = f"; {campaign.relative(folder / VERDICT_FILE)} says what"
    problems = (*gone, *(() if verdict.may_leave else (verdict.sentence + where,)))
    return Commissioned(problems, text + "\n".join(lines) + "\n", verdict)


def show_records(root, station):
    """Return the frozen records of a station with their amendments, in words."""
    campaign = open_campaign(root)
    folders = sorted((folder_of(campaign, station) / "visits").glob("*/"))
    if not folders:
        raise SettingsError(f"{station}: no visit is frozen yet; give --readings FILE.toml")
    chains = [read_record(one) for one in folders]
    problems = [line for chain in chains for line in changed_photos(campaign.root, chain)]
    return Commissioned(tuple(problems), "\n".join(record_text(chain) for chain in chains))
