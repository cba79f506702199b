"""The dated history of a station: the only source of antenna heights and of steps."""

import math
import re
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Literal

import numpy as np
from pydantic import AfterValidator, Field, model_validator

from ..errors import SettingsError
from ..time import from_iso, gps_from_utc, iso, utc_from_gps
from .located import Strict, line_numbers, line_of, read_located

REFERENCE_POINT = "antenna reference point"
HEIGHT_TOLERANCE_M = 0.0005  # headers carry heights to 0.1 mm
PLACE_TOLERANCE_M = 2000.0  # ice moves up to some km a year; another station is farther


def _with_zone(value):
    if value.tzinfo is None:
        raise ValueError("time says not which scale it is in; write UTC with a Z at its end")
    return value


Instant = Annotated[datetime, AfterValidator(_with_zone)]


class Receiver(Strict):
    """What tracked the signals; fields left out stay as they were."""

    type: str = ""
    serial: str = ""
    firmware: str = ""


class Antenna(Strict):
    """What received them; fields left out stay as they were."""

    type: str = ""
    serial: str = ""


class Tilt(Strict):
    """How far the pole leans from the vertical, and toward which azimuth."""

    angle_deg: float = Field(ge=0, lt=90)
    toward_deg: float = Field(ge=0, le=360)


class Shift(Strict):
    """How far the marker itself was moved."""

    east_m: float = 0.0
    north_m: float = 0.0
    up_m: float = 0.0


class Height(Strict):
    """A height reading: how long, from where, to where, and how it was held."""

    measured_m: float = Field(ge=0, lt=50)
    how: Literal["vertical", "slope"]
    start: str = Field(alias="from")
    to: str
    from_above_marker_m: float | None = None
    to_above_reference_m: float | None = None
    from_axis_m: float | None = Field(None, ge=0, lt=5)
    east_m: float = 0.0
    north_m: float = 0.0

    @model_validator(mode="after")
    def _says_all(self):
        if self.start != "marker" and self.from_above_marker_m is None:
            raise ValueError(
                f"is read from '{self.start}': say how far that is above the marker "
                '(from_above_marker_m), or write from = "marker"'
            )
        if self.to != REFERENCE_POINT and self.to_above_reference_m is None:
            raise ValueError(
                f"is read to '{self.to}': say how far that is above the antenna reference point "
                f'(to_above_reference_m), or write to = "{REFERENCE_POINT}"'
            )
        if self.how == "slope" and self.from_axis_m is None:
            raise ValueError("is a slope reading: say how far from the axis it ended (from_axis_m)")
        if self.how == "slope" and self.from_axis_m >= self.measured_m:
            raise ValueError("is a slope reading shorter than its distance from the axis")
        return self

    @property
    def vertical_m(self):
        """Return the height of the reference point above the marker, along the pole. [m]

        A slope reading ``s`` that ends ``r`` from the axis is ``sqrt(s^2 - r^2)`` (Pythagoras).
        """
        along = self.measured_m
        if self.how == "slope":
            along = math.sqrt(self.measured_m**2 - self.from_axis_m**2)
        return along + (self.from_above_marker_m or 0.0) - (self.to_above_reference_m or 0.0)


class Visit(Strict):
    """One time somebody touched the station.

    ``height_found``: before anything was touched; ``mark_above_snow_m``: of the marker, negative
    where it is buried; ``record``: the frozen record of the visit, from the campaign's folder.
    """

    time: Instant
    kind: Literal["set-up", "visit", "raise", "swap", "retrieval"]
    by: str = ""
    note: str = ""
    record: str = ""
    mark_above_snow_m: float | None = Field(None, ge=-50, le=50)
    receiver: Receiver | None = None
    antenna: Antenna | None = None
    height: Height | None = None
    height_found: Height | None = None
    tilt_found: Tilt | None = None
    tilt_left: Tilt | None = None
    marker_moved: Shift | None = None

    @property
    def time_ns(self):
        """Return GPS time of the visit. [ns]"""
        utc = (self.time - self.time.utcoffset()).replace(tzinfo=None)
        return int(gps_from_utc(from_iso(utc.isoformat())))


class Monument(Strict):
    """What carries the marker, and what it stands on."""

    description: str = ""
    inscription: str = ""
    height_m: float | None = Field(None, ge=0, le=100)
    foundation: str = ""
    foundation_depth_m: float | None = Field(None, ge=0, le=100)
    geology: str = ""
    bedrock: str = ""
    bedrock_condition: str = ""


