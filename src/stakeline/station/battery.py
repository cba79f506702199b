"""Batteries in the cold: what a lead-acid or lithium iron phosphate bank holds, takes and endures.

Hydrogen, acid, short-circuit current and lithium charged below 0 degC hurt people: a bank carries
its cautions.
"""

from dataclasses import dataclass, field, replace

import numpy as np

from ..errors import SettingsError
from .cautions import AIR_CARGO, BATTERIES, ESTIMATE

LEAD_ACID = "lead-acid"
LITHIUM = "lithium iron phosphate"
SLOW, SIZING = "slow", "sizing"  # the two laws of capacity in the cold, for lead-acid

RATED_DEGC = 25.0  # degC; where capacity is rated, IEEE Std 485
RATED_H = 20.0  # h; discharge in which the rated capacity is given, common practice
SLOWEST_H = 100.0  # h; slower discharges give no more, common practice
LEAD_CELL_V = 2.0  # V; nominal
LITHIUM_CELL_V = 3.2  # V; nominal

GRAVITY_CHARGE = np.array([0.0, 0.25, 0.5, 0.75, 1.0])  # -; state of charge
GRAVITY = np.array([1.130, 1.190, 1.220, 1.250, 1.280])  # -, 27 degC; US Army TM 5-1185, table II
FREEZE_GRAVITY = np.array([1.000, 1.050, 1.100, 1.150, 1.200, 1.225, 1.250, 1.265, 1.280])  # -
FREEZE_DEGC = np.array([0.0, -3.0, -7.5, -15.0, -27.0, -37.0, -52.0, -59.0, -68.0])  # degC;
# US Army TM 5-1185, table III (1.100, 1.150, 1.200, 1.250, 1.280); a car maker's manual (others)

LEAD_REST_V, LEAD_REST_V_K = 0.84, 2e-4  # V over the gravity, V/K a cell; common practice
LITHIUM_CHARGE = np.array([0.0, 0.05, 0.1, 0.2, 0.5, 0.9, 1.0])  # -; state of charge
LITHIUM_REST_V = np.array([2.70, 3.05, 3.18, 3.24, 3.29, 3.33, 3.42])  # V a cell; from memory

LEAD_LIMIT_V, LEAD_LIMIT_V_K = 2.40, -0.004  # V, V/K a cell; charge limit, handbook, -3 to -5 mV/K
LEAD_GASSING_V, LEAD_GASSING_V_K = 2.35, -0.003  # V, V/K a cell; gassing begins, from memory
LITHIUM_LIMIT_V = 3.50  # V a cell; common practice, short of the highest 3.65

LITHIUM_DEGC = np.array([-40.0, -20.0, 0.0, 25.0])  # degC; nodes of the next line
LITHIUM_SHARE = np.array([0.5, 0.7, 0.8, 1.0])  # -; a maker: 70 % at -20, 80 % at 0; -40 own choice
LITHIUM_RATE_DEGC = np.array([0.0, 10.0])  # degC; from here on, a maker's manual
LITHIUM_RATE_PER_H = np.array([0.0, 0.1, 0.2])  # 1/h; below, between and above: standard charge
LITHIUM_LOWEST_DEGC = -40.0  # degC; no discharge below, the same manual
LITHIUM_FROST_PER_H = 0.1  # 1/h; below 0 degC where nothing forbids it, as just above, own choice

TAIL_PER_H = 0.01  # 1/h; current at which charging ends, by capacity: C/100, common practice
CHARGED_V = 2.16  # V a cell; 2 + 0.16 of a full one, Copetti et al. (1993), from memory
SERIES_V_H, NEAR_FULL_V_H, NEAR_FULL = 6.0, 0.48, 1.2  # V h, V h, -; rise of a cell's voltage by
# current over capacity, 6 + 0.48 / (1 - charge)^1.2, the same
CHARGING_PER_K = 0.025  # 1/K; of that rise below 25 degC, the same

HYDROGEN_M3_AH = 0.42e-3  # m3/(A h) a cell at 0 degC; EN IEC 62485-2, from memory
CHARGING_OHM = {LEAD_ACID: 0.4, LITHIUM: 0.05}  # ohm, of 100 A h and 12 V; Copetti et al. (1993),
# from memory; own choice
MONTH_S = 30.0 * 86400.0  # s; definition of self-discharge by month


