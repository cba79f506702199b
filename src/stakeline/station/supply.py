"""The supply in seconds and minutes: what a modem's pulse does to the voltage, and how often an
empty bank lets its loads start and die again.

The hours of :mod:`.year` are too long for both. Loads take constant power, as regulators do.
"""

from dataclasses import dataclass, field

import numpy as np

from ..errors import SettingsError
from ._kernels import COLLAPSE, LOWEST
from ._supply_kernels import switch_minutes
from .battery import RATED_DEGC, Bank, cold_share, rest_V
from .cautions import BATTERIES, ESTIMATE
from .checks import not_negative, positive

LEAD_OHM = 0.05  # ohm; bank to loads and back, with fuse and switch: under 0.1 V at 2 A, common
# practice, no source
SAMPLE_S = 1.0  # s; between looks of a controller at its voltage, common practice, no source
TICK_S = 0.01  # s; step of a pulse's course, own choice
MINUTE_S = 60.0  # s; step of the switch's course
RECOVERY_S = 1800.0  # s; in which a bank's voltage settles after a change, from memory: half an
# hour to some hours
BOOT_S = 60.0  # s; that a load which fell asleep needs to start, common practice, no source
DOUBLES_K = 40.0  # K; of cold in which the inner resistance doubles, as in the hourly model
CHARGES = np.linspace(0.0, 1.0, 401)  # -; nodes when a charge is sought by its voltage


@dataclass(frozen=True)
class Supply:
    """A bank at one temperature, with the wires to its loads.

    Attributes
    ----------
    bank : Bank
    temperature_degC : float
    lead_ohm : float
        From the bank to the loads and back.
    """

    bank: Bank
    temperature_degC: float
    lead_ohm: float = LEAD_OHM
    cautions: tuple = field(default=(BATTERIES, ESTIMATE))

    def __post_init__(self):
        not_negative(lead_ohm=self.lead_ohm)

    @property
    def ohm(self):
        """Inside the bank, in this cold. [ohm]"""
        colder = (RATED_DEGC - self.temperature_degC) / DOUBLES_K
        return self.bank.resistance_ohm * 2.0**colder

    @property
    def usable(self):
        """Share of the capacity that the cold leaves."""
        return float(cold_share(self.bank, self.temperature_degC))

    def resting_V(self, charge):
        """Return the voltage by the whole charge, after hours without loads, as an array. [V]"""
        return rest_V(self.bank, charge, self.temperature_degC)

    def working_V(self, charge):
        """Return the voltage by what the cold leaves, under a small load, as an array. [V]"""
        left = 1.0 - (1.0 - np.asarray(charge, float)) / max(self.usable, 1e-9)
        level = rest_V(self.bank, np.maximum(left, 0.0), self.temperature_degC)
        nominal = self.bank.nominal_V
        return np.maximum(level + COLLAPSE * nominal * np.minimum(left, 0.0), LOWEST * nominal)

    def charge_at_cut(self, load_W):
        """Return the charge at which the switch opens under a load, between 0 and 1."""
        cut = self.bank.switch_V[0]
        volts = self.working_V(CHARGES)
        under = at_load_V(volts, load_W, self.ohm)
        return float(CHARGES[np.argmax(under >= cut)]) if (under >= cut).any() else 1.0


@dataclass(frozen=True)
class Pulse:
    """What one pulse does, from one second before it to three after.

    Attributes
    ----------
    time_s, bank_V, load_V : array, shape (n,)
        Since the pulse began; at the bank, and at the loads.
    lowest_V : float
        At the loads; NaN where the supply cannot give the power at all.
    seen, opens : bool
        Whether a look of the switch fell into the pulse; whether it then cut off.
    resets : bool
        Whether the other loads fell below what they need.
    """

    time_s: np.ndarray
    bank_V: np.ndarray
    load_V: np.ndarray
    lowest_V: float
    seen: bool
    opens: bool
    resets: bool


@dataclass(frozen=True)
class Course:
    """Minutes of a switch.

    Attributes
    ----------
    volts_V : array, shape (n,)
    connected : bool array, shape (n,)
    charge : array, shape (n,)
    starts : int
        How often loads came back.
    """

    volts_V: np.ndarray
    connected: np.ndarray
    charge: np.ndarray
    starts: int

    @property
    def starts_a_day(self):
        """Starts by the length of the course. [1/d]"""
        return self.starts * 86_400.0 / (self.volts_V.size * MINUTE_S)


def at_load_V(source_V, power_W, ohm):
    """Return the voltage that is left at a constant power, as an array; NaN where there is none.

    V = E / 2 + sqrt(E^2 / 4 - R P): of V (E - V) / R = P the upper root; none from E^2 / 4 R on,
    where the voltage collapses.

    Examples
    --------
    >>> float(at_load_V(12.0, 11.0, 1.0))
    11.0
    """
    source = np.asarray(source_V, float)
    inside = 0.25 * source**2 - ohm * np.asarray(power_W, float)
    return np.where(inside >= 0.0, 0.5 * source + np.sqrt(np.maximum(inside, 0.0)), np.nan)


