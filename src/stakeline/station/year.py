"""A station's energy through whole years, hour by hour: does it stay awake, and if not, why?"""

from dataclasses import dataclass, replace

import numpy as np

from ..errors import SettingsError
from ._kernels import COLDEST_DEGC, COLUMNS, DAY_H, DAY_ROWS, years
from .battery import (
    LITHIUM,
    RATED_DEGC,
    Bank,
    charge_limit_V,
    charge_rate_per_h,
    cold_share,
    least_charge,
    most_charge,
    rate_share,
    rest_V,
    self_discharge_per_s,
)
from .box import Box
from .year_outcome import outcome_of

HOTTEST_DEGC = 80.0  # degC; last node of the tables
REST_NODES = 101  # -; of the rest voltage by usable charge
LOSS_STEP_H = 120  # h; between values of the box's loss, as those of the snow surface


@dataclass(frozen=True)
class StationEnergy:
    """What stores, uses and keeps warm.

    Attributes
    ----------
    bank : Bank
    box : Box
        The bank lies in it with the electronics.
    loss_W_K : float
        Of the box to its surroundings, from ``box.loss_in_air_W_K`` or ``loss_in_snow_W_K``.
    load_W : float
        Mean of the loads.
    peak_W : float
        What they take on top for a moment, as a modem does: the switch sees it.
    peak_least_V : float
        Of a nominal 12 V at rest: below it the peak does not come.
    savings : tuple of tuples
        State of charge below which a load saves, and by how many watts; two more where not both
        are False: whether it never wakes again, and whether it stays off after a cut-off.
    dump_W : float
        What the turbine's regulator can burn; infinite where that is enough.
    hand_W : float
        Of the loads that stay off after a cut-off until somebody comes: not before the year's end.
    silent : bool
        Whether hours after a cut-off are lost: a load stays off, or is on and records nothing.
    """

    bank: Bank
    box: Box
    loss_W_K: float
    load_W: float
    peak_W: float = 0.0
    peak_least_V: float = 0.0
    savings: tuple = ()
    dump_W: float = np.inf
    hand_W: float = 0.0
    silent: bool = False

    def __post_init__(self):
        if not (self.loss_W_K > 0.0 and self.load_W >= 0.0 and self.peak_W >= 0.0):
            raise SettingsError(
                f"station: loss_W_K {self.loss_W_K:g}, load_W {self.load_W:g}, peak_W "
                f"{self.peak_W:g}: expected a loss above 0, powers of 0 or more"
            )
        if any(not 0.0 <= limit <= 1.0 or power < 0.0 for limit, power, *_ in self.savings):
            raise SettingsError(
                f"station: savings {self.savings}: expected charges of 0 to 1, powers of 0 or more"
            )


