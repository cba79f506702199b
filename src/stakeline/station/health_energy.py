"""Where a station's energy came from and went: real load, what parts bring, a balance of ten days.

Means of the past, each day by what is known at its end. What the meters count is held against what
the bank's voltage at rest says that it gained or lost; the rest is not explained: drains that no
meter sees, a shunt that is off, a bank that is not as it was.
"""

import numpy as np

from .battery import RATED_DEGC, self_discharge_per_s
from .box import film_W_m2_K, loss_in_air_W_K
from .health_fit import FULL_SIGMA, left_V, plain_bank, usable_share
from .health_forecast import takes_all, unheated_W
from .telemetry import DAY_H

SPAN_D, LOOSE_D = 10, 3  # d, of a balance, and by which it may be longer; own choice
MEAN_D, LONG_D = 10, 30  # d, of the load; of turbine and box, which tell on few; own choice
LEAST_D = 3  # d of those, to tell; own choice
TURNS_A = 0.03  # A; of a meter to 0.01 A, common practice
LEAST_WARMER_K = 0.5  # K, mean of box over air at which its loss is told; own choice
MOST_SILENT = 0.1  # -, of a balance's hours without readings; own choice
NIGHT_SIGMA = 0.004  # -, of the charge by a night's voltage; as the ageing bank's, measured
LAW_SIGMA = 0.2  # -, of what was stored, by the law's slope; set on seeds 8500 to 8519
FULL_AGAIN = 0.01  # -, of the charge, full at the same limit twice; set on the same
CHARGED_AH = 0.001  # -, of capacity in a day, to count as charged; own choice
WITHIN = 0.5  # -, of the possible banks, least whose law holds a night's voltage; own choice
TERMS = ("panel", "turbine", "load", "lost", "stored", "unexplained")
"""Of a balance: panel and turbine less load, lost and stored is unexplained, less its sign."""


def energy_days(hours, design, expected, nights, course):
    """Return each day's energy, load, shares and balance as columns (d,); NaN: cannot be told.

    Parameters
    ----------
    hours : Hours
    design : Design
    expected : Expected
    nights : Nights
    course : BankCourse

    Returns
    -------
    dict
        ``panel_Wh``, ``turbine_Wh``, ``load_Wh`` of the day; ``load_W`` without heater, mean of ten
        days; ``turbine_share`` of what the wind offers while it turns and the bank takes all, and
        ``box_loss_W_K``, of thirty days; each with its sigma and number of days;
        ``balance_..._Wh_d``, see :func:`balance_of`; ``charged``, ``full``: 1 or 0.
    """
    columns = {f"{name}_Wh": _day_Wh(hours, name) for name in ("panel", "turbine", "load")}
    load = _day_means(unheated_W(hours, design))
    columns |= _ratio("load", "_W", load, np.where(np.isfinite(load), 1.0, np.nan), MEAN_D)
    turbine = turbine_by_day(hours, design, expected, course.charge)
    columns |= _ratio("turbine_share", "", *turbine, LONG_D)
    columns |= _ratio("box_loss", "_W_K", *_box_by_day(hours), LONG_D)
    rows = [balance_of(design.bank, nights, course, columns, d) for d in range(hours.days)]
    for place, name in enumerate((*TERMS, "sigma")):
        columns[f"balance_{name}_Wh_d"] = np.array([row[place] for row in rows])
    columns["balance_days"] = np.array([row[-1] for row in rows])
    known = nights.hours > 0
    charged = nights.full | (nights.in_Ah >= CHARGED_AH * design.bank.capacity_Ah)
    columns["charged"] = np.where(known, charged, np.nan)
    columns["full"] = np.where(known, nights.full, np.nan)
    return columns


def designed_loss_W_K(design):
    """Return the loss of the box as designed, in 5 m/s. [W/K]"""
    return float(loss_in_air_W_K(design.box, film_W_m2_K(5.0)))


