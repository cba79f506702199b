"""What a party should have before it leaves: there, missing or not to be had yet, and why."""

from dataclasses import dataclass

import numpy as np

from ..campaign.folders import PLANS, STATIONS
from ..campaign.history import read_history
from ..constants import NS_PER_DAY
from ..errors import FormatError, SettingsError
from ..formats import antex, blq, erp
from ..satellites.antenna import choose_receiver_antenna
from ..tables import Antennas
from ..time import iso, last_leap_second
from .motion_ground import grid_files, outline_files
from .plan_places import day_ns
from .product_index import share_covered

YES, NO, LATER = "yes", "NO", "later"
COVERED = 0.9  # -, of a day by orbits; own choice
MOST_NAMED = 6  # stations or days that a line names; choice
LATE = (
    "precise ones of a day come after it (IGS, from memory: rapid a day, final two to three "
    "weeks); only predictions and broadcast messages are there in time"
)


@dataclass(frozen=True)
class Ready:
    """One thing: what, its state (yes, NO, later), what is there, why it matters."""

    what: str
    state: str
    found: str
    why: str


def ready_list(campaign, descriptions, places, entries, works=()):
    """Return a :class:`Ready` for each thing.

    Parameters
    ----------
    campaign : Campaign
    descriptions : sequence of StationDescription
    places : sequence of Place
    entries : sequence of ProductEntry
    works : sequence of Work
        Of the stations, for the time on site.
    """
    histories = _histories(campaign, descriptions)
    visits = {one.name: one.settings.aim.visit for one in descriptions if one.settings.aim.visit}
    return (
        *_plans(descriptions, places, histories),
        _calibrations(campaign, histories, entries, visits),
        _loading(campaign, descriptions, entries),
        _orbits("orbits", "sp3", histories, visits, entries),
        _orbits("clocks", "clocks", histories, visits, entries),
        _messages(entries, visits),
        _leap_seconds(visits),
        _orientation(campaign, entries, visits),
        *_maps(campaign),
        *_on_site(works),
    )


def _histories(campaign, descriptions):
    """Return the histories of described stations that can be read, by name."""
    found = {}
    for one in descriptions:
        path = campaign.folder(STATIONS) / f"{one.name}.toml"
        try:
            if path.is_file():
                found[one.name] = read_history(path)
        except SettingsError:
            continue  # intake says what is wrong with it
    return found


def _plans(descriptions, places, histories):
    """Yield what plans and histories say."""
    dated = [one.name for one in descriptions if one.settings.aim.visit and one.settings.aim.built]
    undated = [one.name for one in descriptions if one.name not in dated]
    yield _all("dates of building and visit", undated, "for each station",
               f"[aim] of {PLANS}/NAME.toml; snow, card, place are for it")  # fmt: skip
    known = [one.name for one in places if one.visit is not None or one.on_rock]
    lost = [one.name for one in places if one.name not in known]
    yield Ready("where each station will be", NO if lost else YES,
                f"as its file says: {_named(lost)}" if lost else "predicted",
                "ice moves a station out of sight within a year")  # fmt: skip
    silent = [one.name for one in descriptions if one.name not in histories]
    yield _all("station histories", silent, f"in {STATIONS}/",
               "receivers, antennas and heights that a visit changes")  # fmt: skip


def _all(what, missing, there, why):
    return Ready(what, NO if missing else YES,
                 f"missing: {_named(missing)}" if missing else there, why)  # fmt: skip


def _named(names):
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    return ", ".join(names[:MOST_NAMED]) + more


def _read(campaign, entries, kind, read):
    """Return what the products of a kind hold, those left out that cannot be read."""
    found = []
    for entry in entries:
        try:
            found += [read(campaign.root / entry.path)] if entry.kind == kind else []
        except FormatError:
            continue  # the scan of products says what is wrong with it
    return found


def _calibrations(campaign, histories, entries, visits):
    """Return whether the antenna that each history names is calibrated on its next visit."""
    what, why = "antenna calibrations", "heights are some centimetres off without them"
    sets = _read(campaign, entries, "antex", antex.read_antex)
    if not sets:
        return Ready(what, NO, "none in products/", why)
    every = Antennas(tuple(entry for one in sets for entry in one.entries))
    lacking, good = [], []
    for name, history in histories.items():
        last_ns = history.content.visit[-1].time_ns
        antenna = history.antenna_at(last_ns)
        when = day_ns(visits[name]) if name in visits else last_ns
        entry, note = choose_receiver_antenna(every, antenna.type, antenna.serial, when)
        good += [name] if entry is not None and not note else []
        lacking += [f"{name}: {note}"] if note else []
    if lacking:
        return Ready(what, NO, _named(lacking), why)
    if not good:
        return Ready(what, NO, f"no history in {STATIONS}/ names an antenna", why)
    return Ready(what, YES, f"of the antennas at {_named(good)}", why)


