"""Daily waves that follow the sun and not the tide: heated masts, reflections, power, melt."""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from .constituents import constituent, equilibrium, greenwich_terms
from .likelihood import thinned
from .tide_inference import equilibrium_inference
from .tides import predict

ROWS = 20_000  # means of the record that are compared; our choice
DECIDED = np.log(100.0)  # -, log likelihood ratio that is called decided; our choice
TIMES = 2.0  # times the neighbour by the potential, above which a wave is suspicious; our choice
SEEN = 3.0  # amplitude over sigma
NEIGHBOURS = {"K1": "O1", "S2": "M2"}  # of the same species, and not by the sun alone
DAILY = ("K1", "P1", "S1")


@dataclass(frozen=True)
class SolarWave:
    """A wave of a day or half a day that may be the sun's; one axis.

    ``ratio``: its amplitude over that of the neighbour among the tides, ``expected``: the same in
    the tide's potential; NaN without a neighbour. ``log_odds``: natural logarithm of the likelihood
    of the mean solar day over that of the tide's days (K1, with P1 as in the potential); NaN where
    the record cannot tell. ``hour``: local mean solar time of its maximum; NaN without longitude.
    """

    constituent: str
    amplitude_m: float
    sigma_m: float
    ratio: float
    expected: float
    log_odds: float
    hour: float
    remark: str


def solar_waves(axis, rows_ns, longitude_rad):
    """Return the :class:`SolarWave` of K1, S1 and S2 of one axis, as far as they were estimated.

    Parameters
    ----------
    axis : AxisMotion
        With its tides and what is left at the rows.
    rows_ns : int64 array (n,)
        [ns]
    longitude_rad : float
        NaN: no hours are told.

    Notes
    -----
    The potential has S2 at 0.465 of M2 and K1 at 1.41 of O1 (Cartwright & Edden 1973, Geophys. J.
    R. astr. Soc. 33, 253), and neighbours are answered nearly alike (Munk & Cartwright 1966): more
    than twice that is suspicious. S1 has under 1 % of K1 (from memory), so one that is seen is.
    K1 differs from the solar day by a day in a year: in a third of a year the phase turns by 120
    deg, which tells them apart before S1 can be estimated beside K1.
    """
    tides = axis.tides
    if tides is None:
        return ()
    odds = _solar_day_odds(axis, rows_ns)
    found = []
    for name in ("K1", "S1", "S2"):
        if name not in tides.names:
            continue
        k = tides.names.index(name)
        size, sigma = float(tides.amplitude[k]), float(tides.amplitude_sigma[k])
        ratio = expected = np.nan
        beyond = size > SEEN * sigma and name == "S1"
        other = NEIGHBOURS.get(name)
        if other in tides.names:
            j = tides.names.index(other)
            ratio = size / max(float(tides.amplitude[j]), 1e-9)
            expected = equilibrium(name) / equilibrium(other)
            most = TIMES * expected * (tides.amplitude[j] + SEEN * tides.amplitude_sigma[j])
            beyond = size - SEEN * sigma > most
        own = odds if name == "K1" and size > SEEN * sigma else np.nan
        hour = _hour(tides, name, longitude_rad)
        remark = _remark(name, other, ratio / expected, beyond, own)
        found.append(SolarWave(name, size, sigma, ratio, expected, own, hour, remark))
    return tuple(found)


def _solar_day_odds(axis, rows_ns):
    """Return the log odds of the solar day against K1 with P1 in the daily wave of an axis."""
    tides, good = axis.tides, np.isfinite(axis.row_residual_m)
    if "K1" not in tides.names or "S1" in tides.names or good.sum() < 50:
        return np.nan
    rows = thinned(rows_ns[good], axis.row_residual_m[good], np.ones(good.sum()), None, ROWS)
    time_ns, daily = rows[0], [name for name in DAILY if name in tides.names]
    value = rows[1] + predict(tides, time_ns, names=daily)
    inferred = equilibrium_inference("P1", "K1")
    terms = greenwich_terms(("K1", "P1"), time_ns)
    tide = terms[:, 0] + inferred.ratio * terms[:, 1]
    sun = np.exp(2j * np.pi * (time_ns % NS_PER_DAY) / NS_PER_DAY)
    left = []
    for wave in (tide, sun):
        design = np.stack([np.ones(len(time_ns)), wave.real, wave.imag], axis=1)
        best = np.linalg.lstsq(design, value, rcond=None)[0]
        left.append(float(((value - design @ best) ** 2).sum()))
    # the sigma of an amplitude holds the noise near its line: s^2 of a row is N/2 of its square
    noise = 0.5 * len(time_ns) * float(tides.amplitude_sigma[tides.names.index("K1")]) ** 2
    return 0.5 * (left[0] - left[1]) / noise


def _hour(tides, name, longitude_rad):
    """Return the local mean solar time of the maximum about the middle of the record. [h]"""
    if not np.isfinite(longitude_rad):
        return np.nan
    period_ns = constituent(name).period_h * NS_PER_DAY / 24.0
    steps = np.arange(288) / 288.0
    times = (tides.middle_ns + steps * period_ns).astype(np.int64)
    top = times[np.argmax(predict(tides, times, names=(name,)))]
    hour = (top % NS_PER_DAY) / NS_PER_DAY * 24.0 + np.degrees(longitude_rad) / 15.0
    return float(hour % (12.0 if name == "S2" else 24.0))


def _remark(name, other, times, beyond, odds):
    """Return what makes a wave suspicious; "" where nothing does."""
    if odds > DECIDED:
        return "follows the sun and not K1"
    if beyond and name == "S1":
        return "no tide to speak of has this period: the sun's"
    if beyond and not odds < -DECIDED:
        return f"{times:.1f} times what {other} lets expect"
    return ""


def solar_warnings(name, waves):
    """Return the sentences on waves of an axis that look like the sun's."""
    said = [
        f"{w.constituent} {1e3 * w.amplitude_m:.1f} +-{1e3 * w.sigma_m:.1f} mm {w.remark}"
        + (f", greatest at {w.hour:.1f} h of local solar time" if np.isfinite(w.hour) else "")
        for w in waves
        if w.remark
    ]
    if not said:
        return ()
    melt = ", or melt that drives the ice" if name != "across" else ""
    return (
        f"{name}: {'; '.join(said)}: look at heating of the mast, reflections and power{melt} "
        "before it is called a tide",
    )
