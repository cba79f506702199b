"""How a station's winter goes on from today: which day it goes dark, and how likely it does."""

from dataclasses import dataclass, field, fields, replace

import numpy as np

from ..errors import SettingsError
from .battery import charge_limit_V, rest_V
from .box import film_W_m2_K, loss_in_air_W_K
from .cautions import ESTIMATE
from .health_fit import COLLAPSE, Cloud, left_V, plain_bank
from .offered import offered_power
from .telemetry import DAY_H, HOUR_NS
from .year import StationEnergy, simulate_years

MEMBERS = 120  # -, of a forecast; chances are then good to 5 % (one sigma of a half)
BAND = (0.05, 0.5, 0.95)  # -, of the date's chances that are told
RECENT_D = 20  # d, whose loads are taken for what is to come; own choice
YIELD_SIGMA = 0.2  # -, of the logarithm of what parts give by their name plates; own choice
DAYS_TO_TRUST = 8.0  # d of measured yield that weigh as much as the name plate; own choice
UNSATURATED_V = 0.3  # V of 12 below the limit, where a controller takes all there is; own choice
UNSATURATED_CHARGE = 0.9  # -, and below which a bank takes all there is; own choice
LIMITED_V = 13.8  # V of 12, that only a controller at its limit reaches; common practice
WINTER_DEGC = -25.0  # degC; of the bank, at which the switch's voltages are compared; own choice
LOSS_SIGMA = 0.1  # -, of the logarithm of the box's loss; own choice


@dataclass(frozen=True)
class Outlook:
    """Years of weather that might come, hourly (m, n).

    ``start_ns``: of their first hour. ``panel_W``, ``turbine_W``: what the parts bring in them as
    designed, the turbine bare. ``rime``: 0 to 1; by :func:`~.rime.rime_index` where ``rime_stop``
    is None, as the station's own stop was told by it; otherwise on a scale of its own, with the
    stop that goes with it.
    """

    start_ns: int
    air_degC: np.ndarray
    panel_W: np.ndarray
    turbine_W: np.ndarray
    rime: np.ndarray
    rime_stop: float | None = None


@dataclass(frozen=True)
class Habits:
    """How the station has used and gained energy of late, each with its doubt.

    ``load_W``: by hour of the day (24,), without heater. ``panel_share``, ``turbine_share``: mean
    and sigma of the logarithm of what the parts give by name plate. ``rime_stop``: mean and sigma
    of the rime with which the rotor stands. ``loss_W_K``: of the box; ``box_degC``: now.
    """

    load_W: np.ndarray
    panel_share: tuple = (0.0, YIELD_SIGMA)
    turbine_share: tuple = (0.0, YIELD_SIGMA)
    rime_stop: tuple = (0.4, 0.15)
    loss_W_K: float = 0.5
    panel_dead: bool = False
    turbine_dead: float = 0.0
    box_degC: float = np.nan


@dataclass(frozen=True)
class Forecast:
    """What may become of a station.

    Attributes
    ----------
    now_ns, end_ns : int
        From when, until when looked at. [ns]
    dark_ns : float array, shape (m,)
        Time of the first outage of each member, infinite where none; sorted. [ns]
    lowest_charge : array, shape (m,)
    chance : float
        Of an outage before the end.
    early_ns, median_ns, late_ns : float
        5, 50 and 95 % of the members are dark by then; infinite where they are not. [ns]
    """

    now_ns: int
    end_ns: int
    dark_ns: np.ndarray
    lowest_charge: np.ndarray
    cautions: tuple = field(default=(ESTIMATE,))

    @property
    def chance(self):
        """Share of members that go dark."""
        return float(np.isfinite(self.dark_ns).mean())

    def quantile_ns(self, share):
        """Return when a share of the members is dark; infinite where it never is. [ns]"""
        index = min(int(np.floor(share * self.dark_ns.size)), self.dark_ns.size - 1)
        return float(self.dark_ns[index])

    @property
    def band_ns(self):
        """Return (early, median, late). [ns]"""
        return tuple(self.quantile_ns(share) for share in BAND)


def outlook_of_years(design, weather, rime_stop=None):
    """Return the :class:`Outlook` of a design in years of weather.

    Parameters
    ----------
    design : Design
    weather : WeatherYears
    rime_stop : float, optional
        That goes with the years' rime; None where it is the index of :mod:`.rime`.
    """
    counts = [group.count for group in design.panels]
    sun_only = offered_power(replace(design, turbine=None), weather)
    bare = np.zeros(weather.cloud.shape)
    if design.turbine is not None:
        free = replace(weather, rime=np.zeros_like(weather.rime))
        bare = offered_power(replace(design, panels=()), free).turbine_W
    panel = sun_only.total_W(counts, 0)
    return Outlook(weather.start_ns, weather.temperature_degC, panel, bare, weather.rime, rime_stop)


