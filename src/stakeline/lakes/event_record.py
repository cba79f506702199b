"""Fillings and drainings of a lake as records: each quantity as samples, not as a point."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..constants import NS_PER_DAY
from ..errors import SettingsError
from .curve import ENDS, ONSETS, PEAK, end_shares, onset_shares, peak_share, rate_at

LEVEL = 0.95  # -, of the intervals given; choice


@dataclass(frozen=True, eq=False)
class LakeEvent:
    """One filling or draining of one lake, from the stations over it together.

    Attributes
    ----------
    lake, kind : str
        ``drain`` or ``fill``.
    origin_ns : int
        From which the days below count.
    onset_d, length_d, rise, fall, change_m : arrays (s,)
        Samples of one posterior; ``change_m`` of the surface (mean of the stations) up to the last
        row, negative where it sinks.
    station_m : dict
        Change at each station: samples (s,).
    probability_real : float
        That noise has not made it, and that it is the lake's.
    false_per_year : float
        How often noise alone makes a change so clear, in a year of this lake's record.
    onset_bound, end_bound : str
        Words where the record gives only a bound or an interval; else empty.
    reasons : tuple of str
        Why it was taken, and what speaks against it.
    status : str
        ``automatic``, or what a person has made of it: ``reviewed`` or ``rejected``.
    quality : dict
        ``misfit``, ``accepted``, ``size_over_sigma``, ``beside`` (share of controls).
    rows_d : tuple of float
        First and last day of the record, between which changes are counted.
    """

    lake: str
    kind: str
    origin_ns: int
    onset_d: np.ndarray
    length_d: np.ndarray
    rise: np.ndarray
    fall: np.ndarray
    change_m: np.ndarray
    station_m: dict
    probability_real: float
    false_per_year: float
    onset_bound: str = ""
    end_bound: str = ""
    reasons: tuple = ()
    status: str = "automatic"
    quality: dict = field(default_factory=dict)
    rows_d: tuple = (-np.inf, np.inf)

    def onset_days(self, definition="start"):
        """Return samples of the onset by one of :data:`~.curve.ONSETS`. [d]"""
        _known(definition, ONSETS)
        return self.onset_d + self.length_d * onset_shares(self.rise, self.fall)[definition]

    def end_days(self, definition="end"):
        """Return samples of the end by one of :data:`~.curve.ENDS`. [d]"""
        _known(definition, ENDS)
        return self.onset_d + self.length_d * end_shares(self.rise, self.fall)[definition]

    def peak_days(self):
        """Return samples of the time of the greatest rate. [d]"""
        return self.onset_d + self.length_d * peak_share(self.rise, self.fall)

    def peak_rate_m_d(self):
        """Return samples of the greatest rate of the curve; negative where it sinks. [m/d]"""
        shape = rate_at(peak_share(self.rise, self.fall), self.rise, self.fall)
        return self.change_m / self.length_d * shape

    def mean_rate_m_d(self):
        """Return samples of the change over the length. [m/d]"""
        return self.change_m / self.length_d

    def time_ns(self, days):
        """Return GPS time of days. [ns]"""
        return self.origin_ns + np.round(np.asarray(days) * NS_PER_DAY).astype(np.int64)

    def reviewed(self, status, reason):
        """Return the event as a person has judged it; the reason is kept beside the others."""
        if status not in ("reviewed", "rejected") or not reason.strip():
            raise SettingsError("a review says 'reviewed' or 'rejected', and why")
        return replace(self, status=status, reasons=(*self.reasons, f"{status}: {reason.strip()}"))

    def definitions(self, level=LEVEL):
        """Return rows (what, definition, words, low, median, high) of onsets, peak, ends. [d]"""
        rows = [("onset", k, w, self.onset_days(k)) for k, w in ONSETS.items()]
        rows.append(("peak", "peak", PEAK, self.peak_days()))
        rows += [("end", k, w, self.end_days(k)) for k, w in ENDS.items()]
        return [(a, b, c, *interval(d, level)) for a, b, c, d in rows]

    def row(self, level=LEVEL):
        """Return one line of a catalogue as a dict of plain values; times in GPS time. [ns]"""
        found = {"lake": self.lake, "kind": self.kind, "status": self.status}
        days = {"onset": self.onset_days(), "peak": self.peak_days(), "end": self.end_days()}
        for name, samples in days.items():
            for word, value in zip(("low", "median", "high"), interval(samples, level),
                                   strict=True):  # fmt: skip
                found[f"{name}_{word}_ns"] = int(self.time_ns(value))
        numbers = {"change_m": self.change_m, "peak_rate_m_d": self.peak_rate_m_d()}
        numbers["mean_rate_m_d"] = self.mean_rate_m_d()
        for name, samples in numbers.items():
            for word, value in zip(("low", "median", "high"), interval(samples, level),
                                   strict=True):  # fmt: skip
                found[f"{name}_{word}"] = value
        found |= {"probability_real": self.probability_real}
        found |= {"false_per_year": self.false_per_year}
        found |= {"onset_bound": self.onset_bound, "end_bound": self.end_bound}
        return found | {"reasons": "; ".join(self.reasons)}


@dataclass(frozen=True, eq=False)
class LakePhase:
    """What a lake does between events: ``filling``, ``sinking`` or ``steady``.

    ``begin_ns``, ``end_ns`` (3,): low, median, high; ``begin_by``, ``end_by``: what they are, in
    words. ``rate_m_d`` and its sigma are of the surface, relative to the controls where there are
    any.
    """

    lake: str
    kind: str
    begin_ns: np.ndarray
    end_ns: np.ndarray
    begin_by: str
    end_by: str
    rate_m_d: float
    sigma_m_d: float


@dataclass(frozen=True, eq=False)
class LakeHistory:
    """All that was found for one lake; ``false_limit_per_year``: what events had to stay below.

    ``slow``: changes as :class:`LakeEvent` that last too long to be events.
    """

    lake: str
    events: tuple
    phases: tuple
    series: object
    model: object
    false_limit_per_year: float
    notes: tuple
    slow: tuple = ()


def interval(samples, level=LEVEL):
    """Return (low, median, high) of samples: the middle ``level`` of them."""
    tail = 0.5 * (1.0 - level)
    return tuple(float(v) for v in np.quantile(samples, [tail, 0.5, 1.0 - tail]))


def _known(name, table):
    if name not in table:
        raise SettingsError(f"no definition '{name}'; there are {', '.join(table)}")
