"""Writing IGS site logs: identity, place, receivers, antennas, episodic events."""

import numpy as np

from ...errors import FormatError
from ...time import iso
from .reading import SITE_ITEMS

_OPEN = "(CCYY-MM-DDThh:mmZ)"
_WIDTH = 24  # characters of an item's name, site log instructions
_TYPE = 20  # characters of receiver and antenna types, the same


def write_station_log(log, *, prepared_utc_ns, prepared_by="", events=(), place=None):
    """Return the bytes of a site log; the same record gives the same bytes.

    Parameters
    ----------
    log : StationLog
    prepared_utc_ns : int
        Day that the form carries, UTC. [ns]
    prepared_by : str
    events : sequence of (int, str)
        Section 10: UTC time [ns], and what happened.
    place : tuple of 3 float, optional
        Latitude and longitude [deg] and ellipsoidal height [m] of the approximate position.

    Raises
    ------
    FormatError
        For a station without a name, or a type longer than the form has room for.
    """
    if not log.code:
        raise FormatError("station log", None, "no station code", "four or nine characters")
    lines = [f"     {log.code} Site Information Form (site log)", "     GNSS station", ""]
    lines += _form(prepared_utc_ns, prepared_by)
    lines += _identity(log)
    lines += _location(log, place)
    lines += ["3.   GNSS Receiver Information", ""]
    for number, receiver in enumerate(log.receivers, 1):
        lines += _receiver(f"3.{number}", receiver)
    lines += ["4.   GNSS Antenna Information", ""]
    for number, antenna in enumerate(log.antennas, 1):
        lines += _antenna(f"4.{number}", antenna)
    if events:
        lines += ["10.  Local Episodic Effects Possibly Affecting Data Quality", ""]
    for number, (time_ns, what) in enumerate(events, 1):
        lines += [_item("Date", iso(time_ns)[:10], f"10.{number}"), _item("Event", what), ""]
    lines += _contact(log.site)
    return "\n".join(lines).encode("utf-8")


def _item(name, value, number=""):
    text = " ".join(str(value).split())
    return f"{number:<5}{name:<{_WIDTH}} : {text}".rstrip()


def _form(time_ns, who):
    return [
        "0.   Form",
        "",
        _item("Prepared by (full name)", who),
        _item("Date Prepared", iso(time_ns)[:10]),
        _item("Report Type", "UPDATE"),
        "",
    ]


def _identity(log):
    name = "Four Character ID" if len(log.code) == 4 else "Nine Character ID"
    begins = [one.from_utc_ns for one in log.antennas if one.from_utc_ns is not None]
    return [
        "1.   Site Identification of the GNSS Monument",
        "",
        _item("Site Name", log.name),
        _item(name, log.code),
        _item("IERS DOMES Number", log.marker_number),
        *_given(log.site, SITE_ITEMS["1"]),
        _item("Date Installed", _date(min(begins) if begins else None)),
        "",
    ]


def _given(site, items):
    """Return the lines of what is given of a section."""
    return [_item(item, site[key]) for key, item in items if site.get(key)]


def _contact(site):
    lines = _given(site, SITE_ITEMS["11"])
    title = "11.  On-Site, Point of Contact Agency Information"
    return [title, "", *lines, ""] if lines else []


def _location(log, place):
    lines = ["2.   Site Location Information", "", "     Approximate Position (ITRF)"]
    lines += [
        _item(f"  {axis} coordinate (m)", "" if np.isnan(value) else f"{value:.1f}")
        for axis, value in zip("XYZ", log.position_m, strict=True)
    ]
    if place is not None:
        latitude, longitude, height_m = place
        lines += [
            _item("  Latitude (N is +)", _sexagesimal(latitude, 2)),
            _item("  Longitude (E is +)", _sexagesimal(longitude, 3)),
            _item("  Elevation (m,ellips.)", f"{height_m:.1f}"),
        ]
    return [*lines, ""]


def _sexagesimal(angle_deg, digits):
    """Return +DDMMSS.SS."""
    hundredths = round(abs(angle_deg) * 360000.0)
    degrees, rest = divmod(hundredths, 360000)
    minutes, rest = divmod(rest, 6000)
    sign = "-" if angle_deg < 0.0 else "+"
    return f"{sign}{degrees:0{digits}d}{minutes:02d}{rest / 100.0:05.2f}"


def _receiver(number, receiver):
    return [
        _item("Receiver Type", _fits(receiver.model), number),
        _item("Satellite System", receiver.systems),
        _item("Serial Number", receiver.serial),
        _item("Firmware Version", receiver.firmware),
        _item("Date Installed", _date(receiver.from_utc_ns)),
        _item("Date Removed", _date(receiver.until_utc_ns)),
        "",
    ]


def _antenna(number, antenna):
    labels = ("Marker->ARP Up Ecc. (m)", "Marker->ARP North Ecc(m)", "Marker->ARP East Ecc(m)")
    model = f"{number:<5}{'Antenna Type':<{_WIDTH}} : {_fits(antenna.model)}"
    lines = [
        model.rstrip(),
        _item("Serial Number", antenna.serial),
        _item("Antenna Reference Point", antenna.reference_point),
    ]
    lines += [
        _item(label, "" if np.isnan(value) else f"{value:.4f}")
        for label, value in zip(labels, antenna.offset_m, strict=True)
    ]
    degrees = antenna.north_alignment_deg
    return [
        *lines,
        _item("Alignment from True N", "" if np.isnan(degrees) else f"{degrees:g}"),
        _item("Antenna Radome Type", antenna.model[16:20].strip() or "NONE"),
        _item("Date Installed", _date(antenna.from_utc_ns)),
        _item("Date Removed", _date(antenna.until_utc_ns)),
        "",
    ]


def _fits(model):
    if len(model) > _TYPE:
        raise FormatError("station log", None, f"type '{model}'", f"{_TYPE} characters at most")
    return model


def _date(utc_ns):
    """Return the form's date, seconds only where they are not 0; the form itself where open."""
    if utc_ns is None:
        return _OPEN
    text = iso(utc_ns)[:19]
    return f"{text[:16] if text.endswith(':00') else text}Z"
