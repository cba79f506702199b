"""How ice that floats answers to the pressure of the air: the term, and what the heights say."""

import numpy as np

from ..constants import INVERSE_BAROMETER_M_HPA, NS_PER_DAY
from ..errors import SolutionError
from .vertical import inverse_barometer_term

LONGEST_GAP_H = 6.0  # h, gaps of the pressure that a straight line bridges; our choice
FEWEST_DAYS = 10  # changes from day to day below which no share is told; our choice
CONTRADICTS_SIGMAS = 3.0  # -, our choice


def pressure_at(time_ns, air):
    """Return the pressure (m,) at times, NaN in gaps of the record and beyond its ends. [hPa]

    Raises SolutionError where the record holds nothing at these times.
    """
    there = np.isfinite(air.pressure_hPa)
    known = np.asarray(air.time_ns, np.int64)[there]
    order = np.argsort(known, kind="stable")
    known, value = known[order], np.asarray(air.pressure_hPa, float)[there][order]
    if not known.size or known[0] > time_ns[-1] or known[-1] < time_ns[0]:
        raise SolutionError(f"{air.name}: no pressure at the times of the positions")
    after = np.clip(np.searchsorted(known, time_ns), 1, max(len(known) - 1, 1))
    before, after = known[after - 1], known[np.minimum(after, len(known) - 1)]
    inside = (time_ns >= known[0]) & (time_ns <= known[-1])
    inside &= (after - before <= LONGEST_GAP_H / 24.0 * NS_PER_DAY) | (after == time_ns)
    return np.where(inside, np.interp(time_ns, known, value), np.nan)


def barometer(time_ns, known_m, settings, air):
    """Return (tuple of the term or of nothing, sentences) of a station.

    Parameters
    ----------
    time_ns : array (m,)
        Regular. [ns]
    known_m : array (m,)
        Height with tide and antenna taken off. [m]
    settings : MotionSettings
        Its ``barometer_share`` is NaN for ice that does not float: then there is no term.
    air : AirPressure or None
    """
    share, sigma = settings.barometer_share, settings.barometer_share_sigma
    if not np.isfinite(share):
        return (), ()
    if air is None:
        return (), ("inverse barometer: no pressure of the air is known; the term is left out",)
    try:
        pressure = pressure_at(time_ns, air)
    except SolutionError as problem:
        return (), (f"inverse barometer: {problem}; the term is left out",)
    said = []
    lacking = np.isnan(pressure) & np.isfinite(known_m)
    if lacking.any():
        said.append(
            f"inverse barometer: no pressure for {100.0 * lacking.sum() / len(pressure):.1f} % of "
            "the times; no residual up is given there"
        )
    said += _compared(time_ns, known_m, pressure, share, sigma)
    return (inverse_barometer_term(pressure, share, sigma, air.name),), tuple(said)


def share_seen(time_ns, height_m, pressure_hPa):
    """Return (share, sigma) by which heights follow the pressure: 1 afloat, 0 on the ground.

    Least squares of changes from day to day of heights on those of pressure, an offset (a steady
    rate) left free; changes of successive days count as independent. NaN from too few days.
    """
    step = max(round(NS_PER_DAY / (time_ns[1] - time_ns[0])), 1) if len(time_ns) > 1 else 1
    count = len(time_ns) // step
    daily = [
        np.asarray(values[: count * step], float).reshape(count, step).mean(axis=1)
        for values in (height_m, pressure_hPa)
    ]
    rise, change = (np.diff(values) for values in daily)
    whole = np.isfinite(rise) & np.isfinite(change)
    rise, answer = rise[whole], -INVERSE_BAROMETER_M_HPA * change[whole]
    if len(rise) < FEWEST_DAYS or np.ptp(answer) == 0.0:
        return np.nan, np.nan
    answer = answer - answer.mean()
    share = answer @ rise / (answer @ answer)
    left = rise - rise.mean() - share * answer
    return float(share), float(np.sqrt(left @ left / (len(rise) - 2) / (answer @ answer)))


def _compared(time_ns, height_m, pressure_hPa, share, sigma):
    """Return the sentence about what the heights themselves say of the share."""
    seen, seen_sigma = share_seen(time_ns, height_m, pressure_hPa)
    if not np.isfinite(seen):
        return []
    words = f"inverse barometer: heights follow the pressure with a share of {seen:.2f} "
    words += f"+-{seen_sigma:.2f}, given is {share:.2f}"
    far = abs(seen - share) > CONTRADICTS_SIGMAS * np.hypot(seen_sigma, sigma)
    return [f"{words}: they contradict it; does the station float?" if far else words]
