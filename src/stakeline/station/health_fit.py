"""The bank fitted to its telemetry, day by day: capacity, what it holds, how the cold shrinks it.

A cloud of possible banks is carried through the measured currents; each night's voltage says which
of them are likely (sequential importance sampling with resampling: Doucet & Johansen 2009, A
tutorial on particle filtering, section 3.5; parameters shrunk as they are spread: Liu & West 2001).
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from .battery import RATED_DEGC, charge_limit_V, rest_V, self_discharge_per_s
from .telemetry import day_medians

BANKS = 300  # -, in the cloud; own choice
CAPACITY_SIGMA = 0.25  # -, of the logarithm of capacity by name plate, before data; own choice
COLD_SIGMA = 0.12  # -, of the loss by cold, by the handbook's; own choice
OFFSET_V, SPAN_SIGMA = 0.05, 0.10  # V of 12 and -, of the rest voltage against the law; own choice
SHARE, SHARE_SIGMA = 0.87, 0.05  # -, charge kept, by current; common practice
NIGHT_V = 0.06  # V of 12, by which law and night's voltage differ; own choice
MEMORY_D = 8.0  # d, over which that difference stays the same; own choice
WALK, CAPACITY_WALK = 0.002, 0.002  # -, by root of a day, of charge and log capacity; own choice
FULL_SIGMA = 0.04  # -, of the charge when the voltage stands at the limit; own choice
LEAST_HOURS = 3  # of rest in a day that give a voltage; own choice
REST_RATE_H = 150.0  # h, slower than capacity by this counts as rest; own choice
SHRINK = 0.98  # -, Liu & West: how far parameters are drawn to their mean when spread anew
COLLAPSE = 0.5  # -; as station._kernels: fall by nominal for usable capacity overdrawn


@dataclass(frozen=True)
class Nights:
    """What each day tells of the bank (d,); NaN where it tells nothing.

    ``in_Ah``, ``out_Ah``: charged and drawn, as energy by the nominal voltage. ``rest_V``,
    ``rest_degC``, ``rest_A``: medians of the hours at rest, current into the bank positive.
    ``full``: the voltage stood at the limit. ``hours``: with readings.
    """

    in_Ah: np.ndarray
    out_Ah: np.ndarray
    rest_V: np.ndarray
    rest_degC: np.ndarray
    rest_A: np.ndarray
    full: np.ndarray
    hours: np.ndarray


@dataclass(frozen=True)
class Cloud:
    """Possible banks (b,): each with its parameters and charge.

    ``charge``: share of its own warm capacity. ``offset_V``, ``span`` and ``bend`` change the law
    of the rest voltage, see :func:`left_V`. ``weight`` sums to 1.
    """

    capacity_Ah: np.ndarray
    cold_per_K: np.ndarray
    offset_V: np.ndarray
    span: np.ndarray
    bend: np.ndarray
    kept: np.ndarray
    charge: np.ndarray
    weight: np.ndarray

    @property
    def mean(self):
        """The :class:`Cloud` of weighted means, each a number."""
        return Cloud(*(float(self.weight @ getattr(self, field.name)) for field in fields(self)))

    def mean_sigma(self, name):
        """Return weighted mean and standard deviation of a quantity."""
        values = getattr(self, name)
        mean = float(self.weight @ values)
        return mean, float(np.sqrt(max(self.weight @ (values - mean) ** 2, 0.0)))


@dataclass(frozen=True)
class BankCourse:
    """Fit of a bank by day (d,): mean and sigma of capacity, charge, and the misfit in volts.

    ``clouds``: the :class:`Cloud` at the end of each day.
    """

    capacity_Ah: np.ndarray
    capacity_sigma_Ah: np.ndarray
    charge: np.ndarray
    charge_sigma: np.ndarray
    misfit_V: np.ndarray
    clouds: tuple


def plain_bank(bank):
    """Return the bank as the fit counts it: capacity by current alone, no effect of the rate."""
    return replace(bank, peukert=1.0)


def nights_of(hours, bank):
    """Return the :class:`Nights` of :class:`~.telemetry.Hours`."""
    net = hours.by_day("net_A")
    known = np.isfinite(net)
    volts, box = hours.by_day("battery_V"), hours.by_day("box_degC")
    box = np.where(np.isfinite(box), box, hours.by_day("air_degC"))
    energy = np.nan_to_num(net * volts / bank.nominal_V)
    limit = charge_limit_V(bank, np.where(np.isfinite(box), box, RATED_DEGC))
    near = np.where(np.isfinite(volts), volts, 0.0) >= limit - 0.15 * bank.nominal_V / 12.0
    least = -bank.capacity_Ah / REST_RATE_H
    rest = known & np.isfinite(volts) & np.isfinite(box) & (net < 0.0) & (net >= least) & ~near
    rest &= np.concatenate([rest[:, :1], rest[:, :-1]], axis=1)  # an hour after any charge
    return Nights(
        in_Ah=np.maximum(energy, 0.0).sum(axis=1),
        out_Ah=-np.minimum(energy, 0.0).sum(axis=1),
        rest_V=day_medians(np.where(rest, volts, np.nan), LEAST_HOURS),
        rest_degC=day_medians(np.where(rest, box, np.nan), LEAST_HOURS),
        rest_A=day_medians(np.where(rest, net, np.nan), LEAST_HOURS),
        full=near.sum(axis=1) >= LEAST_HOURS,
        hours=np.isfinite(volts).sum(axis=1),
    )


def first_cloud(bank, generator, count=BANKS):
    """Return the :class:`Cloud` before any data."""
    scale = bank.nominal_V / 12.0
    draw = generator.standard_normal
    return Cloud(
        capacity_Ah=bank.capacity_Ah * np.exp(CAPACITY_SIGMA * draw(count)),
        cold_per_K=bank.cold_per_K * np.exp(COLD_SIGMA * draw(count)),
        offset_V=OFFSET_V * scale * draw(count),
        span=np.maximum(1.0 + SPAN_SIGMA * draw(count), 0.3),
        bend=generator.uniform(0.0, 1.0, count),
        kept=np.clip(SHARE + SHARE_SIGMA * draw(count), 0.6, 1.0),
        charge=generator.uniform(0.5, 1.0, count),
        weight=np.full(count, 1.0 / count),
    )


def usable_share(cold_per_K, degrees):
    """Return the share of capacity that the cold leaves, as an array, at least a tenth."""
    return np.clip(1.0 - cold_per_K * (RATED_DEGC - degrees), 0.1, 1.0)


def left_V(bank, cloud, left, degrees):
    """Return the rest voltage of possible banks by the usable charge left, as an array. [V]

    The law of :func:`~.battery.rest_V` drawn towards a straight line by ``bend`` (0: the law's
    curve), stretched about that of the full bank by ``span`` and moved by ``offset_V``; falling
    steeply below none. A common bank's curve lies between both: gravity by charge is bent, makers
    of sealed banks draw straight lines.
    """
    full, empty = (rest_V(bank, share, degrees) for share in (1.0, 0.0))
    within = np.clip(left, 0.0, 1.0)
    law = rest_V(bank, within, degrees)
    law = law + cloud.bend * (empty + (full - empty) * within - law)
    law = law + COLLAPSE * bank.nominal_V * np.minimum(left, 0.0)
    return full + cloud.offset_V + cloud.span * (law - full)


def cloud_V(bank, cloud, degrees, current_A=0.0):
    """Return the voltage of each possible bank at a temperature and current (b,). [V]"""
    left = 1.0 - (1.0 - cloud.charge) / usable_share(cloud.cold_per_K, degrees)
    ohm = bank.resistance_ohm * 2.0 ** ((RATED_DEGC - degrees) / 40.0)
    return left_V(bank, cloud, left, degrees) + current_A * ohm


def settled(bank, cloud, nights, day):
    """Return the cloud with each voltage moved onto the last night's before a day.

    Where the law is off by the same for days, this is what it will be off tomorrow; without a night
    in the week before, the cloud as it is.
    """
    bank = plain_bank(bank)
    known = np.flatnonzero(np.isfinite(nights.rest_V[max(day - 7, 0) : day]))
    if known.size == 0:
        return cloud
    last = max(day - 7, 0) + int(known[-1])
    volts = cloud_V(bank, cloud, nights.rest_degC[last], nights.rest_A[last])
    return replace(cloud, offset_V=cloud.offset_V + nights.rest_V[last] - volts)


def fit_bank(bank, nights, generator, count=BANKS):
    """Return the :class:`BankCourse` of a bank through its days; each by data up to its own end.

    Parameters
    ----------
    bank : Bank
        By name plate.
    nights : Nights
    generator : numpy.random.Generator
    count : int
        Possible banks.

    Notes
    -----
    Charge grows by current times ``kept``, falls by current and self-discharge, is at most full,
    and walks a little. A night's voltage counts with sigma ``NIGHT_V`` to the power 1 /
    ``MEMORY_D``, since the law's error is the same for about so many days. A day without readings
    leaves the charge in doubt.
    """
    bank = plain_bank(bank)
    cloud = first_cloud(bank, generator, count)
    rows, clouds = [], []
    for day in range(nights.in_Ah.size):
        cloud = _moved(bank, cloud, nights, day, generator)
        cloud, misfit = _judged(bank, cloud, nights, day, generator)
        rows.append((*cloud.mean_sigma("capacity_Ah"), *cloud.mean_sigma("charge"), misfit))
        clouds.append(cloud)
    return BankCourse(*np.array(rows).T, tuple(clouds))


def _moved(bank, cloud, nights, day, generator):
    """Return the cloud after a day's currents."""
    count = cloud.charge.size
    silent = max(24 - int(nights.hours[day]), 0) / 24.0
    degrees = nights.rest_degC[day] if np.isfinite(nights.rest_degC[day]) else 0.0
    idle = float(self_discharge_per_s(bank, degrees)) * 86400.0
    gain = cloud.kept * nights.in_Ah[day] - nights.out_Ah[day]
    walk = WALK + 0.05 * silent
    charge = cloud.charge * (1.0 - idle) + gain / cloud.capacity_Ah
    charge = np.clip(charge + walk * generator.standard_normal(count), 0.02, 1.0)
    capacity = cloud.capacity_Ah * np.exp(CAPACITY_WALK * generator.standard_normal(count))
    return replace(cloud, charge=charge, capacity_Ah=capacity)