@dataclass(frozen=True)
class Bank:
    """Equal blocks in series and parallel, and the switch that cuts the loads off.

    Attributes
    ----------
    chemistry : str
        ``lead-acid`` or ``lithium iron phosphate``.
    block_Ah, block_V : float
        Of one block, at 25 degC and in 20 h.
    series, parallel : int
    age_a : float
        Years in use.
    loss_per_a : float
        Share of the capacity lost in a year.
    cold_law : str
        Lead-acid only. ``slow``: 0.8 %/K below 25 degC, for discharges over weeks; ``sizing``: IEEE
        Std 485, for discharges over hours, cautious.
    peukert : float
        Exponent of the capacity by rate, 1 for none.
    disconnect_V, reconnect_V : float
        Of a nominal 12 V: loads are cut off below the first, and given back above the second.
    block_ohm : float
        Inside one warm block; doubles in 40 K of cold.
    charging_ohm_100Ah : float, optional
        Rise of the voltage by slow charging of a warm lead-acid bank of 100 A h and 12 V, as a
        resistance: 6 cells x 6.5 / C (Copetti et al. 1993, Prog. Photovolt. 1, from memory); by the
        same cold. 0.4 for lead-acid and 0.05 for lithium where not given. It lets a nearly empty
        bank reach, in the first sun, the voltage at which loads come back.
    charge_share : float
        Energy kept of what is charged.
    discharge_month : float
        Share lost by itself in a month at 20 degC; half for each 10 K of cold.
    cold_per_K : float
        Of the law ``slow``: share of the capacity lost by each kelvin below 25 degC.
    compensated, frost_ban : bool
        Of the charge controller: whether its voltage follows the battery's temperature, and whether
        it keeps lithium from being charged below 0 degC.
    trip_V : float or None
        Of a nominal 12 V: at which a breaker cuts the loads off, and stays off.
    """

    chemistry: str = LEAD_ACID
    block_Ah: float = 100.0
    block_V: float = 12.0
    series: int = 1
    parallel: int = 10
    age_a: float = 0.0
    loss_per_a: float = 0.05
    cold_law: str = SLOW
    peukert: float = 1.1
    disconnect_V: float = 11.5
    reconnect_V: float = 12.6
    block_ohm: float = 0.01
    charging_ohm_100Ah: float | None = None
    charge_share: float = 0.85
    discharge_month: float = 0.03
    cold_per_K: float = 0.008
    compensated: bool = True
    frost_ban: bool = True
    trip_V: float | None = None
    cautions: tuple = field(default=(BATTERIES, AIR_CARGO, ESTIMATE))

    def __post_init__(self):
        if self.chemistry not in (LEAD_ACID, LITHIUM):
            raise SettingsError(
                f"bank: chemistry {self.chemistry!r}: expected {LEAD_ACID!r} or {LITHIUM!r}"
            )
        if self.cold_law not in (SLOW, SIZING):
            raise SettingsError(f"bank: cold_law {self.cold_law!r}: expected 'slow' or 'sizing'")
        for name in ("block_Ah", "block_V", "series", "parallel", "block_ohm"):
            if not getattr(self, name) > 0:
                raise SettingsError(f"bank: {name} {getattr(self, name):g}: expected above 0")
        if not self.disconnect_V < self.reconnect_V:
            raise SettingsError(
                f"bank: reconnect_V {self.reconnect_V:g} is not above disconnect_V "
                f"{self.disconnect_V:g}: loads would flicker; raise it"
            )
        if not 0.0 < self.charge_share <= 1.0:
            raise SettingsError(f"bank: charge_share {self.charge_share:g}: expected 0 to 1")

    @property
    def nominal_V(self):
        """Voltage of the blocks in series. [V]"""
        return self.block_V * self.series

    @property
    def capacity_Ah(self):
        """Capacity of the bank, warm, at its age. [A h]"""
        return self.block_Ah * self.parallel * age_share(self.age_a, self.loss_per_a)

    @property
    def full_J(self):
        """Energy of the full warm bank at its nominal voltage. [J]"""
        return self.capacity_Ah * self.nominal_V * 3600.0

    @property
    def cells(self):
        """Cells in series."""
        lead = self.chemistry == LEAD_ACID
        return max(round(self.nominal_V / (LEAD_CELL_V if lead else LITHIUM_CELL_V)), 1)

    @property
    def resistance_ohm(self):
        """Inside the warm bank. [ohm]"""
        return self.block_ohm * self.series / self.parallel

    @property
    def charging_ohm(self):
        """Rise of the warm bank's voltage by the current of slow charging. [ohm]"""
        ohm = self.charging_ohm_100Ah
        ohm = CHARGING_OHM[self.chemistry] if ohm is None else ohm
        return ohm * self.nominal_V / 12.0 * 100.0 / self.capacity_Ah

    @property
    def switch_V(self):
        """Return (disconnect, reconnect) of the whole bank. [V]"""
        scale = self.nominal_V / 12.0
        return self.disconnect_V * scale, self.reconnect_V * scale


