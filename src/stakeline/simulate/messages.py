"""What the invented satellites say of themselves: navigation messages, fitted to their orbits.

The orbit of a message is worked out here by the interface documents' formula, apart from the
estimator's. Messages hold for the phase centre of the ionosphere-free pair.
"""

import numpy as np

from ..constants import EARTH_ROTATION_RAD_S, FREQUENCY_HZ, NS_PER_S, SPEED_OF_LIGHT_M_S
from ..tables import KEPLER_COLUMNS, STATE_COLUMNS, Broadcast, BroadcastMessages
from ..time import gps_week
from .antenna import body_axes
from .observe import SIGNALS
from .products import Errors, Imperfection
from .sky import to_fixed

# Kind of message, seconds between messages, seconds from the reference time to transmission,
# accuracy [m] that it claims: IS-GPS-200N, section 20.3.4.5; Galileo as files of 2024 show it.
KINDS = {"G": ("LNAV", 7200, -7200, 2.0), "E": ("INAV", 3600, 600, 3.12)}
GM_M3_S2 = {
    "G": 3.986005e14,  # m3/s2; IS-GPS-200N, table 20-IV
    "E": 3.986004418e14,  # m3/s2; Galileo OS SIS ICD 2.1, section 5.1.1
}
USUAL = Imperfection((0.35, 0.8, 0.5), 0.45, 0.0)  # m; 1 m in all, 1.5 ns: common knowledge
LEAP_SECONDS = 18  # s, since 2017; IERS Bulletin C 52

_FIT_S = np.arange(-7200.0, 7201.0, 900.0)  # s about the reference time, as a fit of four hours
_CLOCK_FIT_S = 3600.0  # s, to both sides
_TURNS = 3
_RCOND = 1e-11
_KEPLER_TURNS = 8
_UNKNOWN = (
    *("sqrt_a", "ex", "ey", "lam", "delta_n", "node", "i0", "omega_dot", "i_dot"),
    *("cuc", "cus", "crc", "crs", "cic", "cis"),
)
# About a metre of each: sqrt(a), e cos and sin of perigee, perigee plus anomaly, ...
_STEP = np.array(
    [1e-4, *[4e-8] * 3, 5e-12, *[4e-8] * 2, *[5e-12] * 2, *[4e-8] * 2, 1, 1, 4e-8, 4e-8]
)


def messages_of(world, rng, first_ns, last_ns, imperfection=USUAL):
    """Return the :class:`~stakeline.tables.Broadcast` of a span, both ends covered.

    Parameters
    ----------
    world : World
    rng : numpy.random.Generator
    first_ns, last_ns : int
        GPS time. [ns]
    imperfection : Imperfection
        Errors of the orbits, waves of 10 to 14 h, radial, along and across; of the clocks
        ``clock_m``, by chance in each message.

    Notes
    -----
    Reference times are whole multiples of the system's interval, :data:`KINDS`. The fit is of
    fifteen numbers to four hours, by least squares. Clocks are straight lines through two hours of
    the true ones, as far as these are known. Codes have no biases, so group delays are 0.
    """
    parts = [
        _of_system(world, rng, letter, first_ns, last_ns, imperfection)
        for letter in KINDS
        if (world.letters == letter).any()
    ]
    satellite, toe_ns, sent_ns, kind, values = (np.concatenate(p) for p in zip(*parts, strict=True))
    order = np.lexsort((toe_ns, satellite))
    kepler = BroadcastMessages(
        satellite[order],
        toe_ns[order],
        toe_ns[order],
        sent_ns[order],
        kind[order],
        values[order],
        KEPLER_COLUMNS,
    )
    return Broadcast(kepler, _no_state_vectors(), leap_seconds=LEAP_SECONDS)


def _no_state_vectors():
    none = np.empty(0, np.int64)
    satellites, kind = none.astype(np.int16), none.astype("U4")
    values = np.empty((0, len(STATE_COLUMNS)))
    return BroadcastMessages(satellites, none, none, none, kind, values, STATE_COLUMNS)


