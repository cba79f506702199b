"""A station's health by its telemetry and design: what fails, what the bank holds, what next."""

from dataclasses import dataclass, field

from ..constants import NS_PER_DAY
from .cautions import BATTERIES, ESTIMATE, ROTORS
from .health_ageing import aged_bank
from .health_cover import Cover, cover_of, covered_panels
from .health_energy import energy_days
from .health_expected import Expected, expected
from .health_fit import BankCourse, Nights, fit_bank, nights_of, settled
from .health_forecast import forecast, habits_of
from .health_parts import (
    PANELS,
    TURBINE,
    dead_panels,
    grown_load,
    standing_rotor,
)
from .health_side import one_sided_panels
from .health_turbine import Rotor, chance_dead, rotor_of
from .rime import rime_index
from .telemetry import Hours


@dataclass(frozen=True)
class Health:
    """What the hours of a station tell, each day by what was known at its end.

    Attributes
    ----------
    hours : Hours
    expected : Expected
    nights : Nights
    bank : BankCourse
        Capacity, charge and their doubt by day.
    rotor : Rotor or None
    cover : Cover or None
        Share of clean panels' light by day; None without panels.
    energy : dict
        Columns by day, of :func:`~.health_energy.energy_days`.
    findings : tuple of Finding
        In order of the day they were told.
    """

    hours: Hours
    expected: Expected
    nights: Nights
    bank: BankCourse
    rotor: Rotor | None
    cover: Cover | None
    energy: dict
    findings: tuple
    cautions: tuple = field(default=(BATTERIES, ROTORS, ESTIMATE))

    def holding(self, day):
        """Return the findings that hold at the end of a day, told by then."""
        return tuple(f for f in self.findings if f.holds(day))


def judge(hours, design, generator):
    """Return the :class:`Health` of a station.

    Parameters
    ----------
    hours : Hours
    design : Design
    generator : numpy.random.Generator
        Of the cloud of possible banks.
    """
    could = expected(design, hours.read_ns, hours.air_degC, hours.wind_m_s)
    nights = nights_of(hours, design.bank)
    bank = fit_bank(design.bank, nights, generator)
    volts = design.bank.nominal_V
    found = dead_panels(hours, could, volts) if design.panels else []
    found += one_sided_panels(hours, design, could, bank.charge)
    cover = cover_of(hours, design, could, bank.charge) if design.panels else None
    found += covered_panels(cover, tuple(found)) if design.panels else []
    found += grown_load(hours, design) + aged_bank(design, nights, bank)
    rotor = None
    if design.turbine is not None:
        rime = rime_index(hours.air_degC, hours.wind_m_s, hours.humidity_percent, could.light_W_m2)
        rotor = rotor_of(hours, design.turbine, could, rime, volts)
        found += standing_rotor(rotor, hours)
    found.sort(key=lambda finding: (finding.told, finding.kind))
    energy = energy_days(hours, design, could, nights, bank)
    return Health(hours, could, nights, bank, rotor, cover, energy, tuple(found))


def outlook_from(health, design, outlook, day, generator, hours_ahead=None):
    """Return the :class:`~.health_forecast.Forecast` at the end of a day, by what was known then.

    Parameters
    ----------
    health : Health
    design : Design
    outlook : Outlook
        Years of weather that might come.
    day : int
        Days of telemetry taken, from its first.
    generator : numpy.random.Generator
    hours_ahead : int, optional
        That are looked at; to the outlook's end where not given.
    """
    known = health.hours.until(day)
    kinds = {finding.kind for finding in health.holding(day - 1)}
    stop, dead = None, 0.0
    if health.rotor is not None:
        block = day * 4 - 1
        dead = chance_dead(float(health.rotor.odds[block])) if TURBINE in kinds else 0.0
        stop = (float(health.rotor.rime_stop[block]), float(health.rotor.rime_sigma[block]) + 0.05)
    habits = habits_of(
        known,
        design,
        health.expected,
        health.bank.charge,
        panel_dead=PANELS in kinds,
        turbine_dead=dead,
        rime_stop=stop,
    )
    cloud = settled(design.bank, health.bank.clouds[day - 1], health.nights, day)
    now_ns = (health.hours.first_day + day) * NS_PER_DAY
    return forecast(design, cloud, habits, outlook, now_ns, generator, hours_ahead=hours_ahead)
