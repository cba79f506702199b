"""What must come out again: which station first, by when, how, in how many flights."""

import datetime

import numpy as np

from ..formats.plain_table import write_plain_table
from ..station.cargo import loads, totals
from ..station.cautions import AIR_CARGO, DIGGING, ESTIMATE, GROUND, LIFTING, TAKING_DOWN
from ..station.expected_site import tightening_order
from .plan_places import last_day
from .plan_snow import snow_of, visit_years
from .plan_storm import storm_of
from .plan_work import dug_m

TO_RETRIEVE = (TAKING_DOWN, DIGGING, LIFTING, AIR_CARGO, GROUND, ESTIMATE)


def method_of(description):
    """Return how a station is taken away, in the order of the work; common practice, no source."""
    design, told = description.design, description.settings
    years, blocks = visit_years(description), design.bank.series * design.bank.parallel
    steps = ["last height, last data copied and proven"]
    steps += ["rotor braked and tied"] if design.turbine is not None else []
    panels = sum(group.count for group in design.panels)
    steps += [f"{panels} panels covered and parted"] if panels else []
    steps.append(f"bank of {blocks} parted, each terminal capped")
    deep = dug_m(description, years)
    steps += [f"dig {deep:.1f} m"] if deep > 0.0 else []
    if description.guys:
        order = "-".join(str(n) for n in reversed(tightening_order(len(description.guys))))
        steps.append(f"guys slackened {order}, one belayed")
    steps.append(f"mast of {told.mast.free_m:g} m lowered by belay")
    if told.frame is not None and told.frame.embedded_m:
        steps.append(f"{told.frame.legs} legs of {told.frame.embedded_m:g} m freed or cut low")
    if told.mast.embedded_m:
        steps.append(f"{told.mast.embedded_m:g} m of mast in the ground freed or cut low")
    if told.guys is not None:
        steps.append(f"{told.guys.count} anchors ({told.anchors.kind}) taken, or reported as left")
    return "; ".join(steps)


def retrieval_table(descriptions):
    """Return the bytes of the table of what must come out, the most urgent station first.

    Parameters
    ----------
    descriptions : sequence of StationDescription
    """
    rows = []
    for one in descriptions:
        back = [item for item in one.items if item.comes_back]
        day, part = last_day(one, snow_of(one, storm_of(one)))
        flights = len(loads(back, one.aircraft).flights)
        rows.append((one, totals(back), flights, day, part))
    rows.sort(key=lambda row: (row[3] or datetime.date.max, row[0].name))
    return write_plain_table(
        {
            "order": list(range(1, len(rows) + 1)),
            "station": [row[0].name for row in rows],
            "pieces": [row[1].pieces for row in rows],
            "mass_kg": np.array([row[1].mass_kg for row in rows]),
            "volume_m3": np.array([row[1].volume_m3 for row in rows]),
            "flights": [row[2] for row in rows],
            "raise_or_take_out_by": ["" if row[3] is None else row[3].isoformat() for row in rows],
            "because_of": [row[4] for row in rows],
            "method": [method_of(row[0]) for row in rows],
            "caution": [" ".join(TO_RETRIEVE)] * len(rows),
        },
        {"mass_kg": 1},
    )