def _loading(campaign, descriptions, entries):
    """Return whether ocean loading is there for each station by its name."""
    what, why = "ocean loading", "at the coast positions move by centimetres with the tide"
    sets = _read(campaign, entries, "blq", blq.read_blq)
    sites = {site.strip().upper()[:4] for one in sets for site in one}
    if not sites:
        return Ready(what, NO, "none in products/", why)
    missing = [one.name for one in descriptions if one.name.upper() not in sites]
    return _all(what, missing, "for each station", why)


def _orbits(word, kind, histories, visits, entries):
    """Return whether orbits or clocks cover the days of past visits, and of visits to come."""
    own = [entry for entry in entries if entry.kind == kind]
    past = {
        (name, iso(visit.time_ns)[:10])
        for name, history in histories.items()
        for visit in history.content.visit
    }
    lacking = sorted(f"{day} ({name})" for name, day in past if not _covers(own, day))
    ahead = sorted(f"{day} ({name})" for name, day in visits.items()
                   if not _covers(own, str(day)))  # fmt: skip
    span = _span(own)
    what = f"precise {word}"
    if lacking:
        return Ready(what, NO, f"{span}; missing for visits past: {_named(lacking)}",
                     f"positions at once, in the tent; {LATE}")  # fmt: skip
    if ahead or not own:
        when = f"; not yet for {_named(ahead)}" if ahead else ""
        return Ready(what, LATER, f"{span}{when}", LATE)
    return Ready(what, YES, span, "positions at once, in the tent")


def _covers(entries, day):
    first = int(np.datetime64(day, "ns").astype(np.int64))
    return share_covered(entries, first, first + NS_PER_DAY) >= COVERED


def _span(entries):
    if not entries:
        return "none in products/"
    first = min(entry.first_ns for entry in entries)
    last = max(entry.last_ns for entry in entries)
    return f"{len(entries)} files, {iso(first)[:10]} to {iso(last)[:10]}"


def _messages(entries, visits):
    own = [entry for entry in entries if entry.kind == "navigation"]
    lacking = [f"{day} ({name})" for name, day in visits.items() if not _covers(own, str(day))]
    why = "orbits of last resort, good for four hours: a receiver gives those of its own day"
    state = NO if not own else LATER if lacking else YES
    more = f"; not yet for {_named(sorted(lacking))}" if own and lacking else ""
    return Ready("broadcast messages", state, _span(own) + more, why)


def _leap_seconds(visits):
    """Return up to when leap seconds are known: announced half a year ahead at most."""
    since_ns, seconds = last_leap_second()
    found = f"GPS - UTC {seconds:.0f} s since {iso(since_ns)[:10]}, none later is known"
    why = "IERS Bulletin C announces one half a year ahead: look shortly before leaving"
    return Ready("leap seconds", LATER if visits else YES, found, why)


def _orientation(campaign, entries, visits):
    """Return how old Earth orientation is on the days of visits."""
    what, why = "Earth orientation", "pole tide: positions move by millimetres without"
    sets = _read(campaign, entries, "orientation", erp.read_orientation)
    if not sets:
        return Ready(what, NO, "none in products/", why)
    last = max(int(one.time_utc_ns[-1]) for one in sets)
    old = {name: (day_ns(day) - last) / NS_PER_DAY for name, day in visits.items()}
    worst = max(old, key=old.get, default=None)
    found = f"until {iso(last)[:10]}"
    if worst is None or old[worst] <= 0.0:
        return Ready(what, YES, found, why)
    return Ready(what, LATER, f"{found}, {old[worst]:.0f} d before the visit of {worst}",
                 f"{why}; values of a day come with it, predictions reach a year")  # fmt: skip


def _maps(campaign):
    """Yield whether maps and outlines of lakes lie in ``maps/``."""
    for what, paths, why in (
        ("maps of ice and bed", grid_files(campaign), "thickness, slope, routes of water"),
        ("outlines of lakes", outline_files(campaign), "where a station sees most of a lake"),
    ):
        names = [path.name for path in paths]
        yield Ready(what, YES if names else NO, _named(names) or "none in maps/", why)


def _on_site(works):
    """Yield the time on site, and what is read again at the visit."""
    for kind in dict.fromkeys(work.kind for work in works):
        own = [f"{work.station} {work.hours:.1f} h" for work in works if work.kind == kind]
        why = "two who have done it, in calm; cold doubles it (choice; work.csv)"
        yield Ready(f"time on site, {kind}", YES, _named(own), why)
    for work in works:
        if work.kind == "visit":
            read = ", ".join(f"{title} {count}" for title, count in work.readings)
            yield Ready(f"to measure again at {work.station}", YES, read,
                        "numbers by part of the visit's field sheet")  # fmt: skip


def ready_text(rows):
    """Return the list in words."""
    lines = ["Before leaving: is it there, also without a network?",
             "(later: cannot be had before its day, or must be looked at again then)"]  # fmt: skip
    for one in rows:
        lines.append(f"  {one.state:<6}{one.what}: {one.found}. {one.why}")
    return "\n".join(lines) + "\n"