def _day_Wh(hours, name):
    """Return a part's energy by day; NaN where its meter tells of no hour. [W h]"""
    power = hours.by_day(f"{name}_A") * hours.by_day("battery_V")
    known = np.isfinite(power).any(axis=1)
    return np.where(known, np.nansum(power, axis=1), np.nan)


def _day_means(values, least=DAY_H // 2):
    """Return means by day of what is known; NaN with fewer than half of its hours."""
    rows = values.reshape(-1, DAY_H)
    count = np.isfinite(rows).sum(axis=1)
    mean = np.nansum(rows, axis=1) / np.maximum(count, 1)
    return np.where(count >= least, mean, np.nan)


def turbine_by_day(hours, design, expected, charge):
    """Return (measured, offered) by day while it turns and the bank takes all it gets. [W h]"""
    power, offered = hours.turbine_A * hours.battery_V, expected.turbine_W
    with np.errstate(invalid="ignore"):
        turns = takes_all(hours, design.bank, charge) & (hours.turbine_A > TURNS_A)
    turns &= np.isfinite(power) & (np.nan_to_num(offered) > 0.0)
    sums = [np.where(turns, x, 0.0).reshape(-1, DAY_H).sum(axis=1) for x in (power, offered)]
    return [np.where(turns.reshape(-1, DAY_H).any(axis=1), x, np.nan) for x in sums]


def _box_by_day(hours):
    """Return (load [W], box warmer than air [K]) by day."""
    power = _day_means(hours.load_A * hours.battery_V)
    warmer = _day_means(hours.box_degC - hours.air_degC)
    known = np.isfinite(power) & np.isfinite(warmer)
    enough = _sum_of_past(np.where(known, warmer, 0.0), LONG_D) > LEAST_WARMER_K * _sum_of_past(
        known, LONG_D
    )
    return power, np.where(known & enough, warmer, np.nan)


def _sum_of_past(values, days):
    """Return the sum of the last days, today's with it (d,)."""
    total = np.cumsum(np.asarray(values, float))
    return total - np.concatenate([np.zeros(min(days, total.size)), total[:-days]])


def _ratio(name, unit, over, under, days):
    """Return the ratio of sums of the last days, its sigma and days, as columns.

    Sigma: of a ratio of sums over days (Cochran 1977, Sampling Techniques, section 2.11; from
    memory).
    """
    known = np.isfinite(over) & np.isfinite(under)
    y, x = (np.where(known, one, 0.0) for one in (over, under))
    n, sy, sx, yy, xy, xx = (_sum_of_past(one, days) for one in (known, y, x, y * y, x * y, x * x))
    enough = (n >= LEAST_D) & (sx > 0.0)
    ratio = np.where(enough, sy / np.where(sx > 0.0, sx, 1.0), np.nan)
    spread = np.maximum(yy - 2.0 * ratio * xy + ratio**2 * xx, 0.0)
    sigma = np.sqrt(spread * n / np.maximum(n - 1.0, 1.0)) / np.where(sx > 0.0, sx, 1.0)
    return {f"{name}{unit}": ratio, f"{name}_sigma{unit}": sigma, f"{name}_days": n}


def balance_of(bank, nights, course, columns, day):
    """Return a balance at a day's end: means of :data:`TERMS`, sigma [W h/d], and its days.

    From the last night at rest of about ten days before to the last one now. Panels and turbine
    bring; the load takes; what charging does not keep and the bank loses by itself is lost; stored
    is the change by the voltage at rest of both nights. Unexplained: stored less what should have
    been. Sigma: of both nights' voltages and the possible banks' laws and capacities.

    Parameters
    ----------
    bank : Bank
    nights : Nights
    course : BankCourse
    columns : dict
        With the energies of each day.
    day : int

    Returns
    -------
    tuple
        NaN, and 0 days, where there is no night at rest, the logger was silent, or the voltage is
        below the law of an empty bank.
    """
    nothing = (*(np.nan,) * (len(TERMS) + 1), 0)
    span = night_before(nights, day, LOOSE_D), night_before(nights, day - SPAN_D, LOOSE_D)
    if None in span:
        return nothing
    last, first = span
    rows = slice(first + 1, last + 1)
    if nights.hours[rows].sum() < (1.0 - MOST_SILENT) * DAY_H * (last - first):
        return nothing
    stored, sigma = stored_Wh(bank, course.clouds[day], nights, first, last)
    days, volts = last - first, bank.nominal_V
    panel, turbine, load = (
        float(np.nansum(columns[f"{name}_Wh"][rows])) for name in ("panel", "turbine", "load")
    )
    mean = course.clouds[day].mean
    idle = self_discharge_per_s(bank, np.nan_to_num(nights.rest_degC[rows])) * 86400.0
    own = float((idle * course.charge[rows]).sum()) * mean.capacity_Ah * volts
    lost = (1.0 - mean.kept) * float(nights.in_Ah[rows].sum()) * volts + own
    off = stored - (panel + turbine - load - lost)
    if not np.isfinite(off):
        return nothing
    return (*(x / days for x in (panel, turbine, load, lost, stored, off, sigma)), days)


def night_before(nights, day, loose):
    """Return the last day that was full or has a night at rest, in ``loose`` days; None without."""
    rows = np.arange(max(day - loose, 0), max(day + 1, 0))
    known = rows[np.isfinite(nights.rest_V[rows]) | nights.full[rows]]
    return int(known[-1]) if known.size else None


def stored_Wh(bank, cloud, nights, first, last):
    """Return (what the bank gained between two nights by its voltage at rest, sigma). [W h]

    By each possible bank's own law, whose height and slope are wrong by the same on both nights;
    NaN where a night's voltage is below what most of them can have.
    """
    pairs = [_charges(plain_bank(bank), cloud, nights, night) for night in (first, last)]
    ends = [charge for charge, _ in pairs]
    inside = np.isfinite(ends[0]) & np.isfinite(ends[1])
    weight = np.where(inside, cloud.weight, 0.0)
    if weight.sum() < WITHIN:
        return np.nan, np.nan
    weight /= weight.sum()
    gained = np.where(inside, (ends[1] - ends[0]) * cloud.capacity_Ah, 0.0) * bank.nominal_V
    mean = float(weight @ gained)
    full = np.array([weight @ topped > WITHIN for _, topped in pairs])
    again = nights.full[first] and nights.full[last]
    each = np.where(full, FULL_AGAIN if again else FULL_SIGMA, NIGHT_SIGMA)
    night = np.hypot(*each) * cloud.mean.capacity_Ah * bank.nominal_V
    scatter = np.sqrt(weight @ (gained - mean) ** 2)
    return mean, float(np.linalg.norm([scatter, night, LAW_SIGMA * mean]))


def _charges(bank, cloud, nights, night):
    """Return (charge of each possible bank by a night's voltage, whether it is full) (b,).

    At or above the law's full end it is full; below its empty end it cannot be told, NaN.
    """
    if nights.full[night]:
        return np.ones(cloud.charge.size), np.ones(cloud.charge.size, bool)
    degrees = nights.rest_degC[night]
    ohm = bank.resistance_ohm * 2.0 ** ((RATED_DEGC - degrees) / 40.0)
    volts = nights.rest_V[night] - nights.rest_A[night] * ohm
    left = np.linspace(0.0, 1.0, 41)
    each = type(cloud)(*(getattr(cloud, name)[:, None] for name in cloud.__dataclass_fields__))
    laws = left_V(bank, each, left, degrees)
    place = np.clip((laws < volts).sum(axis=1), 1, left.size - 1)
    row = np.arange(place.size)
    low, high = laws[row, place - 1], laws[row, place]
    now = left[place - 1] + (volts - low) / np.maximum(high - low, 1e-9) * (left[1] - left[0])
    now = np.where(now >= 0.0, np.minimum(now, 1.0), np.nan)
    return 1.0 - (1.0 - now) * usable_share(cloud.cold_per_K, degrees), now >= 1.0