class Contact(Strict):
    """Whom to ask about a station."""

    agency: str = ""
    abbreviation: str = Field("", max_length=10)
    address: str = ""
    name: str = ""
    telephone: str = ""
    email: str = ""


class HistoryFile(Strict):
    """All of ``stations/NAME.toml``."""

    station: str = Field(pattern=r"^[A-Z0-9]{4}$")
    description: str = ""
    marker: str = ""
    latitude_deg: float | None = Field(None, ge=-90, le=90)
    longitude_deg: float | None = Field(None, ge=-180, le=360)
    height_m: float | None = Field(None, ge=-500, le=9000)
    monument: Monument | None = None
    contact: Contact | None = None
    visit: list[Visit] = Field(min_length=1)


@dataclass(frozen=True)
class Step:
    """A moment at which the antenna or the marker changed."""

    time_ns: int
    kind: str
    sentence: str


@dataclass(frozen=True)
class StationHistory:
    """The history of one station, in order of time."""

    file: str
    content: HistoryFile

    @property
    def station(self):
        """Return the station's name."""
        return self.content.station

    @property
    def begins_ns(self):
        """Return GPS time of the set-up. [ns]"""
        return self.content.visit[0].time_ns

    @property
    def ends_ns(self):
        """Return GPS time of the retrieval; None while the station stands. [ns]"""
        last = self.content.visit[-1]
        return last.time_ns if last.kind == "retrieval" else None

    def _visits_until(self, time_ns):
        if time_ns < self.begins_ns:
            raise SettingsError(
                f"{self.file}: {self.station} was set up on {_utc(self.begins_ns)}, "
                f"nothing is known for {_utc(time_ns)}; add an earlier visit or check the date"
            )
        return [visit for visit in self.content.visit if visit.time_ns <= time_ns]

    def _latest(self, part, time_ns):
        """Return the fields of the newest receiver or antenna, older ones shining through."""
        fields = {}
        for visit in self._visits_until(time_ns):
            entry = getattr(visit, part)
            fields |= {} if entry is None else {k: v for k, v in entry if v}
        return fields

    def antenna_at(self, time_ns):
        """Return the antenna at a time; SettingsError before the set-up."""
        return Antenna(**self._latest("antenna", time_ns))

    def receiver_at(self, time_ns):
        """Return the receiver at a time; SettingsError before the set-up."""
        return Receiver(**self._latest("receiver", time_ns))

    def height_at(self, time_ns):
        """Return marker to antenna reference point as (up, east, north) at a time. [m]

        A tilt left behind turns the height along the pole into up and sideways.
        """
        height = tilt = None
        for visit in self._visits_until(time_ns):
            height = visit.height or height
            tilt = visit.tilt_left or tilt
        angle, toward = (0.0, 0.0) if tilt is None else (tilt.angle_deg, tilt.toward_deg)
        up = height.vertical_m * math.cos(math.radians(angle))
        side = height.vertical_m * math.sin(math.radians(angle))
        east = height.east_m + side * math.sin(math.radians(toward))
        north = height.north_m + side * math.cos(math.radians(toward))
        return up, east, north

    def steps(self):
        """Return every :class:`Step` after the set-up: raises, antenna swaps, moved marks."""
        found = []
        for before, visit in zip(self.content.visit, self.content.visit[1:], strict=False):
            what = self._changes(before.time_ns, visit)
            if what:
                found.append(Step(visit.time_ns, visit.kind, "; ".join(what)))
        return found

    def _changes(self, before_ns, visit):
        old, new = self.height_at(before_ns), self.height_at(visit.time_ns)
        what = []
        if max(abs(a - b) for a, b in zip(old, new, strict=True)) > HEIGHT_TOLERANCE_M:
            what.append(f"antenna height {old[0]:.4f} m becomes {new[0]:.4f} m")
        old, new = self.antenna_at(before_ns), self.antenna_at(visit.time_ns)
        if old != new:
            what.append(f"antenna {old.type} {old.serial} becomes {new.type} {new.serial}")
        moved = visit.marker_moved
        if moved is not None:
            what.append(f"marker moved by {moved.east_m} {moved.north_m} {moved.up_m} m (E N U)")
        return what


def heights_found(history):
    """Return (visit's time [ns], height kept until then, height found [m]) where one was read.

    Both are from the marker to the antenna reference point, along the pole as it stood. What the
    two differ by happened between visits, nobody knows when: positions keep the height until then.
    """
    found = []
    for before, visit in zip(history.content.visit, history.content.visit[1:], strict=False):
        if visit.height_found is not None:
            kept = history.height_at(before.time_ns)
            found.append((visit.time_ns, math.hypot(*kept), visit.height_found.vertical_m))
    return found


