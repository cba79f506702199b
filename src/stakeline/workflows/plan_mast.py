"""The mast of a described station in the storm: guys, turn and bending of both spans, vortices."""

from dataclasses import dataclass

import numpy as np

from ..station import anchors, guys
from ..station.cautions import ESTIMATE, FRAMES
from ..station.guyed_mast import (
    MastAnswer,
    Pushes,
    buckling_N,
    lost_guys,
    mast_answer,
    mast_sways,
)
from .plan_lines import all_cautions, at_least, at_most
from .plan_words import SWAYS, number, share

USUAL_M_S = 15.0  # m/s; a gale that comes often: what the antenna moves in it is in the positions
MOST_MOVED_MM = 5.0  # mm; of the antenna in it: what a daily position is good to, own choice
TUBE_SAFETY = 1.5  # -; proof stress over stress, common practice, no source
BUCKLING = (3.0, 10.0)  # -; Euler's load over the push along the mast: least, and from where what
# it adds may be left out; EN 1993-1-1:2005, 5.2, from memory
BEYOND = 1.25  # -; vortices count up to so many times the most mean wind; EN 1991-1-4:2005, E.1.2,
# from memory
SWAY_SHARES = (0.05, 0.15)  # -; of the width to each side: doubt, bad; EN 1993-3-2:2006, limits of
# cross-wind vibration of its three classes, from memory


@dataclass(frozen=True)
class MastOutcome:
    """What the storm does to the mast.

    Attributes
    ----------
    answer, usual : MastAnswer
        In the storm, and in a usual gale.
    margins : list of Margin
        Of the anchors.
    lost_falls : tuple of str
        Guys whose loss lets the mast fall, or lean so far that nobody can say.
    buckling : float
        Load at which the mast buckles over the push along it; NaN without guys.
    sways : tuple of Sway
        Bare, the lowest frequency first, then with the storm's rime.
    """

    answer: MastAnswer
    usual: MastAnswer
    margins: list
    lost_falls: tuple
    buckling: float
    sways: tuple

    @property
    def bare(self):
        """Its sways without rime."""
        return tuple(one for one in self.sways if one.width_m == self.sways[0].width_m)

    @property
    def guyed(self):
        """Tensions and turn in the storm; None without guys."""
        return self.answer.guyed

    @property
    def cautions(self):
        """Sentences of everything in it, each once."""
        told = () if self.guyed is None else self.guyed.cautions
        return all_cautions(told, self.answer.bending.cautions, self.sways[0].cautions)


def mast_of(description, weather, parts):
    """Return the :class:`MastOutcome` of a described station.

    Parameters
    ----------
    description : StationDescription
    weather : Weather
    parts : sequence of Part
        That the mast must hold, itself among them.
    """
    ring, tube, foot = list(description.guys), description.tube, foot_Nm_rad(description)
    load = weather.on(parts)[1]
    given = (tube, ring, pushes_of(load, parts, tube), load.weight_N)
    found = mast_answer(*given, foot_Nm_rad=foot)
    often = weather.on(parts, USUAL_M_S, 0.0)[1]
    usual = mast_answer(tube, ring, pushes_of(often, parts, tube), often.weight_N, foot_Nm_rad=foot)
    masses = [(one.position_m[2], one.mass_kg) for one in parts if one.name != "mast"]
    in_air = (tube, ring, masses, weather.density_kg_m3)
    sways = tuple(
        one
        for rime in sorted({0.0, weather.rime_m})
        for one in mast_sways(*in_air, foot_Nm_rad=foot, rime_m=rime)
    )
    margins, falls, buckling = [], (), np.nan
    if ring:
        lost = lost_guys(*given, foot_Nm_rad=foot)
        falls = tuple(name for name, one in lost.items() if not one.upright)
        if found.guyed.stands:
            buckling = buckling_N(tube, ring, foot_Nm_rad=foot) / max(found.guyed.thrust_N, 1e-9)
            margins = anchors.margins(ring, found.guyed, description.holdings)
    return MastOutcome(found, usual, margins, falls, buckling, sways)


def foot_Nm_rad(description):
    """Return how much the mast's foot resists a turn. [N m/rad]

    Clamped without guys. With them the ground may give way: as much as a tube that goes on below
    as long as above where the mast is drilled in, nothing where it stands; own choice.
    """
    if not description.guys:
        return np.inf
    told = description.settings.mast
    return description.tube.stiffness_Nm2 / told.free_m if told.embedded_m > 0.0 else 0.0


