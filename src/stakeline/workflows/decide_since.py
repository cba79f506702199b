"""What speeds and events were made from, written down, and what has changed since."""

import json

from ..campaign.store import sha256_file, sha256_of
from .decide_melt import WEATHER
from .lakes_results import lake_results
from .motion_ground import outline_files

NONE_YET = "none yet"


def made_from(campaign):
    """Return what makes the speeds and events of a campaign, as a dict of texts and tables.

    ``lakes_settings`` (without reviews) and ``motion_settings``: sums; ``reviews``: list;
    ``outlines`` and ``weather``: {file: sum}; ``events``: {name: status}, ``catalogue`` a sum of
    all that is known of them, :data:`NONE_YET` where no lake has been worked out.
    """
    settings = campaign.settings
    lakes = json.loads(settings.lakes.model_dump_json())
    reviews = lakes.pop("review")
    events = [event for lake in lake_results(campaign) for event in lake.told["events"]]
    weather = sorted(p for p in (campaign.root / WEATHER).glob("*") if p.is_file())
    return {
        "lakes_settings": _sum(lakes),
        "motion_settings": _sum(json.loads(settings.motion.model_dump_json())),
        "reviews": sorted(f"{r['lake']}, {r['onset']}: {r['status']}" for r in reviews),
        "catalogue": _sum(events) if events else NONE_YET,
        "outlines": _sums(campaign, sorted(outline_files(campaign))),
        "weather": _sums(campaign, weather),
        "events": {event["event"]: event["status"] for event in events},
    }


def _sum(content):
    return sha256_of(json.dumps(content, sort_keys=True).encode("utf-8"))


def _sums(campaign, paths):
    return {campaign.relative(path): sha256_file(path)[1] for path in paths}


def changed_since(before, now):
    """Return (what breaks a plan, what is only told), in words.

    Parameters
    ----------
    before, now : dict
        As of :func:`made_from`. What was not there yet before, such as events of a campaign that
        had not been worked out, can only be told.
    """
    breaking, told = [], []
    for key, words in (("lakes_settings", "lakes"), ("motion_settings", "motion")):
        if before.get(key) != now[key]:
            breaking.append(f"settings of {words} changed since")
    reviews = sorted(set(before.get("reviews", ())) ^ set(now["reviews"]))
    if reviews and before.get("catalogue") == NONE_YET:
        told.append(f"reviews made since events are known ({_few(reviews)})")
    elif reviews:
        breaking.append(f"reviews changed since ({_few(reviews)})")
    for kind in ("outlines", "weather"):
        other, new = _files(before.get(kind, {}), now[kind])
        breaking += [f"{kind} changed since ({_few(other)})"] if other else []
        told += [f"{kind} new since ({_few(new)})"] if new else []
    _events(before, now, breaking, told)
    return breaking, told


def _files(before, now):
    """Return (files that are others or gone, files that are new)."""
    other = sorted(name for name, said in before.items() if now.get(name) != said)
    return other, sorted(now.keys() - before.keys())


def _events(before, now, breaking, told):
    """Add what became of events."""
    if before.get("catalogue") in (now["catalogue"], NONE_YET):
        return
    old, new = before.get("events", {}), now["events"]
    gone = sorted(name for name in old if name not in new)
    rejected = sorted(
        name for name, status in new.items()
        if status == "rejected" and old.get(name, status) != status
    )  # fmt: skip
    added = sorted(new.keys() - old.keys())
    breaking += [f"events rejected since ({_few(rejected)})"] if rejected else []
    breaking += [f"events gone since ({_few(gone)})"] if gone else []
    told += [f"events new since ({_few(added)})"] if added else []
    if not (rejected or gone or added):
        told.append("times, sizes or status of events known otherwise since")


def _few(names, most=3):
    """Return some names and how many more there are."""
    more = len(names) - most
    return ", ".join(names[:most]) + (f" and {more} more" if more > 0 else "")
