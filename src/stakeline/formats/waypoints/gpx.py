"""Write and read waypoints and tracks as GPX 1.1."""

import math
import re
import xml.etree.ElementTree as ElementTree
from dataclasses import dataclass

import numpy as np

from ...errors import FormatError, TimeError
from ...time import from_iso, iso

SPACE = "http://www.topografix.com/GPX/1/1"
CREATOR = "Stakeline"
_DECIMALS = 7  # of a degree: 1 cm
_OFFSET = re.compile(r"[+-]\d\d:?\d\d$")  # from UTC; section time of the standard asks for UTC
_NO_TEXT = re.compile("[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")  # XML 1.0, Char


@dataclass(frozen=True)
class Waypoint:
    """One place to go to. [deg], elevation [m] or NaN, time in UTC [ns] or None."""

    name: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float = math.nan
    time_utc_ns: int | None = None
    comment: str = ""
    description: str = ""


@dataclass(frozen=True)
class Track:
    """A line of places: longitude and latitude, shape (n, 2). [deg]"""

    name: str
    points_deg: np.ndarray


def write_waypoints(waypoints, tracks=(), *, title="", time_utc_ns=None):
    """Return the bytes of a GPX document; the same places give the same bytes.

    Raises
    ------
    FormatError
        For angles that are none, or text that XML cannot hold.
    """
    root = ElementTree.Element("gpx", {"version": "1.1", "creator": CREATOR, "xmlns": SPACE})
    if title or time_utc_ns is not None:
        about = ElementTree.SubElement(root, "metadata")
        _child(about, "name", title)
        _child(about, "time", _utc(time_utc_ns))
    for one in waypoints:
        place = ElementTree.SubElement(
            root, "wpt", _angles(one.name, one.latitude_deg, one.longitude_deg)
        )
        _child(place, "ele", "" if math.isnan(one.elevation_m) else f"{one.elevation_m:.2f}")
        _child(place, "time", _utc(one.time_utc_ns))
        _child(place, "name", one.name)
        _child(place, "cmt", one.comment)
        _child(place, "desc", one.description)
    for track in tracks:
        line = ElementTree.SubElement(root, "trk")
        _child(line, "name", track.name)
        segment = ElementTree.SubElement(line, "trkseg")
        for longitude, latitude in np.asarray(track.points_deg, float).reshape(-1, 2):
            ElementTree.SubElement(segment, "trkpt", _angles(track.name, latitude, longitude))
    ElementTree.indent(root, " ")
    text = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n'.encode()


def read_waypoints(data, file=""):
    """Return (waypoints, tracks) of the bytes of a GPX 1.1 document.

    Raises
    ------
    FormatError
        For what is no GPX 1.1, a document type declaration, or angles that are none.
    """
    root = _root(data, file)
    waypoints = []
    for place in root.findall(f"{{{SPACE}}}wpt"):
        latitude, longitude = _place(place, file)
        waypoints.append(
            Waypoint(
                *(_text(place, "name"), latitude, longitude, _elevation(place, file)),
                *(_moment(place, file), _text(place, "cmt"), _text(place, "desc")),
            )
        )
    tracks = []
    for line in root.findall(f"{{{SPACE}}}trk"):
        for segment in line.findall(f"{{{SPACE}}}trkseg"):
            points = [_place(one, file)[::-1] for one in segment.findall(f"{{{SPACE}}}trkpt")]
            tracks.append(Track(_text(line, "name"), np.array(points, float).reshape(-1, 2)))
    return waypoints, tracks


def _root(data, file):
    if b"<!DOCTYPE" in data:
        raise FormatError(file, None, "a document type declaration", "GPX 1.1 without one")
    try:
        root = ElementTree.fromstring(data)
    except (ElementTree.ParseError, ValueError, LookupError) as error:  # no XML, or its encoding
        line = getattr(error, "position", (None,))[0]
        raise FormatError(file, line, f"no XML ({error})", "GPX 1.1") from None
    if root.tag != f"{{{SPACE}}}gpx" or root.get("version") != "1.1":
        found = f"{root.tag} of version {root.get('version')}"
        raise FormatError(file, None, found, f"the root gpx of {SPACE}, version 1.1")
    return root


def _child(parent, name, text):
    if not text:
        return
    if _NO_TEXT.search(text):
        raise FormatError("waypoints", None, f"{name} {text!r}", "text without control characters")
    ElementTree.SubElement(parent, name).text = text


def _angles(name, latitude_deg, longitude_deg):
    if not (abs(latitude_deg) <= 90.0 and abs(longitude_deg) <= 360.0):
        raise FormatError(
            "waypoints", None, f"{name} at {latitude_deg}, {longitude_deg}", "degrees"
        )
    longitude = (round(longitude_deg, _DECIMALS) + 180.0) % 360.0 - 180.0
    return {
        "lat": f"{latitude_deg:.{_DECIMALS}f}",
        "lon": f"{longitude:.{_DECIMALS}f}",
    }


def _utc(time_utc_ns):
    return "" if time_utc_ns is None else f"{str(iso(time_utc_ns))[:19]}Z"


def _place(element, file):
    try:
        latitude, longitude = float(element.get("lat")), float(element.get("lon"))
    except (TypeError, ValueError):
        latitude = longitude = math.nan
    if not (abs(latitude) <= 90.0 and abs(longitude) <= 180.0):
        found = f"lat {element.get('lat')!r}, lon {element.get('lon')!r}"
        raise FormatError(file, None, found, "degrees, at most 90 and 180")
    return latitude, longitude


def _text(element, name):
    return (element.findtext(f"{{{SPACE}}}{name}") or "").strip()


def _elevation(element, file):
    text = _text(element, "ele")
    try:
        return float(text) if text else math.nan
    except ValueError:
        raise FormatError(file, None, f"ele {text!r}", "metres") from None


def _moment(element, file):
    text = _text(element, "time")
    try:
        if _OFFSET.search(text):
            raise TimeError(text)
        return int(from_iso(text)) if text else None
    except TimeError:
        raise FormatError(
            file, None, f"time {text!r}", "UTC such as 2026-11-29T12:00:00Z"
        ) from None
