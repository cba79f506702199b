"""The demonstration: an invented campaign, all verbs on it, and how near they came to the truth."""

import sys
import time
from pathlib import Path

from ..campaign.store import write_bytes
from ..report.recovered import draw
from ..report.style import svg_bytes
from ..time import iso
from . import run as journey
from .demo_compare import RECEIVER, TABLE, compared, shown
from .demo_lakes import compared_lakes
from .demo_text import demo_text
from .invent import Order, build

LARGEST_M = 0.08  # m, bar of the largest error of positions from receiver files
COVER = 0.85  # -, bar of the share that 95 % intervals hold, over the three axes
FIGURE = "recovered.svg"
_IN_FIGURE = ("HV02", "HV13")  # over a lake, and afloat


def run(folder, order=None, workers=2, progress=None, say=None):
    """Invent a campaign, do all verbs, compare with the truth; return the exit code.

    Parameters
    ----------
    folder : path
        Receives the campaign; must not exist or be empty.
    order : Order, optional
        Scenario, seed and sizes; the same order gives the same files, byte by byte.
    workers : int
    progress : callable, optional
        Called as ``progress(done, total, text)``.
    say : callable, optional
        Takes text for a person; default: standard output.

    Returns
    -------
    int
        0, or 1 where the motion found is further from the truth than it should be.
    """
    folder, order, say = Path(folder), order or Order(), say or sys.stdout.write
    begun = time.perf_counter()
    invented = build(folder, order, workers, progress)
    built_s = time.perf_counter() - begun
    outcome = journey.run(folder, workers=workers, progress=progress)
    done_s = time.perf_counter() - begun - built_s
    comparisons = compared(folder, order, invented)
    _draw(folder, order, invented, comparisons)
    good = order.scenario == "wrecked" or all(map(_good, comparisons))
    lakes = compared_lakes(folder, invented)
    seconds = (built_s, done_s)
    say(demo_text(folder, order, invented, comparisons, lakes, outcome, seconds, good))
    return 0 if good else 1


def _good(comparison):
    """Say whether positions are as near as they should be."""
    near = comparison.source == TABLE or (comparison.largest_m < LARGEST_M).all()
    return bool(near and comparison.cover.mean() >= COVER)


def _draw(folder, order, invented, comparisons):
    """Draw what was found from receiver files at two stations."""
    solved = [c for c in comparisons if c.source == RECEIVER and c.count]
    chosen = [c for c in solved if c.station in _IN_FIGURE] or solved[:2]
    if chosen:
        title = f"Halvard Glacier, invented ({order.scenario}, seed {order.seed}): found and true"
        start = iso(int(chosen[0].begin_ns))[:10]
        columns = [shown(invented, comparison) for comparison in chosen[:2]]
        write_bytes(folder / FIGURE, svg_bytes(draw(columns, title, f"{start} 00:00 GPS")))