def _of_system(world, rng, letter, first_ns, last_ns, imperfection):
    """Return (satellites, reference times, transmission, kinds, values) of one system."""
    by_orbit, by_clock = rng.spawn(2)
    kind, every_s, sent_s, accuracy_m = KINDS[letter]
    every_ns = every_s * NS_PER_S
    toe_ns = every_ns * np.arange(first_ns // every_ns, -(-last_ns // every_ns) + 1)
    toe_s = (toe_ns - world.sky.start_ns) / NS_PER_S
    columns = np.flatnonzero(world.letters == letter)
    orbit = _fitted(world, by_orbit, columns, toe_s, imperfection, letter)
    week, of_week_s = gps_week(toe_ns)
    shape = toe_ns.size, columns.size
    node = orbit["node"] + EARTH_ROTATION_RAD_S * of_week_s[:, None]
    values = _keplerian(orbit) | {"omega0": np.remainder(node + np.pi, 2.0 * np.pi) - np.pi}
    af0, af1 = _clock_lines(world, columns, toe_s)
    af0 = af0 + by_clock.normal(0.0, imperfection.clock_m / SPEED_OF_LIGHT_M_S, shape)
    number = (toe_ns // every_ns % 240)[:, None]  # -, never repeated within a day
    values |= {"af0": af0, "af1": af1, "toe_sow": of_week_s[:, None], "week": week[:, None]}
    values |= {"accuracy_m": accuracy_m, "iode": number}
    values |= {"iodc": number, "tgd2": np.nan} if letter == "G" else {"iodc": np.nan}
    table = [np.broadcast_to(values.get(name, 0.0), shape).ravel() for name in KEPLER_COLUMNS]
    times = np.repeat(toe_ns, columns.size)
    satellites = np.tile(world.constellation.satellites[columns], toe_ns.size)
    kinds = np.full(times.size, kind)
    return satellites, times, times + sent_s * NS_PER_S, kinds, np.stack(table, axis=1)


def _keplerian(orbit):
    """Return the quantities of the messages from those of the fit."""
    perigee = np.arctan2(orbit["ey"], orbit["ex"])
    anomaly = np.remainder(orbit["lam"] - perigee + np.pi, 2.0 * np.pi) - np.pi
    derived = {"eccentricity": np.hypot(orbit["ex"], orbit["ey"]), "omega": perigee, "m0": anomaly}
    return {name: orbit[name] for name in _UNKNOWN if name in KEPLER_COLUMNS} | derived


def phase_centres(world, columns, time_s):
    """Return Earth-fixed phase centres (n, k, 3) of the ionosphere-free pair at times (n,). [m]

    ``columns`` (k,) are of satellites of one system.
    """
    position, _ = world.constellation.states(np.asarray(time_s)[:, None], columns)
    return to_fixed(_with_offset(world, columns, time_s, position), np.asarray(time_s)[:, None])


def _with_offset(world, columns, time_s, position):
    letter = world.letters[columns[0]]
    bands = [letter + signal[0] for signal in SIGNALS[letter]]
    square = np.array([FREQUENCY_HZ[band] ** 2 for band in bands])
    share = square * [1.0, -1.0] / (square[0] - square[1])
    sender = world.satellite_antennas
    offset = sum(s * sender.offset_m[b][columns] for s, b in zip(share, bands, strict=True))
    axes = body_axes(position, world.sky.sun(time_s)[:, None])
    return position + sum(offset[:, k, None] * axes[k] for k in range(3))


def _fitted(world, rng, columns, toe_s, imperfection, letter):
    """Return the fitted quantities by name, each (reference times, satellites)."""
    time_s = (toe_s[:, None] + _FIT_S).ravel()
    position, velocity = world.constellation.states(time_s[:, None], columns)
    errors = Errors(rng, columns.size, imperfection).orbit_m(time_s, position, velocity)
    there = _with_offset(world, columns, time_s, position) + errors
    fixed = to_fixed(there, time_s[:, None]).reshape(toe_s.size, _FIT_S.size, columns.size, 3)
    target = np.moveaxis(fixed, 2, 1).reshape(-1, _FIT_S.size, 3)
    guess = _first_guess(world.constellation, columns, toe_s, GM_M3_S2[letter])
    gm = GM_M3_S2[letter]
    inverse = _inverse(guess, gm)  # the guess is metres off: no need to find it anew
    for _ in range(_TURNS):
        apart = target - message_orbit(guess, _FIT_S, gm)
        guess = guess + (inverse @ apart.reshape(len(guess), -1, 1))[..., 0]
    return dict(zip(_UNKNOWN, guess.T.reshape(-1, toe_s.size, columns.size), strict=True))


def _first_guess(constellation, columns, toe_s, gm):
    """Return the elements of the true orbits at the reference times, (messages, 15)."""
    c, when = constellation, toe_s[:, None]
    node_rate, perigee_rate, anomaly_rate = (rate[columns] for rate in c.rates())
    perigee = c.perigee_rad[columns] + perigee_rate * when
    anomaly = c.anomaly_rad[columns] + anomaly_rate * when
    node = c.node_rad[columns] + (node_rate - EARTH_ROTATION_RAD_S) * when
    a, e = c.semi_major_m[columns], c.eccentricity[columns]
    faster = perigee_rate + anomaly_rate - np.sqrt(gm / a**3)
    parts = [np.sqrt(a), e * np.cos(perigee), e * np.sin(perigee), perigee + anomaly, faster]
    parts += [node, c.inclination_rad[columns], node_rate, *[0.0] * 7]
    return np.stack([np.broadcast_to(p, perigee.shape).ravel() for p in parts], axis=1)


def _inverse(guess, gm):
    """Return what turns errors of points into steps by least squares, (messages, 15, points)."""
    model = message_orbit(guess, _FIT_S, gm)
    design = np.empty((*model.shape, _STEP.size))
    for k, step in enumerate(_STEP):
        moved = guess.copy()
        moved[:, k] += step
        design[..., k] = message_orbit(moved, _FIT_S, gm) - model
    inverse = np.linalg.pinv(design.reshape(len(guess), -1, _STEP.size), rcond=_RCOND)
    return inverse * _STEP[:, None]


def message_orbit(quantities, time_s, gm):
    """Return Earth-fixed points (messages, times, 3) at times from the reference time. [m]

    ``quantities`` (messages, 15): sqrt(a), e cos and e sin of the perigee, perigee plus mean
    anomaly, change of motion, longitude of the node at the reference time, inclination, rates of
    both, the six harmonic corrections. IS-GPS-200N, table 20-IV.
    """
    root, ex, ey, lam, faster, node, tilt, node_rate, tilt_rate, *harmonic = quantities.T[..., None]
    e, perigee = np.hypot(ex, ey), np.arctan2(ey, ex)
    mean = lam - perigee + (np.sqrt(gm) / root**3 + faster) * time_s
    eccentric = mean
    for _ in range(_KEPLER_TURNS):
        eccentric = mean + e * np.sin(eccentric)
    cosine = np.cos(eccentric)
    u = np.arctan2(np.sqrt(1.0 - e**2) * np.sin(eccentric), cosine - e) + perigee
    c, s = np.cos(2.0 * u), np.sin(2.0 * u)
    cuc, cus, crc, crs, cic, cis = harmonic
    radius = root**2 * (1.0 - e * cosine) + crc * c + crs * s
    u = u + cuc * c + cus * s
    tilt = tilt + tilt_rate * time_s + cic * c + cis * s
    node = node + (node_rate - EARTH_ROTATION_RAD_S) * time_s
    x, y = radius * np.cos(u), radius * np.sin(u)
    cn, sn, across = np.cos(node), np.sin(node), y * np.cos(tilt)
    return np.stack([x * cn - across * sn, x * sn + across * cn, y * np.sin(tilt)], axis=-1)


def _clock_lines(world, columns, toe_s):
    """Return bias [s] and drift [s/s] at reference times, each (times, satellites)."""
    first_s = np.clip(toe_s - _CLOCK_FIT_S, 0.0, max(world.duration_s - _CLOCK_FIT_S, 0.0))
    last_s = np.clip(toe_s + _CLOCK_FIT_S, min(_CLOCK_FIT_S, world.duration_s), world.duration_s)
    share = np.linspace(0.0, 1.0, 25)
    time_s = first_s[:, None] + (last_s - first_s)[:, None] * share
    bias = world.clocks.bias_s(time_s.ravel())[:, columns].reshape(*time_s.shape, -1)
    since = time_s - time_s.mean(axis=1, keepdims=True)
    drift = np.einsum("nt,ntm->nm", since, bias) / np.sum(since**2, axis=1)[:, None]
    away = toe_s - time_s.mean(axis=1)
    return bias.mean(axis=1) + drift * away[:, None], drift
