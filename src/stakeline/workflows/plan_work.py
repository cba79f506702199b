"""How long people stand at a station, step by step, and what they read again at a visit.

Minutes are for two people who have done it before, in calm above -20 degC; own choice. Wind, cold
and ice in the threads double them.
"""

from dataclasses import dataclass

import numpy as np

from ..formats.plain_table import write_plain_table
from ..station.cautions import ESTIMATE, GROUND, LIFTING, STORM
from .commission_sheet import Moment, build_sheet
from .plan_lines import all_cautions
from .plan_places import day_ns
from .plan_snow import visit_years
from .sheet_parts import NUMBER, PHOTO, RETRIEVAL_KIND, SET_UP_KIND, TEXT, TICK, VISIT_KIND

MINUTES = {  # min, of one: set up, taken down; own choice
    "ground probed and flagged": (30.0, 30.0),
    "mast": (45.0, 40.0),
    "guy with its anchor": (25.0, 15.0),
    "leg of the frame": (30.0, 25.0),
    "panel": (20.0, 12.0),
    "turbine": (60.0, 40.0),
    "box": (45.0, 30.0),
    "metre dug": (45.0, 60.0),  # what was dug once has set hard
    "block of the bank": (8.0, 8.0),
    "receiver, antenna, cables": (75.0, 30.0),
    "packed and counted": (30.0, 60.0),
}
ITEM_MINUTES = {TICK: 1.5, NUMBER: 3.0, TEXT: 1.0, PHOTO: 1.0}  # min, on a field sheet; own choice
KINDS = (SET_UP_KIND, VISIT_KIND, RETRIEVAL_KIND)
CAUTIONS = all_cautions((GROUND, LIFTING, STORM, ESTIMATE))


@dataclass(frozen=True)
class Step:
    """One kind of work: ``count`` times ``each_min``. [min]"""

    what: str
    count: float
    each_min: float

    @property
    def minutes(self):
        """All of it. [min]"""
        return self.count * self.each_min


@dataclass(frozen=True)
class Work:
    """What is done at a station on one visit: ``steps``, and the sheet's ``readings`` that must be.

    ``kind``: of ``sheet_parts.KINDS``; ``readings``: (part of the sheet, how many numbers).
    """

    station: str
    kind: str
    steps: tuple
    readings: tuple

    @property
    def hours(self):
        """On site. [h]"""
        return sum(step.minutes for step in self.steps) / 60.0


def work_of(description):
    """Return the :class:`Work` of building, of a visit, and of taking a station away."""
    return tuple(_work(description, kind) for kind in KINDS)


def dug_m(description, years=0.0):
    """Return how deep one digs to the bottom of a box, or 0 where it stands on the surface. [m]

    ``years``: after building; snow that came and did not melt lies on it then.
    """
    depth = description.design.box_depth_m
    more = max(0.0, (description.snow.total_m_a - description.melt.total_m_a) * years)
    tall = description.design.box.outer_m[2]
    bottom = 0.0 if depth is None else depth + 0.5 * tall
    return bottom + more


def _work(description, kind):
    aim = description.settings.aim
    day = aim.built if kind == SET_UP_KIND else aim.visit
    sheet = build_sheet(description, Moment(0 if day is None else day_ns(day)), kind=kind)
    counts = {one: sum(item.kind == one for item in sheet.items()) for one in ITEM_MINUTES}
    steps = [Step(f"sheet: {one}", counts[one], each) for one, each in ITEM_MINUTES.items()]
    if kind != VISIT_KIND:
        taken_down = kind == RETRIEVAL_KIND
        years = visit_years(description) if taken_down else 0.0
        built = _counts(description, years).items()
        steps = [Step(what, n, MINUTES[what][taken_down]) for what, n in built if n] + steps
    readings = tuple(
        (part.title, number)
        for part in sheet.parts
        if (number := sum(i.kind == NUMBER and i.must and not i.why_not for i in part.items))
    )
    return Work(description.name, kind, tuple(steps), readings)


def _counts(description, years):
    """Return how many of each of :data:`MINUTES` there are."""
    design, told = description.design, description.settings
    return {
        "ground probed and flagged": 1,
        "mast": 1,
        "guy with its anchor": len(description.guys),
        "leg of the frame": 0 if told.frame is None else told.frame.legs,
        "panel": sum(group.count for group in design.panels),
        "turbine": 0 if design.turbine is None else 1,
        "box": 1,
        "metre dug": dug_m(description, years),
        "block of the bank": design.bank.series * design.bank.parallel,
        "receiver, antenna, cables": 1,
        "packed and counted": 1,
    }


def work_table(works):
    """Return the bytes of the table of steps.

    Parameters
    ----------
    works : sequence of Work
    """
    rows = [(work, step) for work in works for step in work.steps]
    return write_plain_table(
        {
            "station": [work.station for work, _ in rows],
            "kind": [work.kind for work, _ in rows],
            "step": [step.what for _, step in rows],
            "count": np.array([float(step.count) for _, step in rows]),
            "each_min": np.array([step.each_min for _, step in rows]),
            "all_min": np.array([step.minutes for _, step in rows]),
            "caution": [" ".join(CAUTIONS)] * len(rows),
        },
        {"count": 1, "each_min": 1, "all_min": 0},
    )
