"""One station's plan: all parts worked out and put together."""

from dataclasses import dataclass, replace

from ..constants import DAYS_PER_YEAR
from ..station.cargo import Loads, Totals, loads, people_to_lift, reminders, totals
from ..station.cautions import BATTERIES, DRILLING, ESTIMATE
from ..station.rules import DOUBT, GOOD
from .plan_energy import EnergyOutcome, energy_of
from .plan_lines import all_cautions, at_least
from .plan_network import Kept, kept_of
from .plan_places import Place, place_of
from .plan_rules import facts_of, findings, saving_days
from .plan_sky import SkyOutcome, sky_of
from .plan_snow import SnowOutcome, snow_of, visit_years
from .plan_storm import StormOutcome, storm_of
from .plan_winds import winds_of


@dataclass(frozen=True)
class StationPlan:
    """All that is planned for one station.

    ``lines``: margins of every part; ``findings``: of the rules, worst first; ``lifters``: pieces
    of the bill that one person must not lift, as (name, mass, people or None for a hoist).
    """

    description: object
    energy: EnergyOutcome
    storm: StormOutcome
    snow: SnowOutcome
    sky: SkyOutcome
    findings: tuple
    kept: Kept
    place: Place
    totals: Totals
    loads: Loads
    reminders: list
    lifters: tuple
    lines: tuple

    @property
    def name(self):
        """The station's name."""
        return self.description.name

    @property
    def cautions(self):
        """Sentences about what can hurt people, each once; the general one first."""
        found = all_cautions(
            (ESTIMATE,),
            self.description.design.bank.cautions,
            self.storm.cautions,
            self.snow.cautions,
            *(one.cautions for one in self.findings),
            *(one.cautions for one in self.lines),
            self.loads.cautions,
            self.place.cautions,
        )
        rotor = self.description.design.turbine
        more = () if rotor is None else rotor.cautions
        return all_cautions(found, more, (DRILLING,) if self.description.drilled else ())


def plan_station(description, *, orbits=None, place=None, progress=None):
    """Return the :class:`StationPlan` of a described station.

    Parameters
    ----------
    description : StationDescription
    orbits : Orbits, optional
        Of a campaign; nominal constellations where not given.
    place : Place, optional
        On the day of the visit; as the file says where not given.
    progress : callable, optional
        Called with a word before each part.
    """
    say = progress or (lambda word: None)
    energy = energy_of(description, progress)
    say("storm and snow")
    storm = storm_of(description, winds_of(description, energy.around.weather))
    snow = snow_of(description, storm)
    say("sky and rules")
    sky = sky_of(description, orbits)
    about = facts_of(
        description,
        coldest_degC=energy.coldest_degC,
        winter_degC=energy.winter_degC,
        winter_m_s=energy.winter_m_s,
        saving=saving_days(description.design.loads, energy.survival.outcome.days[:, 0]),
    )
    kept = kept_of(description, visit_years(description) * DAYS_PER_YEAR)
    items, aircraft = description.items, description.aircraft
    return StationPlan(
        description=description,
        energy=energy,
        storm=storm,
        snow=snow,
        sky=sky,
        findings=findings(description, about),
        kept=kept,
        place=place_of(description) if place is None else place,
        totals=totals(items),
        loads=loads(items, aircraft),
        reminders=reminders(items),
        lifters=heavy(items),
        lines=(*energy_lines(description, energy), *storm.lines, *snow.lines, *sky.lines,
               *kept.lines),
    )  # fmt: skip


def energy_lines(description, energy):
    """Yield the lines of the energy: chance to live, lowest charge, acid."""
    found, bank = energy.survival, description.design.bank
    words, wanted = found.why, description.settings.aim.survival
    line = at_least("energy", "years that live", 100.0 * found.chance, 100.0 * wanted, "%",
                    words=words, cautions=(BATTERIES, ESTIMATE))  # fmt: skip
    if line.state == GOOD and found.interval[0] < wanted:
        line = replace(line, state=DOUBT, words="too few years to be sure")
    yield line
    yield at_least("energy", "lowest charge in 95 of 100 years", 100.0 * found.lowest_charge,
                   100.0 * energy.cut_charge, "%", cautions=bank.cautions,
                   words="at which loads are cut off in the cold")  # fmt: skip


def heavy(items):
    """Return (name, mass [kg], people or None for a hoist) of pieces that one must not lift."""
    found = [(one.name, one.mass_kg, people_to_lift(one.mass_kg)) for one in items]
    return tuple(one for one in found if one[2] != 1)