def habits_of(
    hours, design, expected, charge, *, turbine_dead=0.0, panel_dead=False, rime_stop=None
):
    """Return the :class:`Habits` told by the hours so far.

    Parameters
    ----------
    hours : Hours
        Up to today.
    design : Design
    expected : Expected
        Of the same hours, or more.
    charge : array, shape (d,)
        Of the bank by day, from the fit: a full bank takes less than the parts could give.
    turbine_dead : float
        Chance that the rotor stands for good, :func:`~.health_turbine.chance_dead`.
    panel_dead : bool
        What the faults found say.
    rime_stop : tuple, optional
        Mean and sigma from :mod:`.health_turbine`.
    """
    count = hours.rows.size
    open_ = takes_all(hours, design.bank, charge)
    half = 0.5 * (expected.clear_W + expected.overcast_W).sum(axis=0)[:count]
    panel = _share(hours.panel_A * hours.battery_V, half, open_ & (half > 1.0))
    bare = expected.turbine_W[:count]
    turns = _filled(hours.turbine_A, 0.0) > 0.03
    turbine = _share(hours.turbine_A * hours.battery_V, bare, open_ & turns)
    return Habits(
        load_W=recent_load_W(hours, design),
        panel_share=panel,
        turbine_share=turbine,
        rime_stop=rime_stop or Habits.rime_stop,
        loss_W_K=box_loss_W_K(hours, design),
        panel_dead=panel_dead,
        turbine_dead=turbine_dead,
        box_degC=_last(hours.box_degC),
    )


def takes_all(hours, bank, charge):
    """Say of which hours the bank takes all that the parts offer (n,).

    Below the compensated limit, and below the highest voltage seen by then where that was a
    limit: many controllers stop compensating somewhere in the cold.

    Parameters
    ----------
    hours : Hours
    bank : Bank
    charge : array, shape (d,)
        Of the bank by day, from the fit.
    """
    scale = bank.nominal_V / 12.0
    limit = charge_limit_V(bank, _filled(hours.box_degC, 0.0))
    top = np.maximum.accumulate(_filled(hours.battery_V, 0.0))
    limit = np.where(top > LIMITED_V * scale, np.minimum(limit, top), limit)
    with np.errstate(invalid="ignore"):
        below = hours.battery_V < limit - UNSATURATED_V * scale
    return below & np.repeat(np.asarray(charge)[: hours.days] < UNSATURATED_CHARGE, DAY_H)


def _last(values):
    """Return the last known value; NaN where there is none."""
    known = np.flatnonzero(np.isfinite(values))
    return float(values[known[-1]]) if known.size else np.nan


def _filled(values, by):
    return np.where(np.isfinite(values), values, by)


