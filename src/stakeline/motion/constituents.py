"""Tidal constituents: speeds, Greenwich arguments, nodal corrections, what a record can part.

Signs of the astronomical terms and sizes of their satellites come from the lines of the degree-2
potential in :mod:`stakeline.earth`; satellites of the third degree, which depend on latitude
(some 0.4 % of O1 at 70 deg), are left out.
"""

import functools
from dataclasses import dataclass, field

import numpy as np

from ..constants import NS_PER_DAY
from ..earth._tidal_lines import LINES
from ..earth.loading import doodson_arguments
from ..errors import SettingsError

_ARCSEC_CENTURY = {
    "l": 1717915923.2178,  # arcsec/century; IERS Conventions (2010), equation 5.43
    "l'": 129596581.0481,  # arcsec/century; IERS Conventions (2010), equation 5.43
    "F": 1739527262.8478,  # arcsec/century; IERS Conventions (2010), equation 5.43
    "D": 1602961601.2090,  # arcsec/century; IERS Conventions (2010), equation 5.43
    "Om": -6962890.5431,  # arcsec/century; IERS Conventions (2010), equation 5.43
}
_HOURS_CENTURY = 36525.0 * 24.0
SOLAR_DAY_H = 24.0  # h; definition
SIDEREAL_DAY_H = 23.9344696  # h; IERS Conventions (2010), table 1.1 (turn of the Earth)

_ASTRONOMICAL = {
    # tau, s, h, p, N', ps; Doodson (1921), Proc. R. Soc. A 100, 305, tables; names as in Foreman
    # (1977). In the order in which they are kept where a record cannot part them: MSF stands before
    # MF because ice streams answer at MSF (Gudmundsson 2006, Nature 444, 1063).
    "M2": (2, 0, 0, 0, 0, 0),
    "K1": (1, 1, 0, 0, 0, 0),
    "O1": (1, -1, 0, 0, 0, 0),
    "S2": (2, 2, -2, 0, 0, 0),
    "N2": (2, -1, 0, 1, 0, 0),
    "MSF": (0, 2, -2, 0, 0, 0),
    "MM": (0, 1, 0, -1, 0, 0),
    "P1": (1, 1, -2, 0, 0, 0),
    "K2": (2, 2, 0, 0, 0, 0),
    "MF": (0, 2, 0, 0, 0, 0),
    "Q1": (1, -2, 0, 1, 0, 0),
    "SSA": (0, 0, 2, 0, 0, 0),
    "SA": (0, 0, 1, 0, 0, 0),
    "NO1": (1, 0, 0, 1, 0, 0),
    "J1": (1, 2, 0, -1, 0, 0),
    "OO1": (1, 3, 0, 0, 0, 0),
    "MU2": (2, -2, 2, 0, 0, 0),
    "NU2": (2, -1, 2, -1, 0, 0),
    "L2": (2, 1, 0, -1, 0, 0),
    "2N2": (2, -2, 0, 2, 0, 0),
    "T2": (2, 2, -3, 0, 0, 1),
    "S1": (1, 1, -1, 0, 0, 0),
    "MSM": (0, 1, -2, 1, 0, 0),
    "2Q1": (1, -3, 0, 2, 0, 0),
    "SIG1": (1, -3, 2, 0, 0, 0),
    "RHO1": (1, -2, 2, -1, 0, 0),
    "CHI1": (1, 0, 2, -1, 0, 0),
    "PI1": (1, 1, -3, 0, 0, 1),
    "PSI1": (1, 1, 1, 0, 0, -1),
    "PHI1": (1, 1, 2, 0, 0, 0),
    "THE1": (1, 2, -2, 1, 0, 0),
    "TAU1": (1, -1, 2, 0, 0, 0),
    "BET1": (1, 0, -2, 1, 0, 0),
    "UPS1": (1, 4, 0, -1, 0, 0),
    "ALP1": (1, -4, 2, 1, 0, 0),
    "LDA2": (2, 1, -2, 1, 0, 0),
    "EPS2": (2, -3, 2, 1, 0, 0),
    "ETA2": (2, 3, 0, -1, 0, 0),
    "OQ2": (2, -3, 0, 3, 0, 0),
    "R2": (2, 2, -1, 0, 0, -1),
    "GAM2": (2, 0, -2, 2, 0, 0),
    "H1": (2, 0, -1, 0, 0, 1),
    "H2": (2, 0, 1, 0, 0, -1),
    "M3": (3, 0, 0, 0, 0, 0),
}
_SHALLOW = {
    # sums of the above; Foreman (1977), table of shallow-water constituents (from memory)
    "M4": {"M2": 2},
    "MS4": {"M2": 1, "S2": 1},
    "MN4": {"M2": 1, "N2": 1},
    "S4": {"S2": 2},
    "SN4": {"S2": 1, "N2": 1},
    "MK4": {"M2": 1, "K2": 1},
    "SK4": {"S2": 1, "K2": 1},
    "MK3": {"M2": 1, "K1": 1},
    "SK3": {"S2": 1, "K1": 1},
    "MO3": {"M2": 1, "O1": 1},
    "SO3": {"S2": 1, "O1": 1},
    "2MK5": {"M2": 2, "K1": 1},
    "2SK5": {"S2": 2, "K1": 1},
    "M6": {"M2": 3},
    "2MS6": {"M2": 2, "S2": 1},
    "2MN6": {"M2": 2, "N2": 1},
    "2SM6": {"S2": 2, "M2": 1},
    "2MK6": {"M2": 2, "K2": 1},
    "MSK6": {"M2": 1, "S2": 1, "K2": 1},
    "3MK7": {"M2": 3, "K1": 1},
    "M8": {"M2": 4},
    "MSN2": {"M2": 1, "S2": 1, "N2": -1},
    "MKS2": {"M2": 1, "K2": 1, "S2": -1},
    "SO1": {"S2": 1, "O1": -1},
}
NAMES = (*_ASTRONOMICAL, *_SHALLOW)
"""All constituents, the ones to be kept first before those that yield."""