def pulse_course(supply, charge, base_W, peak_W, peak_s, *, needs_V=0.0, sample_s=SAMPLE_S,
                 phase=0.5):  # fmt: skip
    """Return the :class:`Pulse` of a load that takes ``peak_W`` on top for ``peak_s``.

    Parameters
    ----------
    supply : Supply
    charge : float
        State of charge.
    base_W : float
        Of all loads without the pulse.
    peak_W, peak_s : float
    needs_V : float
        Lowest voltage with which the other loads go on; 0 where it is not known.
    sample_s, phase : float
        Between looks of the switch, 0 for one that never sleeps; when it first looks, as a share
        of ``sample_s``.

    Notes
    -----
    Resistances only: the bank's own capacitance (milliseconds) and its slow settling (half an hour)
    lie outside of what a pulse of a second feels.
    """
    positive(peak_s=peak_s)
    not_negative(base_W=base_W, peak_W=peak_W, sample_s=sample_s)
    if not 0.0 <= phase < 1.0:
        raise SettingsError(f"phase {phase:g}: expected 0 to below 1")
    time = np.arange(round(-1.0 / TICK_S), round((peak_s + 3.0) / TICK_S)) * TICK_S
    during = (time >= -1e-9) & (time < peak_s - 1e-9)
    power = base_W + peak_W * during
    source = float(supply.working_V(charge))
    load = at_load_V(source, power, supply.ohm + supply.lead_ohm)
    current = np.divide(power, load, out=np.full(time.size, np.nan), where=load > 0.0)
    bank = source - current * supply.ohm
    looks = during if sample_s == 0.0 else during & _looks(time, sample_s, phase)
    low = np.isnan(bank) | (bank < supply.bank.switch_V[0])
    worst = load[during]
    sagged = bool(np.isnan(worst).any() or worst.min() < needs_V)
    lowest = np.nan if np.isnan(worst).any() else float(worst.min())
    return Pulse(time, bank, load, lowest, bool(looks.any()), bool((looks & low).any()), sagged)


def _looks(time_s, sample_s, phase):
    """Return in which steps a switch looks at its voltage."""
    count = np.floor((time_s + TICK_S / 2.0) / sample_s - phase)
    return np.diff(count, prepend=count[0]) > 0.0


def unseen_share(peak_s, sample_s=SAMPLE_S):
    """Return the share of pulses that fall between two looks of the switch: 1 - peak / sample."""
    positive(peak_s=peak_s, sample_s=sample_s)
    return max(0.0, 1.0 - peak_s / sample_s)


def switch_course(supply, charge, load_W, offered_W, *, reconnect_V=None):
    """Return the :class:`Course` of the switch, minute by minute, from connected loads on.

    Parameters
    ----------
    supply : Supply
    charge : float
        At the beginning.
    load_W : float
        Of the loads while connected.
    offered_W : array, shape (n,)
        What comes to the bank each minute.
    reconnect_V : float, optional
        Of the whole bank; the bank's own where not given.

    Notes
    -----
    Behind the resistance the voltage moves toward that of the working bank while it gives, and
    toward that of the resting one while it does not, with :data:`RECOVERY_S`: a Thevenin circuit of
    first order (Plett 2015, Battery Management Systems I, chapter 2, from memory). Charging lifts
    it by the bank's charging resistance.
    """
    bank, offered = supply.bank, np.ascontiguousarray(offered_W, float)
    positive(load_W=load_W)
    cut, back = bank.switch_V
    colder = 2.0 ** ((RATED_DEGC - supply.temperature_degC) / DOUBLES_K)
    settings = (
        bank.full_J,
        cut,
        back if reconnect_V is None else reconnect_V,
        supply.ohm,
        bank.charging_ohm * colder,
        bank.charge_share,
        -np.expm1(-MINUTE_S / RECOVERY_S),
        MINUTE_S,
    )
    volts, charges = np.empty(offered.size), np.empty(offered.size)
    connected = np.empty(offered.size, bool)
    tables = supply.working_V(CHARGES), supply.resting_V(CHARGES)
    starts = switch_minutes(
        tuple(float(one) for one in settings), *tables, float(charge), float(load_W), offered,
        volts, connected, charges,
    )  # fmt: skip
    return Course(volts, connected, charges, int(starts))


def calm_reconnect_V(supply, load_W, offered_W, most_a_day=1.0):
    """Return the lowest voltage to come back at with few starts a day; NaN where none is enough.

    From just above the cut-off on, tenths of a volt (of a nominal 12 V) are tried from the least
    distance of the two limits up; starts fall with each.

    Parameters
    ----------
    supply, load_W, offered_W
        As :func:`switch_course`.
    most_a_day : float
    """
    scale = supply.bank.nominal_V / 12.0
    begin = supply.charge_at_cut(load_W)
    for tenth in range(1, 31):
        back = supply.bank.switch_V[0] + 0.1 * tenth * scale
        course = switch_course(supply, begin, load_W, offered_W, reconnect_V=back)
        if course.starts_a_day <= most_a_day:
            return back
    return np.nan
