"""Satellite states from navigation messages, each system by its interface document.

Which instant a broadcast clock belongs to differs between systems. Here it is made to fit an
ionosphere-free pair of codes:

* GPS: L1 and L2 (P codes) need nothing; the clock refers to them (IS-GPS-200N, 20.3.3.3.3.2).
  With L5 instead of L2 an offset of some decimetres, constant over days, stays.
* Galileo: E1 and E5a need nothing with F/NAV; from I/NAV (E1 and E5b) both group delays of the
  message turn the clock from one pair to the other (OS SIS ICD 2.1, section 5.1.5).
* BeiDou: the clock refers to B3I; a pair takes its share of TGD1 and TGD2 (ICD B1I 3.0, 5.2.4.10).
* GLONASS: the clock refers to L1; the offset to the pair is left in (some ns, absorbed in part by
  a bias between systems); relativity is contained in its clock (ICD 5.1, section 4.4).

Positions are of the antennas' phase centre.
"""

import numpy as np

from ..constants import EARTH_ROTATION_RAD_S, FREQUENCY_HZ, NS_PER_S
from ..tables import SYSTEMS
from ._broadcast_kernels import glonass_states, kepler_states

ORBIT = (
    *("sqrt_a", "eccentricity", "m0", "delta_n", "omega0", "i0", "omega", "omega_dot", "i_dot"),
    *("cuc", "cus", "crc", "crs", "cic", "cis", "toe_sow", "a_dot", "delta_n_dot"),
)
"""Quantities of a Kepler message, in the order of the kernel."""

_STATE = ("x", "y", "z", "vx", "vy", "vz", "ax", "ay", "az")

_GM_M3_S2 = {
    "G": 3.986005e14,  # m3/s2; IS-GPS-200N, table 20-IV
    "E": 3.986004418e14,  # m3/s2; Galileo OS SIS ICD 2.1, section 5.1.1
    "C": 3.986004418e14,  # m3/s2; BeiDou ICD B1I 3.0, table 5-11
    "J": 3.986005e14,  # m3/s2; IS-QZSS-PNT-005, section 5.5.1
    "I": 3.986005e14,  # m3/s2; NavIC SPS ICD 1.1, appendix B
}
_OMEGA_RAD_S = {
    "G": 7.2921151467e-5,  # rad/s; IS-GPS-200N, table 20-IV
    "E": 7.2921151467e-5,  # rad/s; Galileo OS SIS ICD 2.1, section 5.1.1
    "C": 7.2921150e-5,  # rad/s; BeiDou ICD B1I 3.0, table 5-11
    "J": 7.2921151467e-5,  # rad/s; IS-QZSS-PNT-005, section 5.5.1
    "I": 7.2921151467e-5,  # rad/s; NavIC SPS ICD 1.1, appendix B
}
_GLONASS = (
    3.986004418e14,  # m3/s2; GLONASS ICD 5.1, table 3.2
    6378136.0,  # m; same
    1.08262575e-3,  # -, second zonal harmonic; same
    7.292115e-5,  # rad/s; same
)
_SPAN_S = {
    "G": (7200.0, 7200.0),  # s; half the fit interval, IS-GPS-200N, table 20-XI
    "E": (1800.0, 10800.0),  # s; under the 4 h of OS SIS ICD 2.1; measured: worse beyond and before
    "C": (3600.0, 7200.0),  # s; hourly update, BeiDou ICD B1I 3.0, and one missed; common practice
    "J": (7200.0, 7200.0),  # s; as GPS
    "I": (7200.0, 7200.0),  # s; as GPS
    "R": (1800.0, 1800.0),  # s; twice the 15 min of GLONASS ICD 5.1, section 4.4; common practice
}
"""How long before and after its reference time a message is used. [s]"""