@dataclass(frozen=True)
class Constituent:
    """One constituent; ``parts`` are the astronomical ones it is a sum of (itself where it is one).

    Attributes
    ----------
    doodson : int array, shape (6,)
        Multiples of tau, s, h, p, N', ps.
    speed_deg_h : float
        Angular speed at J2000. [deg/h]
    """

    name: str
    doodson: np.ndarray
    speed_deg_h: float
    parts: dict = field(default_factory=dict)

    @property
    def period_h(self):
        """Period. [h]"""
        return 360.0 / self.speed_deg_h

    @property
    def species(self):
        """Cycles a day, rounded: 0 slow, 1 diurnal, 2 semi-diurnal."""
        return int(self.doodson[0])


def _rates_deg_h():
    """Return the rates (6,) of tau, s, h, p, N', ps. [deg/h]"""
    rate = {name: value / 3600.0 / _HOURS_CENTURY for name, value in _ARCSEC_CENTURY.items()}
    s = rate["F"] + rate["Om"]
    h = s - rate["D"]
    return np.array([15.0 - rate["D"], s, h, s - rate["l"], -rate["Om"], h - rate["l'"]])


def constituent(name):
    """Return the :class:`Constituent` of a name such as ``M2``; SettingsError for an unknown one.

    Speeds follow from the rates of the fundamental arguments, IERS Conventions (2010), eq. 5.43.

    >>> round(constituent("M2").speed_deg_h, 7)
    28.9841042
    """
    if name not in NAMES:
        known = ", ".join(NAMES)
        raise SettingsError(f"'{name}' is no constituent known here; known are {known}")
    parts = _SHALLOW.get(name, {name: 1})
    doodson = sum(n * np.array(_ASTRONOMICAL[part]) for part, n in parts.items())
    return Constituent(name, doodson, float(doodson @ _rates_deg_h()), parts)


def equilibrium(name):
    """Return the amplitude of a constituent in the potential, relative to its species.

    One is K1 for the diurnal, M2 for the semi-diurnal, Mf for the slow ones; NaN where the
    potential of degree 2 has no such line.
    """
    match = np.flatnonzero((LINES[:, :6] == constituent(name).doodson).all(axis=1))
    return float(abs(LINES[match[0], 6])) if match.size else np.nan


def greenwich_terms(names, time_ns):
    """Return f exp(i (V + u)) of constituents at times, complex, shape (n, k); no unit.

    A constituent of amplitude A and Greenwich phase lag g contributes the real part of
    ``A exp(-i g)`` times this: f A cos(V + u - g).

    Parameters
    ----------
    names : sequence of str
        Constituents.
    time_ns : int64 array, shape (n,)
        GPS time. [ns]

    Notes
    -----
    V: Doodson's argument with the quarter turns that make all amplitudes of the potential
    positive, as in Doodson (1921) and Schureman (1958), table 2; S1 and SA have none: their phase
    counts from midnight UTC and from the mean longitude of the Sun. f and u: sum over the
    satellites of a line, those that differ in p, N', ps alone (Godin 1972; Foreman 1977, section
    2.1), at each time rather than at the middle. M3: f and u of M2 to the power 3/2 (Schureman
    1958, equation 149, from memory). Shallow-water terms: sums and products of their parts.
    """
    time_ns = np.atleast_1d(np.asarray(time_ns, np.int64))
    arguments = doodson_arguments(time_ns)
    wanted = [constituent(name) for name in names]
    parts = {part for c in wanted for part in c.parts}
    phasor = {part: _astronomical_term(part, arguments, time_ns) for part in parts}
    out = np.empty((time_ns.size, len(wanted)), complex)
    for column, c in enumerate(wanted):
        factors = [_signed(phasor[p], n) for p, n in c.parts.items() for _ in range(abs(n))]
        out[:, column] = functools.reduce(np.multiply, factors)
    return out


def _signed(phasor, count):
    return phasor if count > 0 else phasor.conj()


def nodal_terms(name, time_ns):
    """Return f exp(i u) of an astronomical constituent at times, complex (n,); no unit."""
    if name == "M3":
        return nodal_terms("M2", time_ns) ** 1.5
    delta, ratio = _satellites(name)
    if not delta.size:
        return np.ones(np.shape(time_ns), complex)
    return 1.0 + np.exp(1j * doodson_arguments(time_ns) @ delta.T) @ ratio