def simulate_years(
    station,
    surroundings_degC,
    offered_W,
    *,
    wind_W=None,
    load_W=None,
    loss_W_K=None,
    charge=1.0,
    keep_days=False,
    keep_hours=False,
):
    """Return the :class:`YearsOutcome` of a station in m years of weather.

    Parameters
    ----------
    station : StationEnergy
    surroundings_degC : array, shape (m, n) or (n,)
        Hourly, around the box: air, or snow at its depth.
    offered_W : array, shape (m, n) or (n,)
        What panels and turbine bring to the bank.
    wind_W : array, shape (m, n) or (n,), optional
        The turbine's part of it, where over-voltage is to be looked for.
    load_W : array, shape (n,), optional
        Hourly loads; the station's mean where not given.
    loss_W_K : array, shape (m, s) or (1, s), optional
        Of the box, for ``LOSS_STEP_H`` hours each; the station's where not given.
    charge : float
        State of charge at the beginning.
    keep_days, keep_hours : bool
        Whether to keep ``days`` and the hourly ``trace``.

    Raises
    ------
    SettingsError
        For missing values, shapes that differ, powers below 0.

    Notes
    -----
    Each hour: the bank's usable share by its temperature, its rest voltage by the usable charge
    left, the switch with its two limits, the heater's thermostat, loads first from what is offered;
    charging is bounded by temperature, voltage and free room, and keeps ``charge_share``. Losses
    and loads heat the box, which follows its surroundings exponentially. A frozen bank is counted,
    not destroyed. What lithium takes in frost is metal: neither kept nor given back, it lessens the
    capacity (all of it, own choice: makers forbid any); with a fifth gone nobody can count on the
    bank, and hours are lost. A breaker that trips ends the year.
    """
    degrees = _years_of("surroundings_degC", surroundings_degC)
    offered = _years_of("offered_W", offered_W)
    wind = np.zeros((1, 0)) if wind_W is None else _years_of("wind_W", wind_W)
    count, hours = degrees.shape
    for name, given in (("offered_W", offered), ("wind_W", wind)):
        if given.size and given.shape != degrees.shape:
            raise SettingsError(
                f"surroundings_degC is {degrees.shape}, {name} {given.shape}: expected the same "
                "years and hours"
            )
    load = np.full(hours, station.load_W) if load_W is None else np.asarray(load_W, float)
    losses = np.full((1, -(-hours // LOSS_STEP_H)), station.loss_W_K)
    if loss_W_K is not None:
        losses = _losses(loss_W_K, (count, losses.shape[1]))
    if load.shape != (hours,):
        raise SettingsError(f"load_W is {load.shape}: expected one value for each of {hours} hours")
    for name, power in (("offered_W", offered), ("load_W", load)):
        if not (power >= 0.0).all():
            raise SettingsError(f"{name}: lowest {np.min(power):g} W; expected 0 or more")
    if not 0.0 <= charge <= 1.0:
        raise SettingsError(f"charge {charge:g}: expected 0 to 1")
    outcome = np.zeros((count, COLUMNS))
    days = np.zeros((count, DAY_ROWS, hours // DAY_H if keep_days else 0))
    trace = np.zeros((count, 3, hours if keep_hours else 0))
    savings = np.array([(*one, 0.0, 0.0)[:4] for one in station.savings], float).reshape(-1, 4)
    saving = np.zeros(len(savings), bool)
    years(_settings(station), *_tables(station), degrees, losses, LOSS_STEP_H, offered, wind, load,
          savings, saving, float(charge), outcome, days, trace, keep_hours)  # fmt: skip
    return outcome_of(outcome, days, trace)


def smallest_bank(station, surroundings_degC, offered_W, *, most=200, charge=1.0, share=1.0):
    """Return the least number of parallel strings with which enough years pass without outage.

    Parameters
    ----------
    station, surroundings_degC, offered_W, charge
        As :func:`simulate_years`; the heat capacity of the box is kept.
    most : int
        Largest number tried.
    share : float
        Of the years that must pass, 0 to 1.

    Raises
    ------
    SettingsError
        Where even ``most`` strings are too few.

    Notes
    -----
    Doubled until enough, then halved between. The box does not grow with the bank: far too large a
    bank in a small box warms itself by its self-discharge, and loses more.
    """

    def enough(parallel):
        tried = replace(station, bank=replace(station.bank, parallel=parallel))
        done = simulate_years(tried, surroundings_degC, offered_W, charge=charge)
        return done.survived.mean() >= share

    low, high = 0, 1
    while not enough(high):
        if high == most:
            raise SettingsError(
                f"even {most} strings of {station.bank.block_Ah:g} Ah do not last: more light, "
                "less load, a warmer box, or a larger 'most'"
            )
        low, high = high, min(2 * high, most)
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _years_of(name, values):
    """Return hourly values as (m, n), refusing what is missing."""
    values = np.ascontiguousarray(np.atleast_2d(np.asarray(values, float)))
    if values.ndim != 2 or values.size == 0:
        raise SettingsError(f"{name} is {values.shape}: expected (years, hours) or (hours,)")
    wrong = np.argwhere(~np.isfinite(values))
    if wrong.size:
        raise SettingsError(
            f"{name}: missing in year {wrong[0][0]}, hour {wrong[0][1]}, and {len(wrong) - 1} "
            "others; expected a value each hour: fill or leave out the year, and say so"
        )
    return values


def _losses(loss_W_K, shape):
    """Return the losses of a box (m or 1, s), refusing other steps and what is not above 0."""
    losses = np.ascontiguousarray(loss_W_K, float)
    if losses.ndim != 2 or losses.shape[1] != shape[1] or losses.shape[0] not in (1, shape[0]):
        raise SettingsError(
            f"loss_W_K is {losses.shape}: expected (1 or {shape[0]}, {shape[1]}), one value for "
            f"each {LOSS_STEP_H} h"
        )
    if not (losses > 0.0).all():
        raise SettingsError(f"loss_W_K: lowest {losses.min():g} W/K; expected above 0")
    return losses


def _settings(station):
    """Return the kernel's plain numbers."""
    bank, box = station.bank, station.box
    scale = bank.nominal_V / 12.0
    values = (
        bank.full_J,
        bank.nominal_V,
        *bank.switch_V,
        bank.resistance_ohm,
        bank.charge_share,
        station.peak_W,
        bank.charging_ohm,
        box.heater_W,
        box.heater_on_degC,
        box.heater_off_degC,
        box.heater_least_V * scale,
        box.heat_J_K,
        station.dump_W,
        station.peak_least_V * scale,
        (bank.trip_V or 0.0) * scale,
        station.hand_W,
        station.silent,
        bank.chemistry == LITHIUM and not bank.frost_ban,
    )
    return tuple(float(value) for value in values)


def _tables(station):
    """Return the kernel's tables by temperature (8, k), and the rest voltage by usable charge."""
    bank = station.bank
    degrees = np.arange(COLDEST_DEGC, HOTTEST_DEGC + 1.0)
    by_rate = float(rate_share(bank, station.load_W / bank.nominal_V))
    rest = rest_V(bank, np.linspace(0.0, 1.0, REST_NODES))
    shift = rest_V(bank, 0.5, degrees) - rest_V(bank, 0.5)
    tables = np.stack(
        [
            np.minimum(cold_share(bank, degrees) * by_rate, 1.0),
            charge_rate_per_h(bank, degrees),
            least_charge(bank, degrees),
            self_discharge_per_s(bank, degrees),
            2.0 ** ((RATED_DEGC - degrees) / 40.0),
            charge_limit_V(bank, degrees),
            shift if bank.chemistry != LITHIUM else np.zeros(degrees.size),
            most_charge(bank, degrees),
        ]
    )
    return tables, rest
