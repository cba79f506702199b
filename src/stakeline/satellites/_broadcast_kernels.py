"""Compiled orbits of navigation messages: plain arrays in, output arrays filled."""

import math

import numpy as np

from ..compiling import njit

_ICD_STEP_S = 60.0  # s; step of integration of GLONASS, ICD 5.1, appendix J allows up to this


@njit
def kepler_point(message, t, gm, omega, geostationary, out):
    """Fill ``out`` (3,) with the Earth-fixed position ``t`` seconds after the reference time.

    ``message`` is a row in the order of :data:`stakeline.satellites.broadcast.ORBIT`.
    IS-GPS-200N, table 20-IV; the Galileo and BeiDou documents repeat it. Geostationary BeiDou:
    ICD B1I 3.0, table 5-11.
    """
    a = message[0] ** 2 + message[16] * t
    e = message[1]
    motion = math.sqrt(gm / message[0] ** 6) + message[3] + 0.5 * message[17] * t
    mean = message[2] + motion * t
    anomaly = mean + e * math.sin(mean)
    for _ in range(10):
        change = (anomaly - e * math.sin(anomaly) - mean) / (1.0 - e * math.cos(anomaly))
        anomaly -= change
        if abs(change) < 1e-8:  # Newton squares the error: 1e-16 is left
            break
    true = math.atan2(math.sqrt(1.0 - e * e) * math.sin(anomaly), math.cos(anomaly) - e)
    u = true + message[6]
    s, c = math.sin(2.0 * u), math.cos(2.0 * u)
    u += message[10] * s + message[9] * c
    r = a * (1.0 - e * math.cos(anomaly)) + message[12] * s + message[11] * c
    inclination = message[5] + message[8] * t + message[14] * s + message[13] * c
    x, y = r * math.cos(u), r * math.sin(u)
    node = message[4] + message[7] * t - omega * message[15]
    if not geostationary:
        node -= omega * t
    ci, sn, cn = math.cos(inclination), math.sin(node), math.cos(node)
    px, py, pz = x * cn - y * ci * sn, x * sn + y * ci * cn, y * math.sin(inclination)
    if geostationary:
        ct, st = math.cos(math.radians(5.0)), -math.sin(math.radians(5.0))
        cw, sw = math.cos(omega * t), math.sin(omega * t)
        py, pz = ct * py + st * pz, ct * pz - st * py
        px, py = cw * px + sw * py, cw * py - sw * px
    out[0], out[1], out[2] = px, py, pz


@njit
def kepler_states(base_s, choice, reference_s, messages, gm, omega, special, turn, out, rate):
    """Fill pseudo-inertial ``out`` and ``rate`` (n, m, 3); ``choice`` (n, m) is the message row.

    ``reference_s``, ``gm``, ``omega`` and ``special`` (geostationary) are per message; ``turn``
    is the rotation rate of the pseudo-inertial axes. The velocity is a difference over 1 s.
    """
    point = np.empty(3)
    for i in range(base_s.size):
        for j in range(choice.shape[1]):
            k = choice[i, j]
            if k < 0:
                continue
            for sign in (-1.0, 1.0, 0.0):
                t = base_s[i] + 0.5 * sign
                kepler_point(messages[k], t - reference_s[k], gm[k], omega[k], special[k], point)
                c, s = math.cos(turn * t), math.sin(turn * t)
                x, y = c * point[0] - s * point[1], s * point[0] + c * point[1]
                if sign == 0.0:
                    out[i, j, 0], out[i, j, 1], out[i, j, 2] = x, y, point[2]
                elif sign < 0.0:
                    rate[i, j, 0], rate[i, j, 1], rate[i, j, 2] = -x, -y, -point[2]
                else:
                    rate[i, j, 0] += x
                    rate[i, j, 1] += y
                    rate[i, j, 2] += point[2]


@njit
def glonass_rate(state, pull, gm, radius, j2, omega, out):
    """Fill ``out`` (6,) by GLONASS ICD 5.1, equations of section A.3.1.2, Earth-fixed."""
    x, y, z = state[0], state[1], state[2]
    r2 = x * x + y * y + z * z
    mu = gm / (r2 * math.sqrt(r2))
    flat = 1.5 * j2 * mu * radius * radius / r2
    up = 5.0 * z * z / r2
    out[0], out[1], out[2] = state[3], state[4], state[5]
    out[3] = (-mu - flat * (1.0 - up) + omega * omega) * x + 2.0 * omega * state[4] + pull[0]
    out[4] = (-mu - flat * (1.0 - up) + omega * omega) * y - 2.0 * omega * state[3] + pull[1]
    out[5] = (-mu - flat * (3.0 - up)) * z + pull[2]


@njit
def glonass_step(state, dt, pull, constants, slope, trial, total):
    """Move ``state`` (6,) by ``dt`` with the classical Runge-Kutta method of order 4."""
    gm, radius, j2, omega = constants
    for k in range(6):
        slope[k] = total[k] = 0.0
    for stage in range(4):
        fraction = 0.5 * ((stage + 1) // 2)  # 0, 1/2, 1/2, 1
        weight = 2.0 if 0 < stage < 3 else 1.0
        for k in range(6):
            trial[k] = state[k] + fraction * dt * slope[k]
        glonass_rate(trial, pull, gm, radius, j2, omega, slope)
        for k in range(6):
            total[k] += weight * slope[k]
    for k in range(6):
        state[k] += dt * total[k] / 6.0


@njit
def glonass_states(base_s, choice, reference_s, messages, constants, turn, out, rate):
    """Fill pseudo-inertial ``out`` and ``rate`` (n, m, 3) of state-vector messages.

    ``messages`` rows are position, velocity and the Sun's and Moon's pull (9,).
    """
    state, slope, trial, total = np.empty(6), np.empty(6), np.empty(6), np.empty(6)
    pull = np.empty(3)
    for j in range(choice.shape[1]):
        last, at = -1, 0.0
        for i in range(base_s.size):
            k = choice[i, j]
            if k < 0:
                continue
            if k != last:
                last, at = k, reference_s[k]
                for q in range(6):
                    state[q] = messages[k, q]
                for q in range(3):
                    pull[q] = messages[k, 6 + q]
            steps = math.ceil(abs(base_s[i] - at) / _ICD_STEP_S)
            for _ in range(steps):
                dt = (base_s[i] - at) / steps
                glonass_step(state, dt, pull, constants, slope, trial, total)
            at = base_s[i]
            c, s = math.cos(turn * at), math.sin(turn * at)
            vx, vy = state[3] - turn * state[1], state[4] + turn * state[0]
            out[i, j, 0], out[i, j, 1] = c * state[0] - s * state[1], s * state[0] + c * state[1]
            out[i, j, 2] = state[2]
            rate[i, j, 0], rate[i, j, 1] = c * vx - s * vy, s * vx + c * vy
            rate[i, j, 2] = state[5]
