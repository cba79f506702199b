"""How ice that floats answers to the pressure of the air: the term, and what the heights say.

The answer is taken out of the positions before they are smoothed: a smoother takes that part of it
which changes within hours for noise. The budget holds it as a term.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import INVERSE_BAROMETER_M_HPA, NS_PER_DAY
from .surroundings import AirPressure
from .vertical import inverse_barometer_term

LONGEST_GAP_H = 6.0  # h, gaps of the pressure that a straight line bridges; our choice
FEWEST_DAYS = 10  # changes from day to day below which no share is told; our choice
CONTRADICTS_SIGMAS = 3.0  # -, our choice


@dataclass(frozen=True, eq=False)
class AirAnswer:
    """The answer of one station: a share of the inverse barometer, with its sigma.

    ``mean_hPa``: pressure at which it is zero. ``air``: in order of time, all rows there.
    """

    air: AirPressure
    share: float
    sigma: float
    mean_hPa: float

    def bridged_m(self, time_ns):
        """Return the answer (n,) by straight lines through all gaps, level beyond the ends. [m]"""
        pressure = np.interp(time_ns, self.air.time_ns, self.air.pressure_hPa)
        return -INVERSE_BAROMETER_M_HPA * self.share * (pressure - self.mean_hPa)

    def term(self, time_ns):
        """Return the Term at times (n,), NaN in gaps and beyond the ends."""
        pressure = pressure_at(time_ns, self.air)
        return inverse_barometer_term(
            pressure, self.share, self.sigma, self.air.name, mean_hPa=self.mean_hPa
        )


def air_answer(time_ns, settings, air):
    """Return (AirAnswer or None, sentences) of a station with positions at times (n,).

    ``settings.barometer_share`` is NaN for ice that does not float: then there is no answer, and
    nothing is said. Its mean is that of the pressure at the positions.
    """
    share, sigma = settings.barometer_share, settings.barometer_share_sigma
    if not np.isfinite(share):
        return None, ()
    if air is None:
        return None, ("inverse barometer: no pressure of the air is known; it is left in",)
    there = np.isfinite(air.pressure_hPa)
    known, first = np.unique(np.asarray(air.time_ns, np.int64)[there], return_index=True)
    air = AirPressure(air.name, known, np.asarray(air.pressure_hPa, float)[there][first])
    pressure = pressure_at(time_ns, air)
    whole = np.isfinite(pressure)
    if not whole.any():
        return None, (
            f"inverse barometer: {air.name}: no pressure at the times of the positions; it is left "
            "in",
        )
    lacking = 100.0 * (1.0 - whole.mean())
    said = (
        f"inverse barometer: no pressure for {lacking:.1f} % of the positions; no residual up is "
        "given there",
    )
    return AirAnswer(air, share, sigma, float(pressure[whole].mean())), said * bool(lacking)


def pressure_at(time_ns, air):
    """Return the pressure (m,) at times, NaN in gaps of the record and beyond its ends. [hPa]

    ``air`` in order of time, all rows there.
    """
    known = air.time_ns
    if not known.size:
        return np.full(len(time_ns), np.nan)
    after = np.clip(np.searchsorted(known, time_ns), 1, max(len(known) - 1, 1))
    last, first = known[np.minimum(after, len(known) - 1)], known[after - 1]
    inside = (time_ns >= known[0]) & (time_ns <= known[-1])
    inside &= (last - first <= LONGEST_GAP_H / 24.0 * NS_PER_DAY) | (last == time_ns)
    return np.where(inside, np.interp(time_ns, known, air.pressure_hPa), np.nan)


def share_seen(time_ns, height_m, answer_m):
    """Return (share, sigma) by which heights follow what floating ice would do.

    Parameters
    ----------
    time_ns : array (m,)
        Regular. [ns]
    height_m : array (m,)
        Heights that no smoother has touched, NaN missing. [m]
    answer_m : array (m,)
        Of ice afloat; NaN missing. [m]

    Returns
    -------
    share, sigma : float
        Least squares of changes from day to day, an offset (a steady rate) left free; changes of
        successive days count as independent. NaN from too few days.
    """
    step = max(round(NS_PER_DAY / (time_ns[1] - time_ns[0])), 1) if len(time_ns) > 1 else 1
    count = len(time_ns) // step
    daily = [
        np.asarray(values[: count * step], float).reshape(count, step).mean(axis=1)
        for values in (height_m, answer_m)
    ]
    rise, answer = (np.diff(values) for values in daily)
    whole = np.isfinite(rise) & np.isfinite(answer)
    rise, answer = rise[whole], answer[whole]
    if len(rise) < FEWEST_DAYS or np.ptp(answer) == 0.0:
        return np.nan, np.nan
    answer = answer - answer.mean()
    share = answer @ rise / (answer @ answer)
    left = rise - rise.mean() - share * answer
    return float(share), float(np.sqrt(left @ left / (len(rise) - 2) / (answer @ answer)))


def share_words(seen, seen_sigma, share, sigma):
    """Return the sentence (tuple) about what the heights themselves say of a share."""
    if not np.isfinite(seen):
        return ()
    words = f"inverse barometer: heights follow the pressure with a share of {seen:.2f} "
    words += f"+-{seen_sigma:.2f}, given is {share:.2f}"
    far = abs(seen - share) > CONTRADICTS_SIGMAS * np.hypot(seen_sigma, sigma)
    return (f"{words}: they contradict it; does the station float?" if far else words,)
