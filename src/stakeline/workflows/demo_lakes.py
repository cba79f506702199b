"""Events of an invented campaign's lakes against its truth."""

from dataclasses import dataclass

import numpy as np

from ..campaign.folders import open_campaign
from ..constants import NS_PER_DAY
from ..time import from_iso
from .lakes_results import lake_results


@dataclass(frozen=True)
class LakeComparison:
    """Found against true drainings of one lake.

    ``onset_d`` and ``volume_ratio`` (k,): of the true drainings that were found, found less true
    and found over true (NaN where no volume was given); ``onset_held``, ``volume_held`` (k,):
    whether the 95 % interval holds the truth. ``missed``: days of those not found; ``drains``,
    ``fills``: numbers of found events besides.
    """

    lake: str
    true: int
    onset_d: np.ndarray
    onset_held: np.ndarray
    volume_ratio: np.ndarray
    volume_held: np.ndarray
    missed: int
    drains: int
    fills: int


def compared_lakes(folder, invented):
    """Return the :class:`LakeComparison` of each lake that the verb has worked on."""
    return [_compare(result, invented) for result in lake_results(open_campaign(folder))]


def _compare(result, invented):
    truth = [event for event in invented.water.events if event.lake == result.lake]
    found = list(result.told["events"])
    drains = [event for event in found if event["kind"] == "drain"]
    rows, used = [], set()
    for event in truth:
        ends = [int(invented.time_ns(second)) for second in (event.onset_s, event.end_s)]
        k = _match(drains, used, *ends)
        if k is not None:
            used.add(k)
            rows.append(_row(drains[k], ends[0], event.volume_m3))
    table = np.array(rows, float).reshape(-1, 4)
    return LakeComparison(
        result.lake, len(truth), table[:, 0], table[:, 1] > 0.5, table[:, 2], table[:, 3] > 0.5,
        len(truth) - len(rows), len(drains) - len(used), len(found) - len(drains),
    )  # fmt: skip


def _match(drains, used, onset_ns, end_ns):
    """Return the number of the draining whose middle course overlaps best; None where none does."""
    best, most = None, 0
    for k, event in enumerate(drains):
        first, last = (from_iso(event[f"{name}_median_gps"]) for name in ("onset", "end"))
        shared = min(last, end_ns) - max(first, onset_ns)
        if k not in used and shared > most and shared > 0.5 * min(last - first, end_ns - onset_ns):
            best, most = k, shared
    return best


def _row(event, onset_ns, volume_m3):
    low, middle, high = (from_iso(event[f"onset_{w}_gps"]) for w in ("low", "median", "high"))
    volumes = [event[f"volume_m3_{w}"] for w in ("low", "median", "high")]
    known = all(v is not None for v in volumes)
    return (
        (middle - onset_ns) / NS_PER_DAY,
        float(low <= onset_ns <= high),
        volumes[1] / volume_m3 if known else np.nan,
        float(known and volumes[0] <= volume_m3 <= volumes[2]),
    )


def lake_lines(comparisons):
    """Return what a person reads of the lakes at a terminal: one line each."""
    if not comparisons:
        return ["No lake could be worked on: see below."]
    lines = ["Drainings found against the truth; 95 % intervals"]
    return [*lines, *(f"  {one.lake:<14} {_line(one)}" for one in comparisons)]


def _line(one):
    count = len(one.onset_d)
    parts = [f"{count} of {one.true} found" if one.true else "none is true"]
    if count:
        worst = one.onset_d[np.argmax(np.abs(one.onset_d))]
        parts.append(
            f"onset off by {worst:+.2f} d at most, {int(one.onset_held.sum())} of {count} held"
        )
        if np.isfinite(one.volume_ratio).any():
            low, high = np.nanmin(one.volume_ratio), np.nanmax(one.volume_ratio)
            parts.append(
                f"volume {100.0 * (low - 1.0):+.0f} to {100.0 * (high - 1.0):+.0f} %, "
                f"{int(one.volume_held.sum())} of {count} held"
            )
        else:
            parts.append("no volume")
    besides = [
        f"{n} {word}" for n, word in ((one.drains, "drainings"), (one.fills, "fillings")) if n
    ]
    return "; ".join([*parts, *(["besides " + ", ".join(besides)] if besides else [])])
