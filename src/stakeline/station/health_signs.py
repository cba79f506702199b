"""Signs of trouble in a logger's hours that need no design: voltage, box, gaps, snow, tilt.

Nominal voltage is told from the readings. All limits are common practice unless a source stands
beside them; each sign names the figures that raised it.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import DAYS_PER_YEAR
from .burial import Rise, burial
from .health_parts import Finding, runs
from .telemetry import DAY_H, day_medians

HIGH_V = 15.6  # V of 12; above what a compensated controller gives in the deepest cold
RIPPLE_V, RIPPLE_TIMES = 0.4, 4.0  # V of 12, and by the scatter without charge
PULSE_V, PULSE_DAYS = 0.5, 5  # V of 12 below the hours beside it; d of eight
ALIVE_V = 12.2  # V of 12; a bank at rest with a third left
CLAMP_V, CLAMP_DAYS, CLAMP_SHARE = 13.2, 20, 0.04  # V of 12; d; share of hours at the very top
WET_PERCENT, WET_D = 99.5, 5  # %; d
COLD_DEGC, COLLAPSE_V_K, COLLAPSE_V = -22.0, 0.06, 11.5  # degC, V/K, V of 12
LEAN_DEG, LEAN_MORE_DEG = 10.0, 3.0  # deg; deg in ten days
CHARGING_A = 0.1  # A; by which a bank counts as charged

HIGH, RIPPLE, PULSE, TRIP, CLAMP, WET, COLLAPSE, LEAN, MUTE = (
    "too much voltage",
    "fake low battery: the supply ripples",
    "voltage falls as a load starts",
    "went dark with a bank that was not empty",
    "never charged full",
    "water in the box",
    "voltage collapses in the cold",
    "mast leans",
    "awake but recording nothing",
)


def scale_of(volts):
    """Return nominal voltage over 12 told by readings: 1, 2 or 4; 1 where there are none."""
    known = volts[np.isfinite(volts)]
    if known.size == 0:
        return 1.0
    return float(min((1.0, 2.0, 4.0), key=lambda s: abs(np.log(np.median(known) / (13.0 * s)))))


def signs_of(hours, recorded_days=None):
    """Return the tuple of :class:`~.health_parts.Finding` of all signs.

    Parameters
    ----------
    hours : Hours
    recorded_days : set of int, optional
        Days, counted from the first of the hours, of which receiver files hold epochs.
    """
    volts = hours.battery_V / scale_of(hours.battery_V)
    charging = np.nan_to_num(hours.panel_A) + np.nan_to_num(hours.turbine_A) > CHARGING_A
    found = [*_high(hours, volts), *_ripple(volts, charging), *_pulse(hours, volts)]
    found += [*_trip(hours, volts), *_clamp(volts, charging), *_wet(hours)]
    found += [*_collapse(hours, volts), *_lean(hours), *_mute(hours, volts, recorded_days)]
    return tuple(sorted(found, key=lambda one: (one.told, one.kind)))


def _spans(kind, flags, why, join_d=10, least=1):
    """Return findings of days flagged, runs less than ``join_d`` days apart as one."""
    days = np.flatnonzero(flags)
    if days.size < least:
        return []
    cuts = np.flatnonzero(np.diff(days) > join_d) + 1
    return [
        Finding(kind, int(part[0]), int(part[min(least, part.size) - 1]), int(part[-1]), why(part))
        for part in np.split(days, cuts)
        if part.size >= least
    ]


def _rows_of(part):
    return slice(part[0] * DAY_H, (part[-1] + 1) * DAY_H)


def _high(hours, volts):
    with np.errstate(invalid="ignore"):
        flags = (volts > HIGH_V).reshape(-1, DAY_H).any(axis=1)

    def why(part):
        rows = _rows_of(part)
        top, wind = np.nanmax(volts[rows]), hours.wind_m_s[rows]
        storm = np.isfinite(wind).any() and np.nanmean(wind[volts[rows] > HIGH_V]) > 12.0
        reason = "in wind: the turbine's regulator or dump load" if storm else "the regulator"
        return f"up to {top:.1f} V of a nominal 12, {reason}; gassing bank, receiver at risk"

    return _spans(HIGH, flags, why, join_d=40)


def _ripple(volts, charging):
    step = np.abs(np.diff(volts, prepend=np.nan))
    both = charging & np.roll(charging, 1)
    daily = _median_by_day(step, both)
    quiet = _median_by_day(step, ~charging)
    quiet = np.nanmedian(quiet) if np.isfinite(quiet).any() else 0.05
    with np.errstate(invalid="ignore"):
        flags = (daily > RIPPLE_V) & (daily > RIPPLE_TIMES * max(quiet, 0.02))

    def why(part):
        return (
            f"readings jump by {np.nanmedian(daily[part]):.1f} V from hour to hour while it is "
            f"charged, by {quiet:.2f} V otherwise: the meter samples a regulator's ripple, and a "
            "receiver may stop at good voltage"
        )

    return _spans(RIPPLE, flags, why, least=3)


def _median_by_day(values, chosen):
    return day_medians(np.where(chosen, values, np.nan).reshape(-1, DAY_H), 4)


def _pulse(hours, volts):
    low = hours.low_V / scale_of(hours.battery_V)
    beside = np.minimum(np.roll(volts, 1), np.roll(volts, -1))
    with np.errstate(invalid="ignore"):
        falls = (beside - low > PULSE_V).reshape(-1, DAY_H)
    alone = falls & (falls.sum(axis=1) <= 3)[:, None]
    counts = np.cumsum(np.vstack([np.zeros((1, DAY_H)), alone]), axis=0)
    flags = np.zeros(len(falls), bool)
    clock = np.zeros(len(falls), int)
    for day in range(8, len(falls) + 1):
        inside = counts[day] - counts[day - 8]
        clock[day - 1] = int(np.argmax(inside))
        flags[day - 1] = inside.max() >= PULSE_DAYS

    def why(part):
        hour = int(np.median(clock[part]))
        least = np.nanmin(low.reshape(-1, DAY_H)[part, hour])
        return (
            f"down to {least:.1f} V of 12 in the hour from {hour:02d}:00 on most days, as a modem "
            "dials: thin cable, bad contact or tired bank; nothing else may start below its limit"
        )

    return _spans(PULSE, flags, why)


def _trip(hours, volts):
    found = []
    silent = hours.rows == 0
    for first, last in runs(silent):
        if last - first + 1 < DAY_H or first < DAY_H:
            continue
        before = volts[first - 3 : first]
        day_before = volts[first - DAY_H : first - DAY_H + 3]
        if not np.isfinite(before).any():
            continue
        last_v = float(np.nanmedian(before))
        fell = np.nanmedian(day_before) - last_v if np.isfinite(day_before).any() else 0.0
        if last_v >= ALIVE_V and fell < 0.3:
            day = int(first // DAY_H)
            why = (
                f"went dark at {last_v:.1f} V of 12 for {(last - first + 1) / DAY_H:.0f} d: not "
                "empty, so breaker, fuse, plug or logger"
            )
            found.append(Finding(TRIP, day, day + 1, int(last // DAY_H), why))
    return found


def _clamp(volts, charging):
    rows, charged = volts.reshape(-1, DAY_H), charging.reshape(-1, DAY_H).sum(axis=1)
    count = len(rows)
    top = np.array([np.nanmax(r) if np.isfinite(r).any() else np.nan for r in rows])
    flags = np.zeros(count, bool)
    for day in range(CLAMP_DAYS, count + 1):
        window = slice(day - CLAMP_DAYS, day)
        if not np.isfinite(top[window]).all() or (charged[window] < 4).sum() > CLAMP_DAYS // 4:
            continue
        highest = top[window].max()
        flags[day - 1] = highest < CLAMP_V and (rows[window] == highest).mean() > CLAMP_SHARE

    def why(part):
        return (
            f"charge stops at {np.nanmax(top[part]):.2f} V of 12, the same for weeks: a limit set "
            "too low or without compensation for the cold; the bank sulphates and holds less"
        )

    return _spans(CLAMP, flags, why)


def _wet(hours):
    damp = hours.by_day("humidity_percent")
    known = np.isfinite(damp).sum(axis=1) >= DAY_H // 2
    least = np.array([np.nanmin(r) if k else np.nan for r, k in zip(damp, known, strict=True)])
    with np.errstate(invalid="ignore"):
        flags = least >= WET_PERCENT

    def why(part):
        return (
            f"humidity stands at 100 % for {part.size} d: water in the box or on the sensor; look "
            "for a leak, drain it, dry the plugs"
        )

    return _spans(WET, flags, why, least=WET_D, join_d=1)


def _collapse(hours, volts):
    """Voltage that follows the cold, below what any load explains."""
    box, window = hours.box_degC, 15 * DAY_H
    flags = np.zeros(hours.days, bool)
    slopes = np.full(hours.days, np.nan)
    with np.errstate(invalid="ignore"):
        cold = np.isfinite(volts) & np.isfinite(box) & (box < COLD_DEGC)
    for day in range(1, hours.days + 1):
        rows = slice(max(day * DAY_H - window, 0), day * DAY_H)
        chosen = cold[rows]
        today = volts[(day - 1) * DAY_H : day * DAY_H]
        low = np.isfinite(today).any() and np.nanmin(today) < COLLAPSE_V
        if chosen.sum() < 2 * DAY_H or not low or np.ptp(box[rows][chosen]) < 4.0:
            continue
        x = box[rows][chosen] - box[rows][chosen].mean()
        y = volts[rows][chosen] - volts[rows][chosen].mean()
        slopes[day - 1] = x @ y / (x @ x)
        fit = (x @ y) ** 2 / ((x @ x) * max(y @ y, 1e-9))
        flags[day - 1] = slopes[day - 1] > COLLAPSE_V_K and fit > 0.5

    def why(part):
        return (
            f"{np.nanmedian(slopes[part]):.2f} V less for each degree of cold in the box, down to "
            f"{np.nanmin(volts[_rows_of(part)]):.1f} V of 12: frozen or failing cells; a discharged"
            " bank freezes and must not be charged before it has thawed and been checked"
        )

    return _spans(COLLAPSE, flags, why)


def _lean(hours):
    daily = day_medians(hours.by_day("tilt_deg"))
    flags = np.zeros(daily.size, bool)
    for day in range(daily.size):
        past = daily[max(day - 10, 0) : day]
        more = daily[day] - np.nanmedian(past) if np.isfinite(past).any() else 0.0
        flags[day] = bool(daily[day] > LEAN_DEG or more > LEAN_MORE_DEG)

    def why(part):
        return f"{daily[part[-1]]:.1f} deg from the vertical: guys, anchors, melt, snow load"

    return _spans(LEAN, flags, why)


def _mute(hours, volts, recorded_days):
    """Awake by its logger, but without receiver files between days that have some."""
    if not recorded_days:
        return []
    inside = np.arange(min(recorded_days) + 1, max(recorded_days))
    flags = np.zeros(hours.days, bool)
    for day in inside[(inside >= 0) & (inside < hours.days)]:
        rows = slice(day * DAY_H, (day + 1) * DAY_H)
        awake = (hours.rows[rows] > 0).sum() >= DAY_H - 2 and np.nanmedian(volts[rows]) > ALIVE_V
        flags[day] = awake and int(day) not in recorded_days

    def why(part):
        return (
            f"{part.size} d without receiver files while the logger tells of good voltage: does it "
            "log on boot, is the card full, is the receiver switched off?"
        )

    return _spans(MUTE, flags, why, join_d=1)


@dataclass(frozen=True)
class SnowOutlook:
    """How the snow rises at a station, and when it reaches its parts.

    ``rise_m``: since the first day; ``rate_m_a`` and its sigma; ``passages``: by part.
    """

    rise_m: float
    rate_m_a: float
    sigma_m_a: float
    passages: tuple


def snow_outlook(hours, heights_m, generator, years=5.0, least_days=60):
    """Return the :class:`SnowOutlook` by a sonic ranger; None with less than two months of it.

    Parameters
    ----------
    hours : Hours
    heights_m : dict of float
        Height of each part above the surface of the first day. [m]
    generator : numpy.random.Generator
    years : float
        Looked ahead.
    least_days : int

    Notes
    -----
    A line through daily medians; snow comes in steps, so its sigma is that of a walk of the
    surface's own monthly changes, and of one year about the mean.
    """
    daily = hours.by_day("snow_distance_m")
    known = np.isfinite(daily).sum(axis=1) >= 3
    day = np.flatnonzero(known)
    if day.size < least_days or day[-1] - day[0] < least_days:
        return None
    surface = -day_medians(daily)[day]
    span_a = (day[-1] - day[0]) / DAYS_PER_YEAR
    rate = float(np.polyfit(day / DAYS_PER_YEAR, surface, 1)[0])
    monthly = np.interp(np.arange(day[0], day[-1] + 1, 30), day, surface)
    sigma = float(np.std(np.diff(monthly)) * np.sqrt(DAYS_PER_YEAR / 30.0) / np.sqrt(span_a))
    rise = float(np.median(surface[-5:]) - np.median(surface[:5]))
    left = {part: height - rise for part, height in heights_m.items() if height > rise}
    passages = ()
    if rate + 2.0 * sigma > 0.0 and left:
        doubt = Rise(max(rate, 0.0), sigma, 0.3 * abs(rate))
        passages = tuple(burial(left, doubt, years, generator))
    return SnowOutlook(rise, rate, sigma, passages)