# Kinds of message in order of preference; the first that a satellite has is used alone.
_KINDS = {
    "G": ("LNAV", "CNAV", "CNV2"),
    "E": ("FNAV", "INAV"),
    "C": ("D1", "D2", "CNV1", "CNV2", "CNV3"),
    "J": ("LNAV", "CNAV", "CNV2"),
    "I": ("LNAV", "L1NV"),
    "R": ("FDMA",),
}
_USUAL_BANDS = {"E": ("E01", "E05"), "C": ("C02", "C06")}
_HEALTH_BITS = {"FNAV": 0b000111000, "INAV": 0b111000111}  # RINEX 3.05, table A8


def choose_messages(messages, satellites, time_ns):
    """Return the row of the message to use for each epoch and satellite, -1 where none fits.

    The nearest in reference time within the system's limits; where that one says the satellite is
    unhealthy there is none.

    Parameters
    ----------
    messages : BroadcastMessages
    satellites : array of int, shape (m,)
    time_ns : int64 array, shape (n,)
        Times. [ns]
    """
    time_ns = np.asarray(time_ns, np.int64)
    choice = np.full((time_ns.size, len(satellites)), -1, np.int64)
    healthy = _healthy(messages)
    for j, satellite in enumerate(satellites):
        system = SYSTEMS[int(satellite) // 100]
        rows = np.flatnonzero(messages.satellites == satellite)
        kinds = [k for k in _KINDS.get(system, ()) if (messages.kind[rows] == k).any()]
        if not kinds:
            continue
        rows = rows[messages.kind[rows] == kinds[0]]
        rows = rows[
            np.lexsort((messages.transmission_ns[rows], messages.time_of_ephemeris_ns[rows]))
        ]
        toe = messages.time_of_ephemeris_ns[rows]
        early_s, late_s = _SPAN_S[system]
        after = np.searchsorted(toe, time_ns, side="left").clip(0, rows.size - 1)
        before = (np.searchsorted(toe, time_ns, side="right") - 1).clip(0)
        to_come, passed = np.abs(toe[after] - time_ns), np.abs(time_ns - toe[before])
        fits_after = (toe[after] >= time_ns) & (to_come <= early_s * NS_PER_S)
        fits_before = (toe[before] <= time_ns) & (passed <= late_s * NS_PER_S)
        take_after = fits_after & (~fits_before | (to_come < passed))
        nearest = toe[np.where(take_after, after, before)]
        row = rows[np.searchsorted(toe, nearest, side="right") - 1]  # the last sent of its time
        choice[:, j] = np.where((fits_after | fits_before) & healthy[row], row, -1)
    return choice


def _healthy(messages):
    """Return whether each message says its satellite's signals are healthy."""
    health = np.nan_to_num(messages.values[:, messages.columns.index("health")], nan=0.0)
    bits = np.full(health.size, -1, np.int64)
    for kind, relevant in _HEALTH_BITS.items():
        bits[messages.kind == kind] = relevant
    return (health.astype(np.int64) & bits) == 0


def broadcast_orbits(broadcast, satellites, time_ns, reference_ns):
    """Return pseudo-inertial states from messages and which message gave each.

    Parameters
    ----------
    broadcast : Broadcast
    satellites : array of int, shape (m,)
    time_ns : int64 array, shape (n,)
        Times. [ns]
    reference_ns : int
        Instant at which the axes are Earth-fixed. [ns]

    Returns
    -------
    position_m, velocity_m_s : arrays, shape (n, m, 3)
        NaN where there is no message.
    choices : tuple of two int arrays, shape (n, m)
        Rows in ``broadcast.kepler`` and ``broadcast.state_vector``.
    """
    time_ns = np.asarray(time_ns, np.int64)
    shape = (time_ns.size, len(satellites), 3)
    position, velocity = np.full(shape, np.nan), np.full(shape, np.nan)
    base_s = (time_ns - reference_ns) / NS_PER_S
    kepler, vectors = broadcast.kepler, broadcast.state_vector
    choices = tuple(choose_messages(table, satellites, time_ns) for table in (kepler, vectors))
    if (choices[0] >= 0).any():
        letter = [SYSTEMS[s // 100] for s in kepler.satellites]
        kepler_states(
            base_s,
            choices[0],
            (kepler.time_of_ephemeris_ns - reference_ns) / NS_PER_S,
            _columns(kepler, ORBIT),
            np.array([_GM_M3_S2[s] for s in letter]),
            np.array([_OMEGA_RAD_S[s] for s in letter]),
            kepler.kind == "D2",
            EARTH_ROTATION_RAD_S,
            position,
            velocity,
        )
    if (choices[1] >= 0).any():
        reference_s = (vectors.time_of_ephemeris_ns - reference_ns) / NS_PER_S
        rows, turn = _columns(vectors, _STATE), EARTH_ROTATION_RAD_S
        glonass_states(base_s, choices[1], reference_s, rows, _GLONASS, turn, position, velocity)
    return position, velocity, choices


def _columns(messages, names):
    """Return the named columns, contiguous."""
    return np.ascontiguousarray(messages.values[:, [messages.columns.index(n) for n in names]])


def broadcast_clocks(broadcast, satellites, transmission_ns, choices, bands=None):
    """Return clock biases for an ionosphere-free pair, and where relativity is to be added.

    Parameters
    ----------
    broadcast : Broadcast
    satellites : array of int, shape (m,)
    transmission_ns : int64 array, shape (n, m)
        Transmission times. [ns]
    choices : tuple of int arrays, shape (n, m)
        From :func:`broadcast_orbits`.
    bands : sequence of (str, str), optional
        Pair of each satellite in ANTEX names; default E1/E5a for Galileo, B1I/B3I for BeiDou.

    Returns
    -------
    clock_s : array, shape (n, m)
    relative : bool array, shape (m,)
        False for GLONASS, whose clocks contain relativity.
    """
    clock = np.full(np.shape(transmission_ns), np.nan)
    kepler, vectors = broadcast.kepler, broadcast.state_vector
    use, row = choices[0] >= 0, np.maximum(choices[0], 0)
    if use.any():
        a0, a1, a2 = np.moveaxis(_columns(kepler, ("af0", "af1", "af2"))[row], -1, 0)
        dt = (transmission_ns - kepler.time_of_clock_ns[row]) / NS_PER_S
        shift = _group_delays(kepler, satellites, row, bands)
        clock = np.where(use, a0 + a1 * dt + a2 * dt * dt + shift, clock)
    use, row = choices[1] >= 0, np.maximum(choices[1], 0)
    if use.any():
        a0, a1 = np.moveaxis(_columns(vectors, ("af0", "gamma"))[row], -1, 0)
        dt = (transmission_ns - vectors.time_of_clock_ns[row]) / NS_PER_S
        clock = np.where(use, a0 + a1 * dt, clock)
    return clock, np.asarray(satellites) // 100 != SYSTEMS.index("R")


def _group_delays(messages, satellites, row, bands):
    """Return what to add to the broadcast clocks (n, m) to fit the pair of codes. [s]"""
    delay = np.nan_to_num(_columns(messages, ("tgd", "tgd2")))[row]
    shift = np.zeros(row.shape)
    for j, satellite in enumerate(satellites):
        system = SYSTEMS[int(satellite) // 100]
        pair = tuple(bands[j]) if bands is not None else _USUAL_BANDS.get(system)
        first, second = delay[:, j, 0], delay[:, j, 1]
        if system == "E":
            to_a = np.where(messages.kind[row[:, j]] == "INAV", first - second, 0.0)
            shift[:, j] = to_a if pair == ("E01", "E05") else to_a + second - first
        elif system == "C":
            f1, f2 = (FREQUENCY_HZ[f"C{band[2]}"] ** 2 for band in pair)
            legacy = np.isin(messages.kind[row[:, j]], ("D1", "D2"))  # others: left in
            of_band = {"C02": np.where(legacy, first, 0.0), "C07": np.where(legacy, second, 0.0)}
            share = f1 * of_band.get(pair[0], 0.0) - f2 * of_band.get(pair[1], 0.0)
            shift[:, j] = -share / (f1 - f2)
    return shift
