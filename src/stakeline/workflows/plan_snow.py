"""Snow and melt against the heights of a described station: when what is buried or comes loose."""

from dataclasses import dataclass

import numpy as np

from ..constants import DAYS_PER_YEAR
from ..station import burial
from ..station.cautions import ESTIMATE, GROUND
from .plan_lines import at_least

YEARS = 5.0  # a; looked ahead
USUAL_VISIT_A = 1.0  # a; where no date of a visit is given


@dataclass(frozen=True)
class SnowOutcome:
    """When parts are buried or legs melt out.

    ``passages``: :class:`Passage` of each part, the first buried first; ``melting``: of masts and
    legs; ``visit_a``: years from building to the visit.
    """

    passages: list
    melting: list
    visit_a: float
    lines: tuple

    @property
    def cautions(self):
        """Sentences about it."""
        return (GROUND, ESTIMATE)


def visit_years(description):
    """Return the years from building to the next visit; one where the dates are not given."""
    aim = description.settings.aim
    if aim.built is None or aim.visit is None:
        return USUAL_VISIT_A
    return (aim.visit - aim.built).days / DAYS_PER_YEAR


def heights_of(description):
    """Return the heights that must stay free of snow, by part. [m]"""
    found = {"antenna": description.settings.mast.free_m}
    found |= {group.name: group.bottom_m for group in description.design.panels}
    if description.design.turbine is not None:
        rotor = description.design.turbine
        found["turbine"] = rotor.hub_m - 0.5 * rotor.diameter_m
    if description.design.box_depth_m is None:
        found["box"] = description.design.box.outer_m[2]
    return {name: height for name, height in found.items() if height > 0.0}


def snow_of(description, storm_outcome):
    """Return the :class:`SnowOutcome` of a described station.

    Parameters
    ----------
    description : StationDescription
    storm_outcome : StormOutcome
        Says how much of a leg must stay in the ground.
    """
    generator = np.random.default_rng(description.settings.aim.seed)
    visit = visit_years(description)
    passages = []
    if description.snow.total_m_a > 0.0:
        heights = heights_of(description)
        passages = burial.burial(heights, description.snow, YEARS, generator)
    melting = _melting(description, storm_outcome, generator)
    return SnowOutcome(passages, melting, visit, tuple(_lines(passages, melting, visit)))


def _melting(description, storm_outcome, generator):
    """Return when what is drilled in has melted too far out."""
    told = description.settings
    if description.melt.total_m_a == 0.0:
        return []
    needed = {}
    if storm_outcome.leg is not None:
        name = "mast" if told.frame is None else "legs"
        part = told.mast if told.frame is None else told.frame
        needed[name] = (part.embedded_m, storm_outcome.leg.embedment_m - told.snow.melt_m_a)
    if "mast" not in needed and told.mast.embedded_m > 0.0:
        needed["mast"] = (told.mast.embedded_m, 0.0)
    return [
        burial.melt_out(name, deep, max(least, 0.0), description.melt, YEARS, generator)
        for name, (deep, least) in needed.items()
        if deep > max(least, 0.0)
    ]


def _lines(passages, melting, visit):
    for one in passages:
        words = f"half of all winters: {one.median_a:.1f} a" if np.isfinite(one.median_a) else ""
        yield _free(f"{one.name} free of snow", one, visit, words)
    for one in melting:
        yield _free(f"{one.name} still held in the ice", one, visit, "melts out")


def _free(name, one, visit, words):
    """Return the line of a passage: free for so many years but for a chance of 5 %."""
    return at_least("snow", name, min(one.visit_a, YEARS), visit, "a", words=words,
                    cautions=one.cautions)  # fmt: skip
