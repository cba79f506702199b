"""Will a described station live: many years, what it hangs on, what helps, the lightest design."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ..campaign.station_parts import TurbinePart
from ..station.cargo import totals
from ..station.sizing import Sizing, choices_between, sized
from ..station.survival import Circumstances, Survival, circumstances, survival
from ..station.weather import draw_chance, draw_weather
from ..station.what_if import Masses, gains, sensitivities
from ..time import from_calendar
from .plan_description import block_kg
from .plan_weather import weather_model
from .plan_words import first_sentence, restart_sentence

YEAR = 2031  # of the simulated hours: the season counts, not the year
KEPT_YEARS = 100  # a; whose chance is kept for other sites, 45 MB
SIZES = 7  # -; numbers of strings tried for the lightest design
PANEL_FACTORS = (0, 1, 2, 3)  # -; times the panels of the file


@dataclass(frozen=True)
class Study:
    """All about the energy of a described station.

    Attributes
    ----------
    survival : Survival
    around : Circumstances
        Weather, Sun and snow of the same years.
    hangs_on : tuple of Change
        What happens if something is otherwise, worst first.
    helps : tuple of Change
        What to add first.
    sizing : Sizing
        The file's parts in other numbers.
    weather_notes : tuple of str
        Where the weather comes from, what was wrong in its file.
    """

    survival: Survival
    around: Circumstances
    hangs_on: tuple
    helps: tuple
    sizing: Sizing
    weather_notes: tuple


@dataclass(frozen=True)
class PlanAnswer:
    """What a page shows at once.

    ``chance`` with its 95 % ``interval``; ``months`` of the calendar in the year's order and
    ``lived`` through each, (12,); ``charge_band`` (5, 365): lowest charge by day in 5, 25, 50, 75,
    95 % of the years; ``box_band``: the same of the box [degC]; ``why`` it fails, in words;
    ``limiting_month``; ``causes`` {kind: share}; ``lost_h`` a year; ``mean_W`` by part; ``load_W``;
    ``mass_kg`` of the bill; ``sentences``: when it fails first and wakes again, empty for never.
    """

    chance: float
    interval: tuple
    months: np.ndarray
    lived: np.ndarray
    charge_band: np.ndarray
    box_band: np.ndarray
    why: str
    limiting_month: int
    causes: dict
    lost_h: float
    mean_W: dict
    load_W: float
    mass_kg: float
    sentences: tuple
    cautions: tuple


def years_around(description, years=None):
    """Return the :class:`Circumstances` of a described station, kept while its site stays the same.

    Parameters
    ----------
    description : StationDescription
    years : int, optional
        Those of ``[aim]`` where not given; more begin with the same weather.
    """
    told = description.settings
    count = told.aim.years if years is None else years
    model = weather_model(description)
    same = (id(model), told.site, told.snow, told.mast.free_m, description.begins_month, count)
    return _around(_Site((*same, told.aim.seed), description, model, count))


class _Site:
    """What the years depend on, told from others by ``key``: a change of parts keeps them."""

    def __init__(self, key, description, model, years):
        self.key, self.description, self.model, self.years = key, description, model, years

    def __hash__(self):
        return hash(self.key)

    def __eq__(self, other):
        return self.key == other.key


@lru_cache(maxsize=1)
def _chance(seed, years, parts):
    """Return the chance of the years of a seed: a page that moves the site draws it once."""
    return draw_chance(years, parts, np.random.default_rng(seed).spawn(1)[0])


@lru_cache(maxsize=3)
def _around(place):
    told = place.description
    seed, model = told.settings.aim.seed, place.model
    weather_rng, snow_rng = np.random.default_rng(seed).spawn(2)
    start = from_calendar(YEAR, told.begins_month, 1)
    chance = None
    if place.years <= KEPT_YEARS:
        chance = _chance(seed, place.years, np.size(model.memory_h) + 1)
    weather = draw_weather(model, start, place.years, weather_rng, chance=chance)
    return circumstances(told.design.site, weather, rise=told.snow,
                         antenna_m=told.settings.mast.free_m, generator=snow_rng)  # fmt: skip


def masses_of(description):
    """Return the :class:`~stakeline.station.what_if.Masses` of a described station's parts."""
    settings = description.settings
    string = settings.battery.series * block_kg(settings.battery)
    turbine = (settings.turbine or TurbinePart()).mass_kg
    counted = settings.battery.parallel * string + (turbine if settings.turbine else 0.0)
    counted += sum(group.count * group.mass_kg for group in description.design.panels)
    return Masses(string, turbine, totals(description.items).mass_kg - counted)


def study_energy(description, *, years=None, progress=None):
    """Return the :class:`Study` of a described station; some 10 s of one core for 100 years.

    Parameters
    ----------
    description : StationDescription
    years : int, optional
    progress : callable, optional
        Called with a sentence before each part.
    """
    say = progress or (lambda _: None)
    say("years of weather")
    around = years_around(description, years)
    say("survival")
    design, masses = description.design, masses_of(description)
    base = survival(design, around)
    say("what it hangs on")
    hangs_on = sensitivities(design, around, base)
    say("what helps")
    helps = gains(design, around, base, masses)
    say("other sizes")
    found = sized(
        design, around, masses, combinations_of(design), description.settings.aim.survival
    )
    return Study(base, around, hangs_on, helps, found, weather_model(description).notes)


def combinations_of(design):
    """Return the numbers of strings, panels and turbines tried for the lightest design."""
    most = 2 * design.bank.parallel
    strings = np.unique(np.round(np.geomspace(1, max(most, 4), SIZES)).astype(int)).tolist()
    strings = sorted({*strings, design.bank.parallel})
    factors = PANEL_FACTORS if design.panels else (0,)
    return choices_between(design, strings, factors, (0,) if design.turbine is None else (0, 1, 2))


def plan_answer(description, years=100):
    """Return the :class:`PlanAnswer` of a described station: fast once its weather is known.

    The weather of the last few sites is kept, and the chance that years of one seed are made of: a
    change of panels, bank or loads costs some 0.1 s of one core, one of site or climate 0.2 s.
    """
    found = survival(description.design, years_around(description, years))
    return PlanAnswer(
        chance=found.chance,
        interval=found.interval,
        months=found.months,
        lived=found.lived,
        charge_band=found.charge_band,
        box_band=found.box_band,
        why=found.why,
        limiting_month=found.limiting_month,
        causes=found.causes,
        lost_h=found.lost_h,
        mean_W=found.mean_W,
        load_W=description.design.mean_W,
        mass_kg=totals(description.items).mass_kg,
        sentences=tuple(one for one in (first_sentence(found), restart_sentence(found)) if one),
        cautions=found.cautions,
    )