def _utc(time_ns):
    return iso(int(utc_from_gps(time_ns))) + "Z"


def read_history(path):
    """Return the checked :class:`StationHistory` of a file.

    Raises
    ------
    SettingsError
        With file and line: visits out of order, no height at the set-up, a wrong unit or key.
    """
    content = read_located(path, HistoryFile)
    lines = line_numbers(path.read_text(encoding="utf-8"))

    def complain(index, key, sentence):
        where = ("visit", index, key) if key else ("visit", index)
        name = ".".join(["visit", str(index + 1), *([key] if key else [])])
        raise SettingsError(f"{path}:{line_of(lines, where)}: {name}: {sentence}")

    if content.station != path.stem:
        raise SettingsError(
            f"{path}:{line_of(lines, ('station',))}: station: found '{content.station}' in a file "
            f"named {path.name}; the two must agree"
        )
    if content.visit[0].kind != "set-up":
        complain(0, "kind", "the first visit must be the set-up")
    for part in ("height", "antenna"):
        if getattr(content.visit[0], part) is None:
            complain(0, "", f"the set-up must state its {part}: add [visit.{part}]")
    for index, (before, visit) in enumerate(zip(content.visit, content.visit[1:], strict=False), 1):
        if visit.time_ns <= before.time_ns:
            complain(index, "time", "is not after the visit above it; keep visits in order")
        if visit.kind == "raise" and visit.height is None:
            complain(index, "", "a raise must state the new height: add [visit.height]")
        if before.kind == "retrieval":
            complain(index, "", "stands after the retrieval; start a new station instead")
    return StationHistory(str(path), content)


def _words(text):
    return " ".join(text.upper().split())


def compare_with_header(history, header, time_ns, expected_position_m=None):
    """Return one sentence for each point in which a file's header contradicts the history.

    Parameters
    ----------
    history : StationHistory
    header : ObservationHeader
    time_ns : int
        First epoch of the file, GPS time. [ns]
    expected_position_m : array (3,), optional
        Where the history says the station is, Earth-fixed. [m]
    """
    if time_ns < history.begins_ns:
        return [f"starts before {history.station} was set up on {_utc(history.begins_ns)}"]
    found = []
    if history.ends_ns is not None and time_ns >= history.ends_ns:
        found.append(f"starts after {history.station} was taken away on {_utc(history.ends_ns)}")
    if not _same_name(header.marker_name, history.station):
        found.append(f"marker name in the header is {header.marker_name}, not {history.station}")
    known = history.height_at(time_ns)
    written = (header.antenna_height_m, header.antenna_east_m, header.antenna_north_m)
    for name, ours, theirs in zip(("height", "east", "north"), known, written, strict=True):
        if abs(ours - theirs) > HEIGHT_TOLERANCE_M:
            found.append(
                f"antenna {name} in the header is {theirs:.4f} m, the history says {ours:.4f} m "
                f"({(theirs - ours) * 1000:+.1f} mm); the history is used"
            )
    antenna, receiver = history.antenna_at(time_ns), history.receiver_at(time_ns)
    pairs = [("antenna type", antenna.type, header.antenna_type)]
    pairs += [("antenna serial", antenna.serial, header.antenna_number)]
    pairs += [("receiver type", receiver.type, header.receiver_type)]
    pairs += [("receiver serial", receiver.serial, header.receiver_number)]
    pairs += [("firmware", receiver.firmware, header.receiver_version)]
    for name, ours, theirs in pairs:
        if ours and theirs.strip() and _words(ours) != _words(theirs):
            found.append(f"{name} in the header is {theirs.strip()}, the history says {ours}")
    found += _place(header, expected_position_m)
    return found


def _same_name(marker_name, station):
    """Say whether a marker name is blank, the station's, or its nine-character long form."""
    long_form = re.compile(re.escape(station) + r"(\d\d[A-Z]{3})?")  # RINEX 3.05, section 4
    return not marker_name.strip() or bool(long_form.fullmatch(_words(marker_name)))


def _place(header, expected_position_m):
    written = np.asarray(header.approximate_position_m, float)
    if expected_position_m is None or not np.isfinite(written).all():
        return []
    distance_m = float(np.linalg.norm(written - np.asarray(expected_position_m)))
    if distance_m <= PLACE_TOLERANCE_M:
        return []
    return [f"position in the header is {distance_m / 1000:.1f} km from where the history has it"]
