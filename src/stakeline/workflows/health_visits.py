"""Where to go next: what each station may lose until then, by reason, added up day by day.

Every reason gives a chance by day that its station records nothing of use; chances of several
reasons are taken as independent, but for those of its energy where there is a forecast: it knows of
dead panels, of a rotor that stands, of load and bank, so that of these the greatest chance of a day
counts. Days of science lost until the next visit are the sum over days of one less the product of
the chances that nothing goes wrong.
"""

from dataclasses import dataclass, replace

import numpy as np

from ..constants import NS_PER_DAY
from ..station.health_parts import BANK, COVER, LOAD, ONE_PANEL, PANELS, TURBINE, Finding
from ..time import iso

AHEAD_D = 365  # d, to the next visit where no plan names its day; own choice
HALF_YEAR_D = 183.0  # d, in which a finding's chance is reached, evenly; own choice
SILENT_D = 7  # d without anything, from which a station is called silent; own choice
SILENT = "silent"
SILENT_CHANCE, HOME_CHANCE = 0.9, 0.3
"""That a silent station records nothing: one that stopped by itself, one whose data went home with
a visit; own choice. [-]"""
HOME_D = 3  # d between the last data and a visit that took them home; own choice
BY_PART = {"antenna": 0.8, "box": 0.05, "turbine": 0.3, "mast": 0.7, "legs": 0.7}
PANEL_BURIED = 0.3
"""Chance that a part buried, or come loose, costs a day; the last of panels; own choice. [-]"""
CARD_DOUBT = 1.3  # -, of the days until a card is full; as the plan's
LATEST_FILES, LOW_PERCENT = 10, 90.0  # files, and % of promised epochs, of a receiver's quality
ODD_FILES = 3  # of those that stand out, to be named; own choice
ODD_CHANCE, HEADER_CHANCE = 0.05, 0.02
"""Of a day without use, by files that stand out and by headers against the history; own choice."""
TOLD_CHANCE = 0.05  # -, of going dark, from which it is named; own choice
SHARES = (0.05, 0.5, 0.95)  # -, of the chance by early, median and late dates
VISIT_COLUMNS = ("rank", "station", "risk", "lost_days", "until", "reason", "before")
USUAL = 0.2  # -, chance of a finding that has no other
SEVERITY = {
    "panels give nothing": 0.6,
    "one group of panels gives nothing": 0.3,
    "panels rimed or dirty": 0.2,
    "turbine stands in the wind": 0.3,
    "load has grown": 0.5,
    "bank holds less than it did": 0.6,
    "box too warm": 0.3,
    "too much voltage": 0.5,
    "fake low battery: the supply ripples": 0.3,
    "voltage falls as a load starts": 0.2,
    "went dark with a bank that was not empty": 0.8,
    "never charged full": 0.2,
    "water in the box": 0.4,
    "voltage collapses in the cold": 0.7,
    "mast leans": 0.4,
}
"""Chance by which each finding that holds is taken to cost data within half a year; own choice."""
OF_ENERGY = (PANELS, ONE_PANEL, COVER, TURBINE, LOAD, BANK)
"""Findings that the forecast of the winter reckons with."""
AT_ONCE = {"awake but recording nothing": 0.9}
"""The same of findings that cost it from today on."""


@dataclass(frozen=True)
class Around:
    """What is known of a station besides its logger; days are day numbers.

    ``last_day``: of any of its files, None without one. ``visit_day``: of its last visit, None
    without a history. ``planned_day``: of the next by its plan, None where not given. ``card``:
    early, median and late day on which the memory card is full, () unknown; ``buried``, ``loose``:
    the same by part, None never. ``files``: number, median percent
    and what stands out of the receiver's latest; () without. ``contradicted``: what
    headers and forms of visits say otherwise.
    """

    last_day: int | None = None
    visit_day: int | None = None
    planned_day: int | None = None
    card: tuple = ()
    buried: dict | None = None
    loose: dict | None = None
    files: tuple = ()
    contradicted: tuple = ()


