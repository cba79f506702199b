"""What a campaign knows of stations besides their loggers: visits, plan, receiver's files, headers.

Stations without logger files, and those that fell silent, are told here too.
"""

import numpy as np

from ..campaign.folders import PLANS
from ..constants import DAYS_PER_YEAR, NS_PER_DAY
from ..errors import SettingsError
from ..station.burial import Rise, burial, melt_out
from ..time import from_calendar
from .health import StationHealth
from .health_visits import CARD_DOUBT, LATEST_FILES, Around, with_silence
from .plan_description import describe_station
from .plan_network import kept_of
from .plan_snow import heights_of, melt_of

NO_LOGGER = "no logger files: nothing is known of its power"
YEARS = 5.0  # a, that snow and melt are looked ahead; as the plan
LEFT_SHARE = 1.0 / 3.0
"""Of what is drilled in, that must stay in the ice; own choice, the plan's storm says it better."""


def around_of(campaign, files, histories, health, rows, odd_days, audit=()):
    """Return ({station: Around}, last day of any file) of all stations that are still out.

    Parameters
    ----------
    campaign : Campaign
    files : sequence of TakenIn
    histories : dict of StationHistory
    health : sequence of StationHealth
    rows : sequence of dict
        Of the quality of receivers' files, by station and time.
    odd_days : callable
        Returns (row, what stands out in words) of each of a station's rows.
    audit : sequence of str
        What forms of visits contradict, each with its station before a colon.
    """
    told = {one.station: one for one in health}
    names = {part.name for part in campaign.settings.station} | set(told)
    last = {name: _last_day(name, files, told.get(name)) for name in names}
    now_day = max((day for day in last.values() if day is not None), default=0)
    found = {}
    for name in sorted(names):
        history = histories.get(name)
        if history is not None and history.ends_ns is not None:
            continue  # taken away
        visits = [] if history is None else [v.time_ns // NS_PER_DAY for v in history.content.visit]
        visit = max(visits, default=None)
        own = odd_days([row for row in rows if row["station"] == name])[-LATEST_FILES:]
        found[name] = Around(
            last[name],
            visit,
            files=_latest(own),
            contradicted=_contradicted(name, files, audit),
            **_of_plan(campaign.folder(PLANS) / f"{name}.toml", visit, told.get(name), now_day),
        )
    return found, now_day


def _contradicted(name, files, audit):
    """Return what headers and forms of visits contradict of a station, each once."""
    headers = dict.fromkeys(s for f in files if f.station == name for s in f.mismatches)
    forms = [one.removeprefix(f"{name}: ") for one in audit if one.startswith(f"{name}: ")]
    return (*headers, *(one for one in forms if not any(said in one for said in headers)))


def everyone(health, around, now_day):
    """Return the :class:`StationHealth` of all stations that are out, told silent where they are.

    Parameters
    ----------
    health : sequence of StationHealth
        Of those with logger files.
    around : dict of Around
    now_day : int
    """
    told = {one.station: one for one in health}
    return [
        with_silence(told.get(name, StationHealth(name, (), problem=NO_LOGGER)), known, now_day)
        for name, known in around.items()
    ]


def _last_day(name, files, health):
    """Return the last day number of any file of a station; None without one."""
    ends = [f.span_ns[1] // NS_PER_DAY for f in files if f.station == name and f.span_ns]
    if health is not None and health.days:
        ends.append(health.first_day + health.days - 1)
    return max(ends, default=None)


def _latest(own):
    """Return (number, median percent or None, what stands out) of a receiver's latest files."""
    if not own:
        return ()
    known = [row["percent"] for row, _ in own if row["percent"] is not None]
    words = [f"{row['day_gps']} {'; '.join(told)}" for row, told in own if told]
    return len(own), float(np.median(known)) if known else None, tuple(words)


def _of_plan(path, visit, health, now_day):
    """Return what a station's plan says of visits, card, snow and melt; {} without a sound one."""
    if not path.is_file():
        return {}
    try:
        return _plan_says(describe_station(path), visit, health, now_day)
    except SettingsError:
        return {}  # its health, or the verb plan, says why


def _plan_says(description, visit, health, now_day):
    """Return day of the next visit, card, snow and melt of a described station."""
    aim = description.settings.aim
    planned = None if aim.visit is None else _day_of(aim.visit)
    built = visit if aim.built is None else _day_of(aim.built)
    card = ()
    if visit is not None:
        whole = kept_of(description, float(DAYS_PER_YEAR)).card_d
        card = tuple(visit + whole * part for part in (1.0 / CARD_DOUBT, 1.0, CARD_DOUBT))
    snow = (health.snow or {}) if health is not None else {}
    return {
        "planned_day": planned,
        "card": card,
        "buried": {} if snow else _buried(description, built),
        "loose": _loose(description, built, snow, now_day),
    }


def _day_of(date):
    return from_calendar(date.year, date.month, date.day) // NS_PER_DAY


def _buried(description, built):
    """Return {part: days} by the plan's snow since building; {} where it does not rise."""
    drift = dict(description.settings.snow.drift_at)
    if built is None or not (description.snow.total_m_a > 0.0 or drift):
        return {}
    generator = np.random.default_rng(description.settings.aim.seed)
    heights = heights_of(description)
    found = burial(heights, description.snow, YEARS, generator, drift_m_a=drift)
    return {one.name: _days(one, built) for one in found}


def _loose(description, built, snow, now_day):
    """Return {mast or legs: days} until a third of what is drilled in is left.

    By the ranger's fall of the surface where it falls, else by the plan's melt since building.
    """
    told = description.settings
    parts = {"mast": told.mast, "legs": told.frame}
    deep = {name: part.embedded_m for name, part in parts.items() if part is not None}
    begin, gone, melt = built, 0.0, melt_of(description)
    if snow:
        begin, gone = now_day, max(-snow["rise_m"], 0.0)
        rate = max(-snow["rate_m_a"], 0.0)
        melt = Rise(rate, snow["sigma_m_a"], 0.3 * rate, storm_share=0.0)
    if begin is None or melt.total_m_a <= 0.0:
        return {}
    generator = np.random.default_rng(told.aim.seed)
    found = {}
    for name, embedded in deep.items():
        needed = LEFT_SHARE * embedded
        if embedded > 0.0 and embedded - gone > needed:
            passed = melt_out(name, embedded - gone, needed, melt, YEARS, generator)
            found[name] = _days(passed, begin)
        elif embedded > 0.0:
            found[name] = (float(now_day),) * 3
    return found


def _days(passage, begin):
    """Return early, median and late day numbers of a passage; None where it does not happen."""
    return tuple(
        begin + float(DAYS_PER_YEAR) * years if np.isfinite(years) else None
        for years in (passage.early_a, passage.median_a, passage.late_a)
    )
