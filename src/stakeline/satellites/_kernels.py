"""Compiled loops of orbit and clock interpolation: plain arrays in, output arrays filled.

Positions inside are *pseudo-inertial*: Earth-fixed axes turned back about z by the mean rotation
since a reference instant, so that a satellite's path is smooth and a rotation by the reception
time gives Earth-fixed coordinates of that instant.
"""

import math

import numpy as np

from ..compiling import njit
from ..constants import EARTH_ROTATION_RAD_S, GM_EARTH_M3_S2, SPEED_OF_LIGHT_M_S


@njit
def lagrange_weights(node, first, count, t, weight, slope):
    """Fill ``weight`` and ``slope`` (count,): value and derivative at ``t`` from nodes."""
    for k in range(count):
        w, d = 1.0, 0.0
        for j in range(count):
            if j != k:
                step = node[first + k] - node[first + j]
                d = d * (t - node[first + j]) / step + w / step
                w *= (t - node[first + j]) / step
        weight[k] = w
        slope[k] = d


@njit
def orbit_from_nodes(base_s, interval, first_node, node_s, table, count, position, velocity):
    """Fill pseudo-inertial ``position`` and ``velocity`` (n, m, 3) at the times ``base_s`` (n,).

    ``first_node`` (intervals, m) is the first of ``count`` nodes to use in each interval of the
    table (nodes, m, 3), negative where there is none.
    """
    weight, slope = np.empty(count), np.empty(count)
    for i in range(base_s.size):
        last = -1
        for j in range(table.shape[1]):
            first = first_node[interval[i], j]
            if first < 0:
                for axis in range(3):
                    position[i, j, axis] = velocity[i, j, axis] = np.nan
                continue
            if first != last:
                lagrange_weights(node_s, first, count, base_s[i], weight, slope)
                last = first
            px = py = pz = vx = vy = vz = 0.0
            for k in range(count):
                w, d = weight[k], slope[k]
                x, y, z = table[first + k, j, 0], table[first + k, j, 1], table[first + k, j, 2]
                px += w * x
                py += w * y
                pz += w * z
                vx += d * x
                vy += d * y
                vz += d * z
            position[i, j, 0], position[i, j, 1], position[i, j, 2] = px, py, pz
            velocity[i, j, 0], velocity[i, j, 1], velocity[i, j, 2] = vx, vy, vz


@njit
def light_time(receive_s, base_s, receiver, position, velocity, travel_s, relativity_s):
    """Move states (n, m, 3) from ``base_s`` to transmission, turn them to the reception's frame.

    In: pseudo-inertial states at ``base_s`` (n,), receiver Earth-fixed (n, 3). Out, in place:
    Earth-fixed position and velocity; ``travel_s`` and the periodic clock term (n, m).
    The step is under 0.1 s: a second-order series with the two-body pull is exact to 1e-6 m.
    """
    omega = EARTH_ROTATION_RAD_S
    for i in range(receive_s.size):
        c, s = math.cos(omega * receive_s[i]), math.sin(omega * receive_s[i])
        rx = c * receiver[i, 0] - s * receiver[i, 1]
        ry = s * receiver[i, 0] + c * receiver[i, 1]
        rz = receiver[i, 2]
        for j in range(position.shape[1]):
            x0, y0, z0 = position[i, j, 0], position[i, j, 1], position[i, j, 2]
            vx, vy, vz = velocity[i, j, 0], velocity[i, j, 1], velocity[i, j, 2]
            pull = -GM_EARTH_M3_S2 / (x0 * x0 + y0 * y0 + z0 * z0) ** 1.5
            x, y, z = x0, y0, z0
            tau = dt = 0.0
            for _ in range(3):
                tau = math.sqrt((x - rx) ** 2 + (y - ry) ** 2 + (z - rz) ** 2) / SPEED_OF_LIGHT_M_S
                dt = receive_s[i] - base_s[i] - tau
                h = 0.5 * pull * dt * dt
                x, y, z = x0 + dt * vx + h * x0, y0 + dt * vy + h * y0, z0 + dt * vz + h * z0
            vx, vy, vz = vx + pull * dt * x0, vy + pull * dt * y0, vz + pull * dt * z0
            travel_s[i, j] = tau
            relativity_s[i, j] = -2.0 * (x * vx + y * vy + z * vz) / SPEED_OF_LIGHT_M_S**2
            position[i, j, 0], position[i, j, 1] = c * x + s * y, c * y - s * x
            position[i, j, 2] = z
            velocity[i, j, 0] = c * vx + s * vy + omega * position[i, j, 1]
            velocity[i, j, 1] = c * vy - s * vx - omega * position[i, j, 0]
            velocity[i, j, 2] = vz


@njit
def clock_from_nodes(
    transmit_s, interval, node_s, bias, broken, longest_s, near_s, walk_m2_s, clock, sigma
):
    """Fill ``clock`` [s] and ``sigma`` [m] (n, m): linear between nodes, never across a gap.

    ``broken`` (nodes, m) marks a node that must not be joined to the one before; ``longest_s`` is
    the longest interval, ``near_s`` the distance up to which a lone node still counts, and
    ``walk_m2_s`` (m,) the variance rate of the clocks.
    """
    last = node_s.size - 1
    for i in range(transmit_s.shape[0]):
        for j in range(transmit_s.shape[1]):
            t = transmit_s[i, j]
            clock[i, j] = sigma[i, j] = np.nan
            if not t >= node_s[0] - near_s or t > node_s[last] + near_s:
                continue
            k = interval[i]
            while k > 0 and t < node_s[k]:
                k -= 1
            while k < last and t >= node_s[k + 1]:
                k += 1
            best = k  # nearest node of the two around t
            if k < last and node_s[k + 1] - t < t - node_s[k]:
                best = k + 1
            joined = k < last and not broken[k + 1, j] and not math.isnan(bias[k, j])
            joined = joined and not math.isnan(bias[k + 1, j])
            if joined and t >= node_s[k] and node_s[k + 1] - node_s[k] <= longest_s:
                step = node_s[k + 1] - node_s[k]
                u = (t - node_s[k]) / step
                clock[i, j] = bias[k, j] + u * (bias[k + 1, j] - bias[k, j])
                sigma[i, j] = math.sqrt(walk_m2_s[j] * u * (1.0 - u) * step)
            elif abs(t - node_s[best]) <= near_s and not math.isnan(bias[best, j]):
                clock[i, j] = bias[best, j]
                if joined:
                    rate = (bias[k + 1, j] - bias[k, j]) / (node_s[k + 1] - node_s[k])
                    clock[i, j] += rate * (t - node_s[best])
                elif best < last and not broken[best + 1, j] and not math.isnan(bias[best + 1, j]):
                    rate = (bias[best + 1, j] - bias[best, j]) / (node_s[best + 1] - node_s[best])
                    clock[i, j] += rate * (t - node_s[best])
                sigma[i, j] = math.sqrt(walk_m2_s[j] * abs(t - node_s[best]))