@dataclass(frozen=True)
class Reason:
    """One reason to go: its words, the chance of a lost day by day ahead (n,), and a date or None.

    ``of_energy``: whether it is the energy that it takes away, of which a forecast knows.
    """

    words: str
    chance: np.ndarray
    before: float | None = None
    of_energy: bool = False

    @property
    def lost(self):
        """Days that it alone would cost. [d]"""
        return float(self.chance.sum())


def date_of(day):
    """Return a day number as a date."""
    return iso(int(np.floor(day)) * NS_PER_DAY)[:10]


def with_silence(one, around, now_day):
    """Return the station's health with the finding that it is silent, where it is.

    Parameters
    ----------
    one : StationHealth
    around : Around
    now_day : int
        Last day of which any station of the campaign has told.
    """
    last = one.first_day + one.days - 1 if one.days else around.last_day
    if last is None or now_day - last < SILENT_D:
        return one
    why = f"nothing from its logger since {date_of(last)}"
    if not one.files:
        why = f"no logger files, and nothing else since {date_of(last)}"
    elif around.last_day is not None and around.last_day > last:
        why += f", other files to {date_of(around.last_day)}"
    if one.last_V is not None:
        why += f"; last battery voltage {one.last_V:.2f} V"
    if _went_home(last, around):
        why += "; a visit then may have taken the data home"
    base = one.first_day
    since = last + 1 - base
    found = Finding(SILENT, since, since + SILENT_D - 1, now_day - base, why)
    return replace(one, findings=(*one.findings, found))


def _went_home(last, around):
    return around.visit_day is not None and abs(around.visit_day - last) <= HOME_D


def visit_rows(stations, around=None, now_day=None):
    """Return the next visits as rows of :data:`VISIT_COLUMNS`, the most days of science first.

    Parameters
    ----------
    stations : sequence of StationHealth
    around : dict of Around, optional
        By station.
    now_day : int, optional
        Day number from which is looked ahead; the last of any telemetry where not given.
    """
    if now_day is None:
        now_day = max((one.first_day + one.days - 1 for one in stations), default=0)
    rows = []
    for one in stations:
        known = (around or {}).get(one.station, Around())
        planned = known.planned_day
        until = planned if planned is not None and planned > now_day else now_day + AHEAD_D
        ahead = np.arange(1, until - now_day + 1)
        reasons = sorted(reasons_of(one, known, now_day, ahead), key=lambda r: -r.lost)
        well = _well(reasons)
        lost = float((1.0 - well * np.ones(ahead.size)).sum())
        risk = float(1.0 - well[-1]) if reasons else 0.0
        dates = [r.before for r in reasons if r.before is not None]
        words = "; ".join(_said(reason) for reason in reasons) or "nothing found"
        before = date_of(max(min(dates), now_day)) if dates else ""
        rows.append((lost, risk, one.station, date_of(until), words, before))
    rows.sort(key=lambda row: (-row[0], -row[1], row[2]))
    return [
        dict(zip(VISIT_COLUMNS, (
            place, name, f"{risk:.2f}", f"{lost:.0f}", until, words, before), strict=True))
        for place, (lost, risk, name, until, words, before) in enumerate(rows, 1)
    ]  # fmt: skip


def _well(reasons):
    """Return the chance that nothing goes wrong, by day (n,) ahead; 1 without a reason."""
    energy = [reason.chance for reason in reasons if reason.of_energy]
    chances = [reason.chance for reason in reasons if not reason.of_energy]
    if energy:
        chances.append(np.max(energy, axis=0))
    return np.prod([1.0 - chance for chance in chances], axis=0)


def _said(reason):
    """Return a reason with the days that it alone would cost, where they are half a day or more."""
    return f"{reason.words} ({reason.lost:.0f} d)" if reason.lost >= 0.5 else reason.words


