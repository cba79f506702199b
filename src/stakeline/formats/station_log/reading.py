"""Reading IGS site logs: which receiver and antenna stood where, from when to when."""

import re
from dataclasses import dataclass, field

import numpy as np

from ...errors import FormatError, TimeError
from ...time import from_iso
from ..fixed_columns import Notes, Text, number, only_member, with_notes

_SECTION = re.compile(r"^(\d{1,2})\.([\dx]*)(?:\.[\dx]+)?\.?\s+(.*)$")
_ITEM = re.compile(r"^([^:]*?)\s*:(?:\s(.*)|\s*)$")
_DATE = re.compile(r"\d{4}-\d{2}-\d{2}(?:T\d{2}:\d{2}(?::\d{2})?)?")

SITE_ITEMS = {  # section of the form: (our key, item), in the order of the form
    "1": (
        ("inscription", "Monument Inscription"),
        ("monument", "Monument Description"),
        ("monument_height_m", "Height of the Monument"),
        ("foundation", "Monument Foundation"),
        ("foundation_depth_m", "Foundation Depth"),
        ("marker", "Marker Description"),
        ("geology", "Geologic Characteristic"),
        ("bedrock", "Bedrock Type"),
        ("bedrock_condition", "Bedrock Condition"),
    ),
    "11": (
        ("agency", "Agency"),
        ("abbreviation", "Preferred Abbreviation"),
        ("address", "Mailing Address"),
        ("contact", "Contact Name"),
        ("telephone", "Telephone (primary)"),
        ("email", "E-mail"),
    ),
}


@dataclass(frozen=True)
class ReceiverPeriod:
    """One receiver from its installation until its removal; times in UTC, None where open."""

    model: str
    serial: str
    firmware: str
    systems: str
    from_utc_ns: int | None
    until_utc_ns: int | None


@dataclass(frozen=True)
class AntennaPeriod:
    """One antenna from its installation until its removal; times in UTC, None where open.

    ``offset_m`` is the way from the marker to the antenna reference point: up, north, east [m];
    NaN where not given.
    """

    model: str  # 20 characters, radome in columns 17-20
    serial: str
    reference_point: str
    offset_m: tuple
    north_alignment_deg: float
    from_utc_ns: int | None
    until_utc_ns: int | None


@dataclass(frozen=True)
class StationLog:
    """What a site log says of a station's identity, place and equipment."""

    name: str
    code: str  # four or nine characters
    marker_number: str
    position_m: np.ndarray  # (3,) approximate, Earth-fixed; NaN where not given
    receivers: tuple  # of ReceiverPeriod
    antennas: tuple  # of AntennaPeriod
    site: dict = field(default_factory=dict)  # {key of SITE_ITEMS: text}, what is given
    passed_over: tuple = ()
    files: tuple = ()


def read_station_log(path):
    """Read a packed or plain site log."""
    name, data, notes = only_member(path)
    return with_notes(parse_station_log(data, name), notes)


def parse_station_log(data, file="station log"):
    """Return the :class:`StationLog` in the bytes of an IGS site log.

    Parameters
    ----------
    data : bytes
    file : str
        Name for messages.

    Raises
    ------
    FormatError
        Where no site identification (section 1) is found.
    """
    text, notes = Text(data, file), Notes(file)
    sections = _sections(text)
    identity = _first(sections, "1")
    code = identity.get("Four Character ID", "") or identity.get("Nine Character ID", "")
    if not code and not identity.get("Site Name"):
        raise FormatError(file, None, "no site identification", "an IGS site log, section 1")
    place = _first(sections, "2")
    position_m = np.array([number(place.get(f"{axis} coordinate (m)", "")) for axis in "XYZ"])
    receivers = [_receiver(items, line, notes) for line, items in _numbered(sections, "3")]
    antennas = [_antenna(items, line, notes) for line, items in _numbered(sections, "4")]
    return StationLog(
        name=identity.get("Site Name", ""),
        code=code.split()[0] if code else "",
        marker_number=identity.get("IERS DOMES Number", ""),
        position_m=position_m,
        receivers=tuple(receivers),
        antennas=tuple(antennas),
        site=_site(sections),
        passed_over=notes.passed_over(),
        files=(str(file),),
    )


def _sections(text):
    """Return [(number such as 3.2, line number, {item: value})] in the order of the log."""
    sections = []
    for index in range(len(text)):
        line = text.line(index)
        found = _SECTION.match(line)
        if found:
            sub = found[2]
            sections.append((f"{found[1]}.{sub}" if sub else found[1], index + 1, {}))
            line = found[3]
        item = _ITEM.match(line.strip())
        if item and sections and item[1]:
            sections[-1][2].setdefault(item[1], (item[2] or "").strip())
    return sections


def _first(sections, number_of_section):
    return next((items for name, _, items in sections if name == number_of_section), {})


def _site(sections):
    """Return {key: text} of monument, ground and contact, where the form holds more than a hint."""
    found = {}
    for section, items in SITE_ITEMS.items():
        given = _first(sections, section)
        told = ((key, given.get(item, "")) for key, item in items)
        found |= {key: text for key, text in told if text and not text.startswith("(")}
    return found


def _numbered(sections, section):
    """Return (line number, items) of the filled subsections, leaving out the empty form."""
    return [
        (line, items)
        for name, line, items in sections
        if name.startswith(f"{section}.") and name.split(".")[1].isdecimal()
    ]


def _time(items, label, line, notes):
    """Return the date of an item in UTC; None where blank, still a form, or damaged. [ns]"""
    value = items.get(label, "")
    found = _DATE.search(value)
    if found:
        try:
            return from_iso(found[0])
        except TimeError:
            pass
    if value and "CCYY" not in value.upper():
        notes.add(line, f"'{label}' holds no date: '{value[:30]}'")
    return None


def _receiver(items, line, notes):
    return ReceiverPeriod(
        model=items.get("Receiver Type", ""),
        serial=items.get("Serial Number", ""),
        firmware=items.get("Firmware Version", ""),
        systems=items.get("Satellite System", ""),
        from_utc_ns=_time(items, "Date Installed", line, notes),
        until_utc_ns=_time(items, "Date Removed", line, notes),
    )


def _antenna(items, line, notes):
    labels = ("Marker->ARP Up Ecc. (m)", "Marker->ARP North Ecc(m)", "Marker->ARP East Ecc(m)")
    offset_m = tuple(number((items.get(label, "").split() or [""])[0]) for label in labels)
    if any(value != value for value in offset_m):
        notes.add(line, "antenna without a complete way from marker to reference point")
    model, radome = items.get("Antenna Type", ""), items.get("Antenna Radome Type", "")
    if len(model) < 17 and len(radome) == 4:
        model = f"{model:<16}{radome}"
    alignment = (items.get("Alignment from True N", "").split() or [""])[0]
    return AntennaPeriod(
        model=model.ljust(20)[:20],
        serial=items.get("Serial Number", ""),
        reference_point=items.get("Antenna Reference Point", ""),
        offset_m=offset_m,
        north_alignment_deg=number(alignment.rstrip("deg")),
        from_utc_ns=_time(items, "Date Installed", line, notes),
        until_utc_ns=_time(items, "Date Removed", line, notes),
    )
