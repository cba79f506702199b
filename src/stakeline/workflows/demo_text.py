"""The demonstration's result as a person reads it at a terminal."""

import numpy as np

from ..report.recovered import AXES
from ..simulate.campaign import DAY_S
from ..time import iso
from .demo_compare import RECEIVER, TABLE
from .demo_lakes import lake_lines
from .plant import PLANTED, found_by_intake
from .plural import counted


def demo_text(folder, order, invented, comparisons, lakes, outcome, seconds, good):
    """Return the text: what was invented, which positions rest on what, how near all came."""
    raw = [c for c in comparisons if c.source == RECEIVER]
    tables = [c for c in comparisons if c.source == TABLE]
    lines = [
        "",
        f"Halvard Glacier, invented: {order.scenario} ({invented.scenario.words}), "
        f"seed {order.seed}",
        f"{counted(order.days, 'day')} from {_date(invented, 0.0)}, "
        f"{counted(order.stations, 'station')} on the ice, one base on rock",
        "",
        *_events(invented),
        *(_raw_lines(order, invented, raw) if raw else []),
        *_table_lines(order, tables),
        "",
        *lake_lines(lakes),
        *(_planted_lines(folder) if invented.scenario.wrecked else []),
        "",
        outcome.text().rstrip(),
        "",
        f"Invented in {seconds[0]:.0f} s, worked out in {seconds[1]:.0f} s. Everything: {folder}",
        "The truth is in truth/, which no verb reads.",
        f"Look at it: 'stakeline view {folder}' names an address for a browser; /decide there has "
        "the answer",
    ]
    if not good:
        lines.append("This is worse than it should be: see docs/validation.md for the bars.")
    return "\n".join(lines) + "\n"


def _planted_lines(folder):
    """Return how many of the mistakes put in intake has found, and those that it has not."""
    wanted, found = found_by_intake(folder)
    lines = [
        "",
        f"Planted mistakes: intake tells of {len(found)} of {len(wanted)} that it can find",
    ]
    lines += [f"  missed: {row['file']}: {row['what']}" for row in wanted if row not in found]
    return [*lines, f"  All of them, with the verb that is to find each: {PLANTED}"]


def _date(invented, time_s):
    return iso(int(invented.time_ns(time_s)))[:10]


def _events(invented):
    """Return a line for each drainage that was put in."""
    lines = ["True drainages"]
    for event in invented.water.events:
        days = (event.end_s - event.onset_s) / DAY_S
        lines.append(
            f"  {event.lake:<14} from {_date(invented, event.onset_s)}, {days:4.1f} d, "
            f"{event.volume_m3 / 1e6:6.1f} million m3"
        )
    return [*(lines if len(lines) > 1 else ["No lake drains."]), ""]


def _raw_lines(order, invented, comparisons):
    begins = _date(invented, invented.raw_window(order.raw_days).begin_s)
    lines = [
        f"From receiver files: {counted(order.raw_days, 'day')} from {begins}, every 30 s; "
        "found less true",
        "  station  axis      rms   largest   95 % interval holds",
    ]
    for comparison in comparisons:
        if not comparison.count:
            lines.append(f"  {comparison.station:<7}  no positions")
            continue
        for k, axis in enumerate(AXES):
            rms, largest = 1e3 * comparison.rms_m[k], 1e3 * comparison.largest_m[k]
            name = comparison.station if k == 0 else ""
            lines.append(
                f"  {name:<7}  {axis:<5} {rms:5.1f} mm  {largest:5.0f} mm"
                f"   {100.0 * comparison.cover[k]:6.1f} % of epochs"
            )
    return [*lines, ""]


def _table_lines(order, comparisons):
    """Return a line for each station at position level."""
    lines = [
        f"At position level: every {order.interval_s / 60:g} min, drawn with the noise of real "
        "solutions; no receiver file behind them",
        "  station  positions  rms east/north/up    without power",
    ]
    for comparison in comparisons:
        rms = "/".join(f"{1e3 * value:.1f}" for value in comparison.rms_m)
        span_s = order.days * DAY_S
        dead = np.clip(100.0 * (1.0 - comparison.expected * order.interval_s / span_s), 0.0, 100.0)
        lines.append(
            f"  {comparison.station:<7} {comparison.count:>10}  {rms + ' mm':<20} {dead:5.1f} %"
        )
    return lines