def reasons_of(one, around, now_day, ahead):
    """Return the :class:`Reason` of each thing that may cost data, in no order.

    Parameters
    ----------
    one : StationHealth
    around : Around
    now_day : int
    ahead : int array, shape (n,)
        Days from now on that are looked at, 1 and more.
    """
    flat, ramp = np.ones(ahead.size), np.minimum(ahead / HALF_YEAR_D, 1.0)
    found = []
    for finding in one.holding:
        words = f"{finding.kind} since {one.date(finding.begins)}"
        if finding.kind == SILENT:
            home = _went_home(one.first_day + finding.begins - 1, around)
            chance = HOME_CHANCE if home else SILENT_CHANCE
            found.append(Reason(f"{words}: {finding.why}", chance * flat))
        elif finding.kind in AT_ONCE:
            found.append(Reason(words, AT_ONCE[finding.kind] * flat))
        else:
            chance = SEVERITY.get(finding.kind, USUAL) * ramp
            reckoned = bool(one.forecasts) and finding.kind in OF_ENERGY
            found.append(Reason(words, chance, of_energy=reckoned))
    if one.forecasts:
        found += _dark(one, now_day, ahead)
    buried = (one.snow or {}).get("buried") or around.buried or {}
    for words, dates in (("snow over the", buried), ("melts out:", around.loose or {})):
        found += [_passing(words, *item, now_day, ahead) for item in dates.items()]
    if around.card:
        found.append(_dated("memory card full", around.card, 1.0, now_day, ahead))
    found += _receiver(around, flat)
    if one.problem and not one.days:
        found.append(Reason(one.problem, 0.0 * flat))
    return [reason for reason in found if reason is not None]


def _dark(one, now_day, ahead):
    """Return the reason that the bank may run out, by the last forecast; [] where it will not."""
    told = one.forecasts[-1]
    if told["chance"] < TOLD_CHANCE:
        return []
    points = [(now_day, 0.0), *(p for p in told["course"] if p[0] > now_day)]
    points.append((max(points[-1][0], now_day + ahead[-1]) + 1.0, told["chance"]))
    chance = np.interp(now_day + ahead, *np.array(points, float).T)
    return [Reason(f"{100 * told['chance']:.0f} % chance of going dark", chance, told["early"],
                   of_energy=True)]  # fmt: skip


def _passing(words, part, dates, now_day, ahead):
    share = next((BY_PART[name] for name in BY_PART if part.startswith(name)), PANEL_BURIED)
    return _dated(f"{words} {part}", dates, share, now_day, ahead)


def _dated(words, dates, share, now_day, ahead):
    """Return the reason of something that happens around a date; None if after the days ahead."""
    early, median, late = dates
    if early is None or early > now_day + ahead[-1]:
        return None
    ends = [(early, SHARES[0])]
    ends += [(d, s) for d, s in ((median, SHARES[1]), (late, SHARES[2])) if d is not None]
    ends = [(early - 1.0, 0.0), *((max(d, early + 0.01 * k), s) for k, (d, s) in enumerate(ends))]
    chance = share * np.interp(now_day + ahead, *np.array(ends, float).T)
    middle = f" around {date_of(median)}" if median is not None else ""
    return Reason(f"{words}{middle}, from {date_of(early)} on", chance, early)


def _receiver(around, flat):
    """Return reasons by what the receiver's latest files and their headers say."""
    found = []
    if around.files:
        count, percent, odd = around.files
        if percent is not None and percent < LOW_PERCENT:
            words = f"receiver has {percent:.0f} % of the promised epochs in its last {count} files"
            found.append(Reason(words, (1.0 - percent / 100.0) * flat))
        elif len(odd) >= min(ODD_FILES, count):
            words = f"{len(odd)} of the last {count} receiver files stand out, last: {odd[-1]}"
            found.append(Reason(words, ODD_CHANCE * flat))
    if around.contradicted:
        first, *rest = around.contradicted
        more = f" and {len(rest)} more" if rest else ""
        words = f"files and forms contradict: {first}{more}"
        found.append(Reason(words, HEADER_CHANCE * flat))
    return found