def cold_share(bank, temperature_degC):
    """Return the share of the capacity that the cold leaves, as an array, at most 1.

    Lead-acid ``sizing``: the reciprocal of the factor of IEEE Std 485, table 1, by the polynomial
    -2.8117 x^3 + 4.1916 x^2 - 2.4941 x + 1.405, x = T / 100 (continued below -4 degC). ``slow``:
    1 - cold_per_K (25 - T), 0.008 by a handbook's rule, not below 0.1. Lithium: a maker's blocks,
    none below -40.
    """
    degrees = np.asarray(temperature_degC, float)
    if bank.chemistry == LITHIUM:
        share = np.interp(degrees, LITHIUM_DEGC, LITHIUM_SHARE)
        return np.where(degrees < LITHIUM_LOWEST_DEGC, 0.0, share)
    if bank.cold_law == SIZING:
        x = np.minimum(degrees, RATED_DEGC) / 100.0
        factor = ((-2.8117 * x + 4.1916) * x - 2.4941) * x + 1.405
        return np.minimum(1.0 / factor, 1.0)
    return np.clip(1.0 - bank.cold_per_K * (RATED_DEGC - degrees), 0.1, 1.0)


def discharge_h(capacity_Ah, current_A, exponent, rated_h=RATED_H):
    """Return how long a bank lasts: H (C / (I H))^k. [h]

    Peukert (1897), Elektrotech. Z. 20, written for a capacity C rated in H hours.
    """
    return rated_h * (capacity_Ah / (np.asarray(current_A, float) * rated_h)) ** exponent


def rate_share(bank, current_A):
    """Return the share of the rated capacity at a current, as an array.

    Peukert for rates up to the 100 h one; slower ones as that: no battery gives more and more.
    """
    slowest = bank.capacity_Ah / SLOWEST_H
    current = np.maximum(np.asarray(current_A, float), slowest)
    return discharge_h(bank.capacity_Ah, current, bank.peukert) * current / bank.capacity_Ah


def age_share(age_a, loss_per_a):
    """Return the share of the capacity that the years leave, as an array, at least a tenth."""
    return np.maximum(1.0 - np.asarray(age_a, float) * loss_per_a, 0.1)


def acid_gravity(charge):
    """Return the specific gravity of the acid by state of charge, as an array; TM 5-1185.

    Flooded cells. Sealed ones hold less and stronger acid: ask the maker.
    """
    return np.interp(charge, GRAVITY_CHARGE, GRAVITY)


def freezing_degC(charge):
    """Return the temperature at which the acid begins to freeze, as an array. [degC]"""
    return np.interp(acid_gravity(charge), FREEZE_GRAVITY, FREEZE_DEGC)


def least_charge(bank, temperature_degC):
    """Return the state of charge below which the bank freezes, as an array; 0 where it cannot.

    Above 1 where even a full one does: below -68 degC. Lithium cells have no water to freeze.
    """
    degrees = np.asarray(temperature_degC, float)
    if bank.chemistry == LITHIUM:
        return np.zeros(degrees.shape)
    charge = np.linspace(0.0, 1.0, 1001)
    needed = np.interp(-degrees, -freezing_degC(charge), charge)
    return np.where(degrees < FREEZE_DEGC[-1], 1.01, needed)


def rest_V(bank, charge, temperature_degC=RATED_DEGC):
    """Return the voltage of the rested bank, as an array. [V]

    Lead-acid: gravity + 0.84 V a cell at 25 degC, 0.2 mV/K (common practice); lithium: a table,
    from memory, of little use for the state of charge in its flat middle.
    """
    if bank.chemistry == LITHIUM:
        return bank.cells * np.interp(charge, LITHIUM_CHARGE, LITHIUM_REST_V)
    warmer = np.asarray(temperature_degC, float) - RATED_DEGC
    return bank.cells * (acid_gravity(charge) + LEAD_REST_V + LEAD_REST_V_K * warmer)


