"""A station's history as an IGS site log."""

import math

import numpy as np

from ..earth.ellipsoid import xyz_from_geodetic
from ..formats.station_log import AntennaPeriod, ReceiverPeriod, StationLog, write_station_log
from ..time import iso, utc_from_gps

REFERENCE_POINT = "BPA"  # bottom of the preamplifier, the usual reference point; antenna tables
ABBREVIATED = {"GPS": "GPS", "GLONASS": "GLO", "Galileo": "GAL", "BeiDou": "BDS", "QZSS": "QZSS"}


def station_log_of(history, systems=()):
    """Return the :class:`StationLog` of a history.

    A new antenna period begins where type, serial or the way from marker to reference point
    changes, at the visit's time; a tilt left behind turns the way. ``systems``: of the receiver.
    """
    content = history.content
    times = [visit.time_ns for visit in content.visit]
    ends = history.ends_ns
    standing = times[:-1] if ends is not None else times
    place = (content.latitude_deg, content.longitude_deg, content.height_m)
    position = np.full(3, np.nan)
    if None not in place:
        latitude, longitude, height = place
        position = xyz_from_geodetic(math.radians(latitude), math.radians(longitude), height)
    names = "+".join(ABBREVIATED.get(name, name) for name in systems)
    return StationLog(
        name=content.description or content.station,
        code=content.station,
        marker_number="",
        position_m=np.asarray(position, float).reshape(3),
        site=_site(content),
        receivers=tuple(
            ReceiverPeriod(r.type, r.serial, r.firmware, names, begin, until)
            for r, begin, until in _periods(history.receiver_at, standing, ends)
            if any((r.type, r.serial, r.firmware))
        ),
        antennas=tuple(
            AntennaPeriod(
                f"{a.type:<20}"[:20],
                a.serial,
                REFERENCE_POINT,
                (round(up, 4), round(north, 4), round(east, 4)),
                math.nan,
                begin,
                until,
            )
            for (a, (up, east, north)), begin, until in _periods(
                lambda t: (history.antenna_at(t), history.height_at(t)), standing, ends
            )
        ),
    )


def _site(content):
    """Return what the history tells of marker, monument, ground and contact, as the log has it."""
    told = {"marker": content.marker}
    if content.monument is not None:
        own = content.monument.model_dump()
        names = {"description": "monument", "height_m": "monument_height_m"}
        told |= {names.get(key, key): value for key, value in own.items()}
    if content.contact is not None:
        told |= {
            {"name": "contact"}.get(key, key): value
            for key, value in content.contact.model_dump().items()
        }
    return {key: str(value) for key, value in told.items() if value not in ("", None)}


def _periods(state_at, times, ends):
    """Return (state, UTC from, UTC until or None) of a dated state, merged where it stays."""
    found = []
    for time_ns in times:
        state = state_at(time_ns)
        if not found or found[-1][0] != state:
            found.append([state, time_ns])
    stops = [begin for _, begin in found[1:]] + [ends]
    return [
        (state, int(utc_from_gps(begin)), None if stop is None else int(utc_from_gps(stop)))
        for (state, begin), stop in zip(found, stops, strict=True)
    ]


def log_file(history, systems=(), prepared_by=""):
    """Return (file name, bytes) of a history's site log; dated by the last visit."""
    content = history.content
    last = int(utc_from_gps(content.visit[-1].time_ns))
    place = (content.latitude_deg, content.longitude_deg, content.height_m)
    data = write_station_log(
        station_log_of(history, systems),
        prepared_utc_ns=last,
        prepared_by=prepared_by,
        events=[
            (int(utc_from_gps(v.time_ns)), f"{v.kind}{': ' if v.note else ''}{v.note}")
            for v in content.visit
        ],
        place=None if None in place else place,
    )
    day = iso(last)[:10].replace("-", "")
    return f"{content.station.lower()}_{day}.log", data
