"""What people have made of events: ``[[lakes.review]]`` laid over what the search found."""

from dataclasses import dataclass

from ..constants import NS_PER_DAY
from ..time import from_iso


@dataclass(frozen=True)
class Reviewed:
    """Events (dicts as of a lake's summary) with their status, and sentences about reviews that
    fit no event.
    """

    events: tuple
    unmatched: tuple


def reviewed(events, reviews):
    """Return the :class:`Reviewed` of the events of one or several lakes.

    A review belongs to the event of its lake whose onset (median, GPS time) is nearest to noon of
    its day, and no more than ``within_d`` from that day. Of several for one event the last in the
    file holds; the reasons of all are kept.
    """
    events = [dict(event, reviewed_by="", reviewed_on="") for event in events]
    unmatched = []
    for review in reviews:
        own = [event for event in events if event["lake"] == review.lake]
        away = [_away_d(event, review) for event in own]
        best = min(range(len(own)), key=away.__getitem__, default=None)
        if best is None or away[best] > review.within_d + 0.5:
            unmatched.append(_unmatched(own, review))
            continue
        event = own[best]
        event["status"] = review.status
        event["reasons"] = [*event["reasons"], f"{review.status}: {review.reason.strip()}"]
        event["reviewed_by"], event["reviewed_on"] = review.who, review.day.isoformat()
    return Reviewed(tuple(events), tuple(unmatched))


def _away_d(event, review):
    noon = from_iso(review.onset.isoformat()) + NS_PER_DAY // 2
    return abs(from_iso(event["onset_median_gps"]) - noon) / NS_PER_DAY


def _unmatched(own, review):
    days = ", ".join(event["onset_median_gps"][:10] for event in own)
    known = f"its events begin on {days}" if own else "it has no event"
    return (
        f"campaign.toml: the review of {review.lake} on {review.onset.isoformat()} fits no event "
        f"within {review.within_d:g} d; {known}"
    )
