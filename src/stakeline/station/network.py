"""Stations together: baselines to the base, bytes a day, life of a memory card, messages home."""

import math
from dataclasses import dataclass

import numpy as np

from ..constants import EARTH_RADIUS_M
from ..earth.ellipsoid import enu_from_xyz, xyz_from_geodetic
from ..errors import SettingsError
from .checks import not_negative, positive

SYSTEMS = {  # satellites at work, orbit radius [m]; interface documents, from memory
    "GPS": (31, 26.56e6),
    "GLONASS": (24, 25.51e6),
    "Galileo": (27, 29.60e6),
    "BeiDou": (27, 27.91e6),  # those in medium orbits
}
SIGNALS = {  # bytes of one observation of one satellite's signal: code, phase, strength, Doppler
    "receiver binary": (12.0, 20.0),  # a signal, an epoch's heading; common practice, no source
    "RINEX": (4 * 16.0, 36.0),  # RINEX 3.05, table A3: F14.3,2I1 each; epoch line
    "compact RINEX": (4 * 4.0, 10.0),  # Hatanaka (2008), differences of few digits, from memory
}
SATELLITE_BYTES = {"receiver binary": 4.0, "RINEX": 4.0, "compact RINEX": 1.0}  # label, line end
USABLE = 0.9  # -, of a card's named size; common practice, no source
MESSAGES = {  # most bytes of one short-burst message (out, in)
    "full": (1960, 1890),  # reseller's reference, white paper
    "small": (340, 270),  # small modems, from memory
}
USUAL = "small"  # messages of a modem of which nothing is told; choice
FAR_M = 20e3  # m, one-frequency baselines and troposphere suffer beyond; common practice, no source
SECONDS_PER_DAY = 86_400.0  # s/d; definition
ATTEMPTS = 1.3  # -, tries for one message that arrives; common practice, no source


@dataclass(frozen=True)
class Baseline:
    """Straight way from base to station: length, horizontal part, rise [m]; azimuth [deg]."""

    station: str
    length_m: float
    level_m: float
    rise_m: float
    azimuth_deg: float

    @property
    def far(self):
        """Whether it is longer than :data:`FAR_M`."""
        return self.length_m > FAR_M


@dataclass(frozen=True)
class Recording:
    """What one station records: bytes a day, and days until the card is full."""

    satellites: float
    bytes_a_day: float
    card_days: float


@dataclass(frozen=True)
class Messages:
    """Messages a day: those needed, those tried, and room left in the last [bytes]."""

    needed: int
    tried: float
    room_left: int


def baselines(places, base):
    """Return the :class:`Baseline` from the base to each other station, shortest first.

    Parameters
    ----------
    places : dict of (latitude [deg], longitude [deg], height [m])
        By station, the base among them.
    base : str
        Its name.

    Raises
    ------
    SettingsError
        For a base that is not among the places.
    """
    if base not in places:
        raise SettingsError(f"base {base}: no such place; there are {', '.join(sorted(places))}")
    latitude, longitude = np.radians(places[base][:2])
    here = xyz_from_geodetic(latitude, longitude, places[base][2])
    found = []
    for station, place in places.items():
        if station == base:
            continue
        there = xyz_from_geodetic(*np.radians(place[:2]), place[2])
        east, north, _ = enu_from_xyz(there - here, latitude, longitude)
        found.append(
            Baseline(
                station,
                length_m=float(np.linalg.norm(there - here)),
                level_m=float(np.hypot(east, north)),
                rise_m=float(place[2] - places[base][2]),
                azimuth_deg=float(np.degrees(np.arctan2(east, north)) % 360.0),
            )
        )
    return sorted(found, key=lambda one: one.length_m)


def satellites_in_view(systems, mask_deg=5.0):
    """Return the mean number of satellites above an elevation, averaged over the Earth.

    N (1 - cos psi) / 2, psi = arccos(R cos e / r) - e: the share of the orbit's sphere in view.
    Near the poles the satellites stand lower and are about as many (from memory).

    Examples
    --------
    >>> round(satellites_in_view(["GPS"], 10.0), 1)
    9.3
    """
    unknown = [one for one in systems if one not in SYSTEMS]
    if unknown or not systems or not 0.0 <= mask_deg < 90.0:
        raise SettingsError(
            f"systems {', '.join(systems) or 'none'} above {mask_deg} deg: expected some of "
            f"{', '.join(SYSTEMS)} and an elevation of 0 to 90"
        )
    mask = math.radians(mask_deg)
    seen = 0.0
    for name in systems:
        count, radius = SYSTEMS[name]
        cap = math.acos(EARTH_RADIUS_M * math.cos(mask) / radius) - mask
        seen += count * (1.0 - math.cos(cap)) / 2.0
    return seen


def recording(interval_s, systems, *, signals=2, form="receiver binary", card_bytes=0.0, **view):
    """Return the :class:`Recording` of a receiver that runs all day; half as long, half as much.

    Parameters
    ----------
    interval_s : float
        Between epochs [s].
    systems : list of str
        Of :data:`SYSTEMS`.
    signals : int
        Recorded of each satellite, such as 2 for L1 and L2.
    form : str
        Of :data:`SIGNALS`; packing (gzip) makes RINEX about a third, is not counted.
    card_bytes : float
        Size on the card's label, bytes of which :data:`USABLE` serve; 0 where none is asked for.
    **view
        ``mask_deg`` of :func:`satellites_in_view`.
    """
    positive(interval_s=interval_s, signals=signals)
    not_negative(card_bytes=card_bytes)
    if form not in SIGNALS:
        raise SettingsError(f"form {form!r} is not known; known are {', '.join(SIGNALS)}")
    each, heading = SIGNALS[form]
    satellites = satellites_in_view(systems, **view)
    epoch = heading + satellites * (SATELLITE_BYTES[form] + signals * each)
    day = SECONDS_PER_DAY / interval_s * epoch
    return Recording(satellites, day, USABLE * card_bytes / day if card_bytes else math.nan)


def messages_a_day(bytes_a_day, kind=USUAL, attempts=ATTEMPTS, report_bytes=None):
    """Return the :class:`Messages` that carry so many bytes home, each as full as it can be.

    ``kind`` of :data:`MESSAGES`; ``report_bytes``: of reports of which none is cut in two, where
    given. A message counts whole, and each try costs energy and may be
    charged: ask the operator of the service.
    """
    not_negative(bytes_a_day=bytes_a_day)
    if kind not in MESSAGES or not attempts >= 1.0:
        raise SettingsError(
            f"message {kind!r} with {attempts} tries: expected {' or '.join(MESSAGES)}, and "
            "1 or more"
        )
    largest = MESSAGES[kind][0]
    needed = math.ceil(bytes_a_day / largest)
    if report_bytes is not None:
        reports = math.ceil(bytes_a_day / report_bytes)
        needed = math.ceil(reports / reports_a_day(1, report_bytes, kind))
    return Messages(needed, needed * attempts, needed * largest - math.ceil(bytes_a_day))


def reports_a_day(messages, report_bytes, kind=USUAL):
    """Return how many whole reports, none cut in two, fit into so many messages a day."""
    positive(report_bytes=report_bytes)
    not_negative(messages=messages)
    if kind not in MESSAGES or report_bytes > MESSAGES[kind][0]:
        raise SettingsError(
            f"a report of {report_bytes:g} bytes does not fit into a message {kind!r}: expected "
            "fewer bytes, or another of "
            f"{', '.join(f'{name} ({most[0]} bytes)' for name, most in MESSAGES.items())}"
        )
    return int(messages) * int(MESSAGES[kind][0] // report_bytes)