def charge_limit_V(bank, temperature_degC):
    """Return the voltage up to which the controller charges, as an array. [V]

    That of 25 degC at every temperature where it is not compensated.
    """
    degrees = np.asarray(temperature_degC, float)
    if bank.chemistry == LITHIUM:
        return np.full(degrees.shape, bank.cells * LITHIUM_LIMIT_V)
    warmer = degrees - RATED_DEGC if bank.compensated else np.zeros(degrees.shape)
    return bank.cells * (LEAD_LIMIT_V + LEAD_LIMIT_V_K * warmer)


def most_charge(bank, temperature_degC):
    """Return the state of charge at which charging ends, as an array; 1 where compensated.

    Where the current at the limit falls to C/100: by Copetti et al. (1993, from memory) a cell
    rises over 2.16 V by I/C (6 + 0.48 / (1 - s)^1.2) (1 - 0.025 (T - 25)). The s of the limit that
    stays is told by that of one that follows the cold, which counts as full: 0.92 at -20 degC, 0.85
    at -40. With the current of C/50 it is nothing at -20: what a bank takes in the cold depends on
    when its controller stops, which makers rarely say.
    """
    degrees = np.asarray(temperature_degC, float)
    if bank.chemistry == LITHIUM or bank.compensated:
        return np.ones(degrees.shape)
    fixed, following = (
        _charge_at_tail(charge_limit_V(one, degrees) / bank.cells, degrees)
        for one in (bank, replace(bank, compensated=True))
    )
    return np.where(degrees < RATED_DEGC, fixed / np.maximum(following, 1e-9), 1.0)


def _charge_at_tail(limit_V, degrees):
    """Return the state of charge at which the tail current lifts a cell to a limit, as an array."""
    colder = TAIL_PER_H * (1.0 - CHARGING_PER_K * np.minimum(degrees - RATED_DEGC, 0.0))
    room = limit_V - CHARGED_V - SERIES_V_H * colder
    left = NEAR_FULL_V_H * colder / np.maximum(room, 1e-9)
    return 1.0 - np.minimum(left ** (1.0 / NEAR_FULL), 1.0)


def gassing_V(bank, temperature_degC):
    """Return the voltage above which cells give off gas, as an array; lithium: infinite. [V]"""
    degrees = np.asarray(temperature_degC, float)
    if bank.chemistry == LITHIUM:
        return np.full(degrees.shape, np.inf)
    return bank.cells * (LEAD_GASSING_V + LEAD_GASSING_V_K * (degrees - RATED_DEGC))


def hydrogen_m3(bank, overcharge_Ah):
    """Return the hydrogen that charging a full bank gives off, as an array. [m3 at 0 degC]

    0.42 l for each A h and cell (Faraday; EN IEC 62485-2). From 4 % in air it explodes. Sealed
    cells recombine most of it, until a valve opens.
    """
    amount = np.asarray(overcharge_Ah, float)
    return 0.0 * amount if bank.chemistry == LITHIUM else HYDROGEN_M3_AH * bank.cells * amount


def charge_rate_per_h(bank, temperature_degC):
    """Return the highest charge current by capacity, as an array; 0 where it is banned. [1/h]

    Lithium: one maker's manual, none below 0 degC unless nothing forbids it. Lead-acid: a quarter
    at 25 degC, half for each 20 K of cold (own choice: acceptance falls with the cold, by how much
    is the maker's to say).
    """
    degrees = np.asarray(temperature_degC, float)
    if bank.chemistry == LITHIUM:
        rate = LITHIUM_RATE_PER_H[np.searchsorted(LITHIUM_RATE_DEGC, degrees, side="right")]
        frost = (degrees < 0.0) & (degrees >= LITHIUM_LOWEST_DEGC)
        return np.where(frost & (not bank.frost_ban), LITHIUM_FROST_PER_H, rate)
    return 0.25 * 2.0 ** ((np.minimum(degrees, RATED_DEGC) - RATED_DEGC) / 20.0)


def self_discharge_per_s(bank, temperature_degC):
    """Return the share of the charge lost by itself in a second, as an array. [1/s]

    ``discharge_month`` at 20 degC, half for each 10 K of cold (a battery maker's handbook).
    """
    cold = (np.asarray(temperature_degC, float) - 20.0) / 10.0
    return bank.discharge_month / MONTH_S * 2.0**cold


def short_circuit_A(bank):
    """Return the current of the shorted warm bank: why tools and terminals are covered. [A]"""
    return float(rest_V(bank, 1.0)) / bank.resistance_ohm
