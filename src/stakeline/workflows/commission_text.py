"""An empty file of readings from a sheet, and a frozen record in words."""

from ..campaign.visit_record import standing
from ..time import iso
from .sheet_parts import NUMBER, PHOTO, TICK

HEAD = """\
# Readings of {station}. Fill in, then: stakeline commission CAMPAIGN {station} --readings THIS FILE
# A tick is true. A number is in the unit that its name ends in; with its unit in quotes it may be
# another one: "12710 mV", "5 ft 2 1/4 in". What stays "" was not taken.
# Minus is a reading with its leads the right way round and the sign turned: write it as read.

station = "{station}"
time = {time}Z         # UTC, end of the work: from this moment on the antenna height counts
kind = "{kind}"                       # set-up, visit, raise, swap or retrieval
by = ""
note = ""
sky = "{sky}"                       # clear, cloudy or unknown, while the panels were read
temperature_degC = {air:g}
wind_m_s = {wind:g}
# battery_degC = -10                  # of the battery's case, where somebody knows it

[readings]
"""
TAIL = """
# Why the site may be left although something is not as expected; KEY = "reason":
[accepted]
# antenna_A = "receiver shows no current"
"""


def readings_text(sheet, moment):
    """Return the text of an empty file of readings of a :class:`Sheet`."""
    text = HEAD.format(
        station=sheet.station,
        time=iso(moment.utc_ns)[:16] + ":00",
        kind=sheet.kind,
        sky=moment.sky,
        air=float(moment.temperature_degC),
        wind=float(moment.wind_m_s),
    )
    lines = []
    for part in sheet.parts:
        items = [item for item in part.items if item.kind != PHOTO]
        lines += ["", f"# {part.title}"] if items else []
        lines += [_line(item) for item in items]
    photos = [item for item in sheet.items() if item.kind == PHOTO]
    lines += ["", "# Files, from the folder of this file", "[photos]"]
    lines += [f'# {item.key} = "photos/....jpg"'.ljust(44) + f"# {item.label}" for item in photos]
    return text + "\n".join(lines[1:]) + "\n" + TAIL


def _line(item):
    value = "false" if item.kind == TICK else '""'
    told = item.label.strip()
    if item.kind == NUMBER and (item.band or item.why_not):
        told += f": {item.band or item.why_not}"
    told += "" if item.must else " (may be left out)"
    return f"{item.key} = {value}".ljust(36) + f"# {told}"


def record_text(chain):
    """Return a record with its amendments in words: what was frozen, what changed, what holds."""
    record, taken = chain[0], chain[0]["taken"]
    lines = [
        f"{taken['station']}, {taken['kind']} of {taken['time_utc']}, by {taken['by'] or '?'}",
        f"  {record['verdict']}",
        f"  antenna height {record['antenna_height_m']} m, sha256 {record['sha256'][:16]}",
        f"  photographs: {len(taken['photos'])}",
    ]
    for key, photo in taken["photos"].items():
        lines.append(f"    {key}: {photo['file']}, sha256 {photo['sha256'][:16]}")
    for amendment in chain[1:]:
        lines.append(
            f"  amendment {amendment['amendment']} of {amendment['written_utc']}, by "
            f"{amendment['by'] or '?'}: {amendment['why']}"
        )
        for key, (before, now) in amendment["changes"].items():
            lines.append(f"    {key}: {_shown(before)} becomes {_shown(now)}")
        lines.append(f"    antenna height now {amendment['antenna_height_m']} m")
    lines.append(f"  entries that hold: {len(standing(chain))}")
    return "\n".join(lines) + "\n"


def _shown(value):
    return "nothing" if value is None else str(value)
