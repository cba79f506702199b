"""Stations together: baselines, what is recorded and sent, and the smallest change they can see."""

from dataclasses import dataclass

import numpy as np

from ..formats.plain_table import write_plain_table
from ..inference.power import WISHED, sigma_of_series, smallest_formula
from ..lakes.network_sight import CORRELATION
from ..lakes.placement import change_sigma_m
from ..lakes.whitening import START
from ..motion.smoother import MotionModel
from ..station.network import (
    FAR_M,
    MESSAGES,
    USUAL,
    baselines,
    messages_a_day,
    recording,
    reports_a_day,
)
from .plan_lines import at_least, at_most

LENGTHS_D = (5.0, 15.0, 45.0)  # d; of a change of speed; own choice
DRAINAGES = (1, 3, 10)  # events seen in a campaign; own choice
DEGREES = 60.0  # of freedom of the noise's level, own choice
WHITE_M = 0.005  # m; of a level position of some hours, where no station's is known; choice
RECORD_D = 60.0  # d; before and after an event that its station needs; own choice


@dataclass(frozen=True)
class Kept:
    """What one station records and sends.

    ``bytes_d``: a day, by what is recorded and the share of the day that the receiver is on;
    ``card_d``: until the card is full; ``messages``: of short bursts a day, None where nothing is
    sent; ``message_bytes``: most of one; ``reports_d``: whole reports that they carry, None where
    the size of one is not given.
    """

    station: str
    bytes_d: float
    card_d: float
    messages: object
    message_bytes: int
    reports_d: int | None
    lines: tuple

    @property
    def sent_words(self):
        """What it sends each day, in words; empty where it sends nothing."""
        if self.messages is None:
            return ""
        whole = "" if self.reports_d is None else f", {self.reports_d} whole reports"
        plural = "" if self.messages.needed == 1 else "s"
        return (
            f"{self.messages.needed} short burst{plural} of up to {self.message_bytes} bytes a day "
            f"({self.messages.tried:.1f} tried){whole}"
        )


def kept_of(description, visit_d):
    """Return the :class:`Kept` of a described station that is visited after so many days."""
    told = description.settings.recording
    on = max((one.duty for one in description.design.loads if one.kind == "receiver"), default=1.0)
    found = recording(
        told.interval_s,
        list(told.systems),
        signals=told.signals,
        form=told.form,
        card_bytes=told.card_GB * 1e9,
    )
    bytes_d, card_d = found.bytes_a_day * on, found.card_days / on
    messages, kind, reports = None, USUAL, None
    sender = next((one for one in description.settings.load if one.kind == "telemetry"), None)
    if sender is not None:
        kind = sender.message or USUAL
    if told.sent_bytes_d > 0.0:
        size = None if sender is None else sender.report_bytes
        messages = messages_a_day(told.sent_bytes_d, kind, report_bytes=size)
        reports = None if size is None else reports_a_day(messages.needed, size, kind)
    line = at_least("network", "memory card until full", card_d, visit_d, "d",
                    words=f"{bytes_d / 1e6:.1f} MB a day", doubt=1.3)  # fmt: skip
    sent = (messages, MESSAGES[kind][0], reports)
    return Kept(description.name, bytes_d, card_d, *sent, (line,))


@dataclass(frozen=True)
class NetworkOutcome:
    """Stations together.

    ``base``: its name, empty where no station stands on rock; ``baselines``; ``smallest``: rows of
    (length [d], drainages, stations, change [m/d], change [%] or NaN); ``noise``: where it is from.
    """

    base: str
    baselines: tuple
    smallest: tuple
    noise: str
    speed_m_d: float
    lines: tuple


def network_of(descriptions, places, results, speed=None):
    """Return the :class:`NetworkOutcome`.

    Parameters
    ----------
    descriptions : sequence of StationDescription
    places : sequence of Place
    results : sequence of StationResult
        Motion so far, for noise and speed; may be empty.
    speed : float, optional
        Of the ice, where it is known otherwise. [m/d]
    """
    rock = [one.name for one in places if one.on_rock]
    base, found = (rock[0] if rock else ""), ()
    if base and len(places) > 1:
        where = {p.name: (p.latitude_deg, p.longitude_deg, p.height_m) for p in places}
        found = tuple(baselines(where, base))
    model, white, noise = noise_of(results)
    speeds = [r.mean_speed_m_d[0] for r in results if r.moves]
    if speed is None:
        speed = float(np.median(speeds)) if speeds else np.nan
    moving = max(sum(not one.on_rock for one in places), 1)
    rows = tuple(
        _smallest(model, white, length, count, stations, speed)
        for length in LENGTHS_D
        for count in DRAINAGES
        for stations in sorted({1, moving})
    )
    lines = tuple(
        at_most("network", f"{one.station}: baseline to {base}", one.length_m / 1e3, FAR_M / 1e3,
                "km", words="troposphere and ionosphere differ beyond")
        for one in found
    )  # fmt: skip
    return NetworkOutcome(base, found, rows, noise, speed, lines)


def noise_of(results):
    """Return (model, white sigma [m], words) of a level position: of the quietest half, or usual.

    The noise along the flow is taken, of the station in the middle.
    """
    moving = [r for r in results if r.moves and r.told]
    if not moving:
        return START, WHITE_M, "usual noise: no station has a record yet"
    models = [model_of(one.told["axes"]["along"]["noise"]) for one in moving]
    sigmas = [change_sigma_m(m, WHITE_M, 15.0, RECORD_D, RECORD_D) for m in models]
    middle = int(np.argsort(sigmas)[len(sigmas) // 2])
    return models[middle], WHITE_M, f"noise along the flow of {moving[middle].station}"


def model_of(noise):
    """Return the MotionModel of the noise of a station's summary, of its usual part."""
    return MotionModel(
        noise["acceleration_m2_d3"], np.inf, tuple(noise["coloured_sigma_m"]),
        tuple(noise["coloured_memory_d"]), noise["white_scale"],
    )  # fmt: skip


def _smallest(model, white, length_d, count, stations, speed):
    """Return one row: the smallest change of speed during an event that is seen.

    The excess of displacement over the event, a ramp of known time under the noise, by its length;
    the mean of events that are independent, and of stations that are not quite (Kish 1965).
    """
    one = change_sigma_m(model, white, length_d, RECORD_D, RECORD_D) / length_d
    sigma = sigma_of_series(one / np.sqrt(count), stations, CORRELATION)
    change = smallest_formula(sigma, DEGREES, WISHED)
    return length_d, count, stations, change, 100.0 * change / speed


def smallest_table(outcome):
    """Return the bytes of the table of smallest changes."""
    length, count, stations, change, percent = zip(*outcome.smallest, strict=True)
    return write_plain_table(
        {
            "length_d": list(length),
            "drainages": list(count),
            "stations": list(stations),
            "smallest_change_m_d": np.array(change),
            "smallest_change_percent": np.array(percent),
        },
        {"smallest_change_m_d": 5, "length_d": 1},
    )


def baseline_table(outcome):
    """Return the bytes of the table of baselines."""
    rows = outcome.baselines
    return write_plain_table(
        {
            "station": [one.station for one in rows],
            "base": [outcome.base for _ in rows],
            "length_km": np.array([one.length_m / 1e3 for one in rows]),
            "rise_m": np.array([one.rise_m for one in rows]),
            "azimuth_deg": np.array([one.azimuth_deg for one in rows]),
            "far": [str(one.far).lower() for one in rows],
        },
        {"rise_m": 1, "azimuth_deg": 1},
    )
