"""The tide in front of the invented glacier, how it bends the tongue and how the flow answers.

Written apart from every other tide of the package: own arguments, from published mean longitudes.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..time import utc_from_gps
from .glacier import SEA_KG_M3

J2000_UTC_NS = 946728000 * 10**9  # ns; 2000-01-01T12:00
CENTURY_D = 36525.0  # d; Julian century, definition
# mean longitudes of the Moon s, the Sun h, the Moon's perigee p and node N: [deg], [deg/century];
# Meeus (1998), Astronomical Algorithms, eqs. 47.1, 25.2, 47.7 and chapter 22
LONGITUDES_DEG = np.array([218.3164477, 280.46646, 83.3532465, 125.04452])
RATES_DEG = np.array([481267.88123421, 36000.76983, 4069.0137287, -1934.136261])
# name: multiples of T (15 deg/h of UT from midnight, + 180), s, h, p; added angle [deg];
# Schureman (1958), Special Publication 98, table 2
ARGUMENTS = {
    "M2": (2, -2, 2, 0, 0.0),
    "S2": (2, 0, 0, 0, 0.0),
    "N2": (2, -3, 2, 1, 0.0),
    "K2": (2, 0, 2, 0, 0.0),
    "K1": (1, 0, 1, 0, -90.0),
    "O1": (1, -2, 1, 0, 90.0),
    "P1": (1, 0, -1, 0, 90.0),
    "Mf": (0, 2, 0, 0, 0.0),
}
# name: factor f = a + b cos N, angle u = c sin N [deg]; Pugh (1987), Tides, Surges and Mean
# Sea-Level, table 4:3; N2 goes with M2
NODAL = {
    "M2": (1.0, -0.037, -2.1),
    "S2": (1.0, 0.0, 0.0),
    "N2": (1.0, -0.037, -2.1),
    "K2": (1.024, 0.286, -17.7),
    "K1": (1.006, 0.115, -8.9),
    "O1": (1.009, 0.187, 10.8),
    "P1": (1.0, 0.0, 0.0),
    "Mf": (1.043, 0.414, -23.7),
}
# name: amplitude [m], lag behind the argument at Greenwich [deg]; invented
MEAN_TIDE = {
    "M2": (0.45, 125.0),
    "S2": (0.17, 168.0),
    "N2": (0.09, 98.0),
    "K2": (0.05, 165.0),
    "K1": (0.11, 215.0),
    "O1": (0.06, 172.0),
    "P1": (0.035, 212.0),
    "Mf": (0.02, 195.0),
}
YOUNG_PA = 0.88e9  # Pa; Vaughan (1995), J. Geophys. Res. 100, tidal bending of ice shelves
POISSON = 0.3  # -; the same
GRAVITY_M_S2 = 9.81  # m/s2; conventional, as in Vaughan (1995)
HINGE_THICKNESS_M = 480.0  # m; of the ice below the grounding line, invented as the glacier is
BULGE = 0.02  # -; greatest sinking up-glacier by the tide's height, invented
ANSWER_BY_TIDE = (
    0.09  # -; along-flow displacement at the grounding line by height of tide, invented
)
ANSWER_DECAY_M = 8000.0  # m; e-folding distance up-glacier, invented
ANSWER_LAG_S, ANSWER_WAVE_M_S = 3600.0, 2.5  # s, m/s; delay at the grounding line, then by way
FORTNIGHT_M = 0.03  # m; along-flow amplitude at the beat of M2 and S2 (MSf), invented, after what
FORTNIGHT_DECAY_M = 14000.0  # Gudmundsson (2006), Nature 444, saw up-glacier; m, invented
FORTNIGHT_LAG_S = 2.0 * 86400.0  # s; invented


@dataclass(frozen=True)
class Tide:
    """The ocean's tide: amplitudes [m] and lags at Greenwich [rad] in order of ``ARGUMENTS``.

    Amplitudes and arguments carry the nodal factors f and u of the 18.6 years.
    """

    amplitude_m: np.ndarray
    lag_rad: np.ndarray

    def parts_m(self, time_ns):
        """Return the height of each constituent at times (n,): (n, 8). [m]"""
        factor, phase = arguments(time_ns)
        return factor * self.amplitude_m * np.cos(phase - self.lag_rad)

    def height_m(self, time_ns):
        """Return the height of the tide at GPS times, any shape. [m]"""
        time_ns = np.asarray(time_ns, np.int64)
        return self.parts_m(time_ns.ravel()).sum(axis=1).reshape(time_ns.shape)

    def lift_m(self, time_ns, grounding_m):
        """Return how far the tide lifts ice at distances downstream of the grounding line. [m]"""
        return flexure(grounding_m) * self.height_m(time_ns)

    def answer_m(self, time_ns, grounding_m):
        """Return how far the tide displaces ice along the flow, positive downstream. [m]

        The tide's own rhythms, high water pushing back, dying out over 8 km up-glacier and later
        with distance; and a slow beat at the period of MSf, largest after springs, over 14 km. On
        the tongue as at the grounding line.

        Parameters
        ----------
        time_ns : array
            GPS time.
        grounding_m : float or array that fits ``time_ns``
            Distance downstream of the grounding line; negative on grounded ice.
        """
        time_ns = np.asarray(time_ns, np.int64)
        above = np.maximum(-np.asarray(grounding_m, float), 0.0)
        delay = ((ANSWER_LAG_S + above / ANSWER_WAVE_M_S) * 1e9).astype(np.int64)
        quick = -ANSWER_BY_TIDE * np.exp(-above / ANSWER_DECAY_M) * self.height_m(time_ns - delay)
        slow = FORTNIGHT_M * np.exp(-above / FORTNIGHT_DECAY_M)
        return quick + slow * np.cos(self._spring_rad(time_ns) - self._slow_lag_rad())

    def _spring_rad(self, time_ns):
        """Return the phase of spring and neap tides: 0 where M2 and S2 are high together. [rad]"""
        m2, s2 = (list(ARGUMENTS).index(name) for name in ("M2", "S2"))
        _, phase = arguments(time_ns.ravel())
        beat = (phase[:, s2] - self.lag_rad[s2]) - (phase[:, m2] - self.lag_rad[m2])
        return beat.reshape(time_ns.shape)

    @staticmethod
    def _slow_lag_rad():
        """Return the lag of the slow answer behind springs. [rad]"""
        speed = speeds_deg_h()
        return np.radians(speed["S2"] - speed["M2"]) * FORTNIGHT_LAG_S / 3600.0


def make_tide(rng):
    """Return a :class:`Tide` near the mean one: amplitudes within some 8 %, lags some 10 deg."""
    mean = np.array(list(MEAN_TIDE.values()))
    amplitude = mean[:, 0] * np.exp(0.08 * rng.standard_normal(len(mean)))
    lag = np.radians(mean[:, 1] + 10.0 * rng.standard_normal(len(mean)))
    return Tide(amplitude, lag)


def speeds_deg_h():
    """Return the speed of each constituent by name. [deg/h]"""
    rate = RATES_DEG[:3] / (CENTURY_D * 24.0)
    return {name: 15.0 * m[0] + float(np.dot(m[1:4], rate)) for name, m in ARGUMENTS.items()}


def longitudes_deg(time_ns):
    """Return the mean longitudes s, h, p, N (n, 4) at GPS times, not reduced to a turn. [deg]

    Linear in time; UTC is taken for both UT and dynamical time (70 s move the Moon 0.01 deg).
    """
    days = (utc_from_gps(time_ns) - J2000_UTC_NS) / NS_PER_DAY
    return LONGITUDES_DEG + days[:, None] / CENTURY_D * RATES_DEG


def arguments(time_ns):
    """Return nodal factors f and arguments V + u [rad] of the constituents: two (n, 8)."""
    time_ns = np.asarray(time_ns, np.int64)
    s_h_p_n = longitudes_deg(time_ns)
    hours = np.mod(utc_from_gps(time_ns), NS_PER_DAY) / NS_PER_DAY * 360.0 + 180.0
    table = np.array(list(ARGUMENTS.values()), float)
    angle = hours[:, None] * table[:, 0] + s_h_p_n[:, :3] @ table[:, 1:4].T + table[:, 4]
    mean, swing, turn = np.array(list(NODAL.values())).T
    node = np.radians(s_h_p_n[:, 3:])
    return mean + swing * np.cos(node), np.radians(angle + turn * np.sin(node))


def beam_b_m(thickness_m, young_pa=YOUNG_PA):
    """Return the wave number of bending of a floating plate. [1/m]

    (3 rho_water g (1 - nu^2) / (E h^3))^(1/4): Holdsworth (1969), J. Glaciol. 8; Vaughan (1995).
    """
    stiff = young_pa * np.asarray(thickness_m, float) ** 3
    return (3.0 * SEA_KG_M3 * GRAVITY_M_S2 * (1.0 - POISSON**2) / stiff) ** 0.25


def flexure(grounding_m, thickness_m=HINGE_THICKNESS_M):
    """Return the share of the tide that lifts the ice, by distance downstream of the hinge.

    Clamped elastic beam on water, 1 - exp(-b x) (cos b x + sin b x): Holdsworth (1969); Vaughan
    (1995), equation 2. Up-glacier the ice sinks by 2 % at most as the tide rises, and soon by
    nothing: a form of the shape that Sayag & Worster (2011, J. Fluid Mech. 673) find for a bed that
    gives way, with invented numbers; value and slope join at the grounding line.
    """
    x = beam_b_m(thickness_m) * np.asarray(grounding_m, float)
    out, up = np.maximum(x, 0.0), np.maximum(-x, 0.0)
    lifted = 1.0 - np.exp(-out) * (np.cos(out) + np.sin(out))
    return lifted - BULGE * (up / 2.0) ** 2 * np.exp(2.0 - up)