def _judged(bank, cloud, nights, day, generator):
    """Return (the cloud weighed by the day's voltage and spread anew where thin, misfit [V])."""
    logarithm, misfit = np.log(cloud.weight), np.nan
    if np.isfinite(nights.rest_V[day]):
        volts = cloud_V(bank, cloud, nights.rest_degC[day], nights.rest_A[day])
        off = (nights.rest_V[day] - volts) * 12.0 / bank.nominal_V
        misfit = float(cloud.weight @ off)
        logarithm = logarithm - 2.0 * np.log1p((off / NIGHT_V) ** 2 / 4.0) / MEMORY_D
    if nights.full[day]:
        logarithm = logarithm - 0.5 * ((1.0 - cloud.charge) / FULL_SIGMA) ** 2 / MEMORY_D
    weight = np.exp(logarithm - logarithm.max())
    cloud = replace(cloud, weight=weight / weight.sum())
    if 1.0 / (cloud.weight @ cloud.weight) < 0.5 * cloud.weight.size:
        cloud = _spread(cloud, generator)
    return cloud, misfit


def _spread(cloud, generator):
    """Return as many banks of equal weight, likely ones several times, each a little different."""
    count = cloud.weight.size
    place = (generator.uniform() + np.arange(count)) / count
    chosen = np.minimum(np.searchsorted(np.cumsum(cloud.weight), place), count - 1)
    drawn = {"charge": cloud.charge[chosen], "weight": np.full(count, 1.0 / count)}
    noise = np.sqrt(1.0 - SHRINK**2)
    for name in ("capacity_Ah", "cold_per_K", "offset_V", "span", "bend", "kept"):
        mean, sigma = cloud.mean_sigma(name)
        values = getattr(cloud, name)[chosen]
        drawn[name] = (
            mean + SHRINK * (values - mean) + noise * sigma * generator.standard_normal(count)
        )
    drawn["capacity_Ah"] = np.maximum(drawn["capacity_Ah"], 1.0)
    drawn["span"] = np.maximum(drawn["span"], 0.3)
    drawn["kept"] = np.clip(drawn["kept"], 0.5, 1.0)
    return Cloud(**drawn)