def pushes_of(load, parts, tube):
    """Return the :class:`Pushes` of a wind load: the mast's own evenly along it."""
    own = load.names.index("mast")
    others = [i for i in range(len(parts)) if i != own]
    places = np.array([parts[i].position_m for i in others]).reshape(-1, 3)
    return Pushes(places, load.forces_N[others], load.forces_N[own, :2] / tube.free_m)


def mast_lines(description, found, winds):
    """Yield the lines about the mast; ``winds``: the :class:`SiteWinds`, or None."""
    bending = found.answer.bending
    yield at_least("storm", "mast: proof stress by stress", bending.safety, TUBE_SAFETY, "",
                   cautions=bending.cautions)  # fmt: skip
    words = "what it moves more than this is in the positions"
    if found.guyed is not None:
        words = f"{number(found.usual.turned_mm, 'mm')} of it as guys stretch; {words}"
    yield at_most("storm", f"antenna aside at {USUAL_M_S:g} m/s", found.usual.bending.top_mm,
                  MOST_MOVED_MM, "mm", cautions=(FRAMES, ESTIMATE), words=words)  # fmt: skip
    yield sway_line(description, found.sways, winds)
    if found.guyed is not None:
        yield from _guy_lines(description, found)


def sway_line(description, sways, winds):
    """Return the line of what vortices shake: the most of all sways within the winds here."""
    told = description.settings.storm
    most = told.wind_m_s if winds is None else max(told.wind_m_s, winds.level_m_s)
    within = [one for one in sways if one.critical_m_s <= BEYOND * most]
    if not within:
        first = min(sways, key=lambda one: one.critical_m_s)
        words = f"sways at {first.critical_m_s:.0f} m/s ({first.frequency_Hz:.1f} Hz), outside"
        return at_most("storm", SWAYS, 0.0,
                       1e3 * SWAY_SHARES[0] * first.width_m, "mm",
                       cautions=first.cautions, words=f"{words} the winds here")  # fmt: skip
    worst = max(within, key=lambda one: one.shaken_mm / one.width_m)
    iced = ", under rime" if worst.width_m > sways[0].width_m else ""
    words = (
        f"sways at {worst.critical_m_s:.1f} m/s ({worst.frequency_Hz:.1f} Hz, {worst.span}{iced}), "
        f"within the winds here{_hours(worst, winds)}"
    )
    return at_most("storm", SWAYS, worst.shaken_mm,
                   1e3 * SWAY_SHARES[0] * worst.width_m, "mm",
                   doubt=SWAY_SHARES[1] / SWAY_SHARES[0], cautions=worst.cautions,
                   words=words)  # fmt: skip


def _hours(sway, winds):
    """Return in what share of the hours the wind is near the critical one, in words."""
    return "" if winds is None else f", {share(winds.between(*sway.shaken_m_s))} of the hours"


def _guy_lines(description, found):
    guyed = found.guyed
    words = "" if guyed.stands else "the mast falls"
    yield at_least("storm", "guys: breaking load by tension", guyed.safety, guys.SAFETY, "",
                   cautions=guyed.cautions, words=words)  # fmt: skip
    yield at_least("storm", "mast: buckling load by push", found.buckling, BUCKLING[0], "",
                   cautions=guyed.cautions, doubt=BUCKLING[1] / BUCKLING[0],
                   words="of the guys along it; the less, the more it bends")  # fmt: skip
    yield at_most("storm", "guys: turn of the mast", guyed.turn_deg, guys.MOST_TURN_DEG, "deg",
                  cautions=guyed.cautions, words=words)  # fmt: skip
    yield at_most("storm", "guys whose loss lets it fall", float(len(found.lost_falls)), 0.0, "",
                  cautions=guyed.cautions, words=", ".join(found.lost_falls))  # fmt: skip
    if found.margins:
        weakest = found.margins[0]
        holding = description.holdings[weakest.name]
        words = f"{weakest.name}: {holding.governs}"
        yield at_least("storm", "anchors: working load by pull",
                       min(weakest.gust, weakest.lasting), 1.0, "",
                       cautions=holding.cautions, words=words)  # fmt: skip