def _share(measured, named, chosen):
    """Return (mean, sigma) of the logarithm of measured by named power, shrunk to the name plate.

    Days count, not hours: weather lasts.
    """
    chosen = chosen & np.isfinite(measured) & np.isfinite(named)
    days = np.unique(np.flatnonzero(chosen) // DAY_H).size
    if days == 0 or not min(measured[chosen].sum(), named[chosen].sum()) > 0.0:
        return 0.0, YIELD_SIGMA
    told = np.log(measured[chosen].sum() / named[chosen].sum())
    weight = days / (days + DAYS_TO_TRUST)
    return float(weight * np.clip(told, -2.0, 1.0)), float(YIELD_SIGMA * np.sqrt(1.0 - weight))


def unheated_W(hours, design):
    """Return the load by hour without the heater, where its thermostat has it on (n,). [W]"""
    volts = _filled(hours.battery_V, 0.0)
    heated = _filled(hours.box_degC, 0.0) < design.box.heater_on_degC
    heated &= volts > design.box.heater_least_V * design.bank.nominal_V / 12.0
    power = hours.load_A * hours.battery_V
    return np.where(heated, power - design.box.heater_W, power)


def recent_load_W(hours, design, days=RECENT_D):
    """Return the load of each hour of the day over the last days, without the heater (24,). [W]"""
    power = unheated_W(hours, design)[-days * DAY_H :].reshape(-1, DAY_H)
    known = np.isfinite(power)
    if not known.any():
        return np.full(DAY_H, design.mean_W)
    usual = float(np.median(power[known]))
    enough = known.any(axis=0)
    means = np.where(known, power, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
    return np.maximum(np.where(enough, means, usual), 0.0)


def box_loss_W_K(hours, design):
    """Return the loss of the box by load and difference from the air, by design where untold."""
    designed = float(loss_in_air_W_K(design.box, film_W_m2_K(5.0)))
    warmer = hours.box_degC - hours.air_degC
    power = hours.load_A * hours.battery_V
    known = np.isfinite(warmer) & np.isfinite(power)
    if known.sum() < 10 * DAY_H or not warmer[known].mean() > 0.5:
        return designed
    return float(np.clip(power[known].mean() / warmer[known].mean(), 0.05, 10.0))


def forecast(design, cloud, habits, outlook, now_ns, generator, members=MEMBERS, hours_ahead=None):
    """Return the :class:`Forecast` from now to the outlook's end.

    Parameters
    ----------
    design : Design
    cloud : Cloud
        Possible banks today, from :func:`~.health_fit.fit_bank`.
    habits : Habits
    outlook : Outlook
    now_ns : int
        GPS time. [ns]
    generator : numpy.random.Generator
    members : int
    hours_ahead : int, optional
        That are looked at; to the outlook's end where not given.

    Raises
    ------
    SettingsError
        Where the outlook does not hold the hours to come.

    Notes
    -----
    Each member is a possible bank in one of the outlook's years, through
    :func:`~.year.simulate_years` with its own capacity, cold, switch and yields. The switch's two
    voltages are moved by what the bank's fitted voltage differs from the law. The first hour's
    surroundings are the box's own temperature of now, so that it starts there.
    """
    begin = int((now_ns - outlook.start_ns) // HOUR_NS)
    years, count = outlook.air_degC.shape
    if not 0 <= begin < count - DAY_H:
        raise SettingsError(
            f"the outlook holds {count} hours; today is hour {begin} of it: expected one within"
        )
    count = count if hours_ahead is None else min(count, begin + hours_ahead)
    chosen = generator.choice(cloud.weight.size, members, p=cloud.weight)
    clock = (np.arange(begin, count) + outlook.start_ns // HOUR_NS) % DAY_H
    dark, lowest = np.full(members, np.inf), np.empty(members)
    for k, bank_row in enumerate(chosen):
        year = int(generator.integers(years))
        offered = _offered(habits, outlook, year, slice(begin, count), generator)
        load = habits.load_W[clock] * np.exp(0.03 * generator.standard_normal())
        station = _member(design, cloud, bank_row, habits, generator)
        air = outlook.air_degC[year, begin:count].copy()
        air[0] = habits.box_degC if np.isfinite(habits.box_degC) else air[0]
        done = simulate_years(station, air, offered, load_W=load,
                              charge=float(cloud.charge[bank_row]))  # fmt: skip
        lowest[k] = done.lowest_charge[0]
        if done.first_off[0] >= 0:
            dark[k] = now_ns + HOUR_NS * float(done.first_off[0])
    order = np.argsort(dark, kind="stable")
    end_ns = outlook.start_ns + HOUR_NS * count
    return Forecast(int(now_ns), int(end_ns), dark[order], lowest[order])


def _offered(habits, outlook, year, rows, generator):
    """Return what sun and wind bring in one member's hours. [W]"""
    draw = generator.standard_normal(3)
    panel = np.exp(habits.panel_share[0] + habits.panel_share[1] * draw[0])
    turbine = np.exp(habits.turbine_share[0] + habits.turbine_share[1] * draw[1])
    stop = habits.rime_stop[0] + habits.rime_stop[1] * draw[2]
    stop = stop if outlook.rime_stop is None else outlook.rime_stop
    turns = outlook.rime[year, rows] < max(stop, 0.02)
    offered = np.zeros(turns.size)
    if not habits.panel_dead:
        offered += panel * outlook.panel_W[year, rows]
    if generator.uniform() >= habits.turbine_dead:
        offered += turbine * np.where(turns, outlook.turbine_W[year, rows], 0.0)
    return offered


def _member(design, cloud, row, habits, generator):
    """Return the :class:`~.year.StationEnergy` of one possible bank."""
    named = plain_bank(design.bank)
    scale = named.nominal_V / 12.0
    own = Cloud(*(getattr(cloud, f.name)[row] for f in fields(Cloud)))
    left = np.linspace(-0.5, 1.0, 301)
    fitted = left_V(named, own, left, WINTER_DEGC)
    law = rest_V(named, np.clip(left, 0.0, 1.0), WINTER_DEGC)
    law = law + COLLAPSE * named.nominal_V * np.minimum(left, 0.0)

    def by_law(volts):
        return float(np.interp(volts * scale, fitted, law)) / scale

    cut, back = by_law(named.disconnect_V), by_law(named.reconnect_V)
    bank = replace(
        named,
        parallel=1,
        block_Ah=float(cloud.capacity_Ah[row]),
        block_ohm=named.block_ohm / named.parallel,
        age_a=0.0,
        cold_per_K=float(cloud.cold_per_K[row]),
        charge_share=float(np.clip(cloud.kept[row], 0.5, 1.0)),
        disconnect_V=cut,
        reconnect_V=max(back, cut + 0.1),
        trip_V=None if named.trip_V is None else by_law(named.trip_V),
    )
    box = replace(design.box, heater_least_V=by_law(design.box.heater_least_V))
    loss = habits.loss_W_K * np.exp(LOSS_SIGMA * generator.standard_normal())
    return StationEnergy(bank, box, float(loss), float(habits.load_W.mean()), design.peak_W)
