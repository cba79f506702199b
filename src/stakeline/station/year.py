"""A station's energy through whole years, hour by hour: does it stay awake, and if not, why?"""

from dataclasses import dataclass, replace

import numpy as np

from ..errors import SettingsError
from ._kernels import (
    BACK,
    CAUSE,
    CLIPPED,
    COLDEST_DEGC,
    COLUMNS,
    DAY_H,
    DAY_ROWS,
    END,
    FIRST_CAUSE,
    FIRST_FROZEN,
    FIRST_OFF,
    FIRST_OVER,
    FROZEN_H,
    HEATER,
    LOAD,
    LONGEST_H,
    LONGEST_OFF,
    LOST,
    LOWEST_CHARGE,
    LOWEST_V,
    OFF_H,
    OFFERED,
    OVER_H,
    REFUSED,
    SAVED,
    START,
    STARTS,
    years,
)
from .battery import (
    LITHIUM,
    RATED_DEGC,
    Bank,
    charge_limit_V,
    charge_rate_per_h,
    cold_share,
    least_charge,
    rate_share,
    rest_V,
    self_discharge_per_s,
)
from .box import Box

HOTTEST_DEGC = 80.0  # degC; last node of the tables
REST_NODES = 101  # -; of the rest voltage by usable charge
CAUSES = (
    "none",
    "the bank was empty",
    "the cold locked up what the bank still held",
    "the peak load pulled the voltage below the switch",
    "the bank was colder than its acid's freezing point",
    "charging was forbidden in frost",
)


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
    savings : tuple of (float, float)
        State of charge below which a load saves, and by how many watts. [-], [W]
    dump_W : float
        What the turbine's regulator can burn; infinite where that is enough.
    """

    bank: Bank
    box: Box
    loss_W_K: float
    load_W: float
    peak_W: float = 0.0
    peak_least_V: float = 0.0
    savings: tuple = ()
    dump_W: float = np.inf

    def __post_init__(self):
        if not (self.loss_W_K > 0.0 and self.load_W >= 0.0 and self.peak_W >= 0.0):
            raise SettingsError(
                f"station: loss_W_K {self.loss_W_K:g}, load_W {self.load_W:g}, peak_W "
                f"{self.peak_W:g}: expected a loss above 0, powers of 0 or more"
            )
        if any(not 0.0 <= limit <= 1.0 or power < 0.0 for limit, power in self.savings):
            raise SettingsError(
                f"station: savings {self.savings}: expected charges of 0 to 1, powers of 0 or more"
            )


@dataclass(frozen=True)
class YearsOutcome:
    """What became of m years; hours count from each year's first.

    Attributes
    ----------
    offered_J, clipped_J, load_J, heater_J, lost_J, start_J, end_J : array, shape (m,)
        From sun and wind, not taken, used, heated, lost in the bank; stored at the two ends.
    off_h : array, shape (m,)
        Hours without loads.
    first_off, longest_off : int array, shape (m,)
        Hour at which the first and the longest outage begin, -1 for none.
    longest_off_h : array, shape (m,)
    cause, first_cause : int array, shape (m,)
        Of the longest and of the first outage, into ``CAUSES``.
    starts : array, shape (m,)
        How often loads came back.
    back : int array, shape (m,)
        Hour at which they last did, -1 for never.
    over_h : array, shape (m,)
        Hours in which the turbine gave more than bank, loads and ``dump_W`` take.
    first_frozen, first_over : int array, shape (m,)
        First of ``frozen_h`` and of ``over_h``, -1 for none.
    saved_J : array, shape (m,)
        What loads did not use below their states of charge.
    frozen_h : array, shape (m,)
        Hours below the acid's freezing point: a bank may crack.
    refused_J : array, shape (m,)
        Of ``clipped_J``: what frost kept from being charged.
    lowest_charge, lowest_V : array, shape (m,)
    days : array, shape (m, 3, d) or (m, 3, 0)
        Lowest charge, hours with loads and coldest box [degC] of each whole day, where asked for.
    trace : array, shape (m, 3, n) or (m, 3, 0)
        Charge, connected (0 or 1) and the box's degC at the end of each hour, where asked for.
    """

    offered_J: np.ndarray
    clipped_J: np.ndarray
    load_J: np.ndarray
    heater_J: np.ndarray
    lost_J: np.ndarray
    start_J: np.ndarray
    end_J: np.ndarray
    off_h: np.ndarray
    first_off: np.ndarray
    longest_off: np.ndarray
    longest_off_h: np.ndarray
    cause: np.ndarray
    frozen_h: np.ndarray
    refused_J: np.ndarray
    lowest_charge: np.ndarray
    lowest_V: np.ndarray
    first_cause: np.ndarray
    starts: np.ndarray
    back: np.ndarray
    over_h: np.ndarray
    first_frozen: np.ndarray
    first_over: np.ndarray
    saved_J: np.ndarray
    days: np.ndarray
    trace: np.ndarray

    @property
    def survived(self):
        """In which years the loads were never cut off (m,)."""
        return self.off_h == 0.0

    @property
    def balance(self):
        """What is missing in each year's energy, by the energy that passed through (m,)."""
        spent = self.clipped_J + self.load_J + self.heater_J + self.lost_J
        missing = self.offered_J - spent - (self.end_J - self.start_J)
        return missing / np.maximum(self.offered_J + self.start_J, 1.0)

    @property
    def why(self):
        """The causes in words, a tuple of m."""
        return tuple(CAUSES[i] for i in self.cause)


def simulate_years(
    station,
    surroundings_degC,
    offered_W,
    *,
    wind_W=None,
    load_W=None,
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
    not destroyed.
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
    savings = np.array(station.savings, float).reshape(-1, 2)
    saving = np.zeros(len(savings), bool)
    years(_settings(station), *_tables(station), degrees, offered, wind, load, savings, saving,
          float(charge), outcome, days, trace, keep_hours)  # fmt: skip
    return _outcome(outcome, days, trace)


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
        station.loss_W_K,
        box.heat_J_K,
        station.dump_W,
        station.peak_least_V * scale,
    )
    return tuple(float(value) for value in values)


def _tables(station):
    """Return the kernel's tables by temperature (7, k), and the rest voltage by usable charge."""
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
        ]
    )
    return tables, rest


def _outcome(outcome, days, trace):
    """Return the kernel's columns with their names."""
    column = outcome.T
    return YearsOutcome(
        offered_J=column[OFFERED],
        clipped_J=column[CLIPPED],
        load_J=column[LOAD],
        heater_J=column[HEATER],
        lost_J=column[LOST],
        start_J=column[START],
        end_J=column[END],
        off_h=column[OFF_H],
        first_off=column[FIRST_OFF].astype(int),
        longest_off=column[LONGEST_OFF].astype(int),
        longest_off_h=column[LONGEST_H],
        cause=column[CAUSE].astype(int),
        frozen_h=column[FROZEN_H],
        refused_J=column[REFUSED],
        lowest_charge=column[LOWEST_CHARGE],
        lowest_V=column[LOWEST_V],
        first_cause=column[FIRST_CAUSE].astype(int),
        starts=column[STARTS],
        back=column[BACK].astype(int),
        over_h=column[OVER_H],
        first_frozen=column[FIRST_FROZEN].astype(int),
        first_over=column[FIRST_OVER].astype(int),
        saved_J=column[SAVED],
        days=days,
        trace=trace,
    )