def _astronomical_term(name, arguments, time_ns):
    """Return f exp(i (V + u)) at times (n,) with Doodson's arguments (n, 6)."""
    angle = arguments @ np.array(_ASTRONOMICAL[name], float) + _quarter_turns_rad(name)
    return np.exp(1j * angle) * _nodal_between_days(name, time_ns)


def _nodal_between_days(name, time_ns):
    """Return f exp(i u) by straight lines between whole days: wrong by 1e-5 at most."""
    first, last = time_ns.min() // NS_PER_DAY, time_ns.max() // NS_PER_DAY + 1
    if last - first > time_ns.size:
        return nodal_terms(name, time_ns)
    node = np.arange(first, last + 1) * NS_PER_DAY
    value = nodal_terms(name, node)
    x = (time_ns - node[0]) / NS_PER_DAY
    days = np.arange(node.size, dtype=float)
    return np.interp(x, days, value.real) + 1j * np.interp(x, days, value.imag)


def _quarter_turns_rad(name):
    """Return what is added to Doodson's argument so that the potential's amplitude is positive."""
    if name in ("S1", "SA"):
        return 0.0
    if name == "M3":
        return np.pi  # Foreman (1977), table 1 (from memory)
    line = LINES[(LINES[:, :6] == _ASTRONOMICAL[name]).all(axis=1), 6]
    quarter = 0.5 * np.pi if _ASTRONOMICAL[name][0] == 1 else 0.0
    return quarter + (np.pi if line[0] < 0.0 else 0.0)


def _satellites(name):
    """Return differences (m, 6) and signed ratios (m,) of a constituent's satellites."""
    doodson = np.array(_ASTRONOMICAL[name])
    same = (LINES[:, :6] == doodson).all(axis=1)
    if name in ("S1", "SA") or not same.any():
        return np.empty((0, 6)), np.empty(0)
    near = (LINES[:, :3] == doodson[:3]).all(axis=1) & ~same
    return LINES[near, :6] - doodson, LINES[near, 6] / LINES[same, 6]


def parted(span_h, interval_h=0.0, *, rayleigh=1.0, shallow=True, names=NAMES):
    """Return (constituents that a record can part, {name left out: why}).

    Parameters
    ----------
    span_h, interval_h : float
        Length of the record and its usual interval; periods below two intervals are left out. [h]
    rayleigh : float
        Least difference of two speeds times the span, in cycles (Rayleigh's criterion).
    shallow : bool
        Whether shallow-water constituents are offered.
    names : sequence of str
        Those offered, the ones to be kept first before those that yield.
    """
    kept, left = [], {}
    for c in (constituent(n) for n in names if shallow or n not in _SHALLOW):
        cycles_h = c.speed_deg_h / 360.0
        apart = [(abs(cycles_h - k.speed_deg_h / 360.0) * span_h, k.name) for k in kept]
        nearest = min(apart, default=(np.inf, ""))
        if cycles_h * span_h < rayleigh:
            left[c.name] = f"its period of {c.period_h / 24.0:.1f} d is longer than the record"
        elif interval_h > 0.0 and c.period_h < 2.0 * interval_h:
            left[c.name] = f"its period of {c.period_h:.2f} h is below two intervals"
        elif nearest[0] < rayleigh:
            days = rayleigh / nearest[0] * span_h / 24.0
            left[c.name] = f"not to be parted from {nearest[1]} in less than {days:.1f} d"
        else:
            kept.append(c)
    order = sorted(kept, key=lambda c: c.speed_deg_h)
    return tuple(c.name for c in order), left


def alias_period_d(period_h, sampling_h=SOLAR_DAY_H):
    """Return the period that an oscillation shows where it is sampled too rarely. [d]

    Infinite where it looks constant.

    Frequencies fold about multiples of the sampling frequency: f' = abs(f - round(f dt) / dt).

    >>> round(float(alias_period_d(constituent("M2").period_h)), 2)
    14.77
    """
    cycles = sampling_h / np.asarray(period_h, float)
    folded = np.abs(cycles - np.round(cycles))
    with np.errstate(divide="ignore"):
        return np.where(folded < 1e-9, np.inf, sampling_h / 24.0 / folded)


def alias_table(names=("M2", "S2", "N2", "K2", "K1", "O1", "P1", "Q1", "S1"), shortest_h=48.0):
    """Return rows (name, period [h], alias in daily, in sidereal-day values [d]) of fast tides.

    A daily position folds each tide to the third column; errors of satellite geometry, which
    repeat with the sidereal day, fold against the tide as in the fourth. Constituents slower than
    ``shortest_h`` are not aliased by daily values and left out.
    """
    rows = []
    for c in (constituent(name) for name in names):
        if c.period_h < shortest_h:
            daily = float(alias_period_d(c.period_h))
            rows.append(
                (c.name, c.period_h, daily, float(alias_period_d(c.period_h, SIDEREAL_DAY_H)))
            )
    return rows
