"""Compiled loops of attitude, wind-up and antennas: plain arrays in, output arrays filled."""

import math

import numpy as np

from ..compiling import njit
from ..constants import EARTH_RADIUS_M, EARTH_ROTATION_RAD_S

NOMINAL, LIMITED, SHADOW_LOST, SHADOW_EVEN, SHADOW_FAST = range(5)
GALILEO_FOC, GALILEO_IOV, NORMAL, NORMAL_LOW = range(5, 9)
"""Yaw laws; their meaning stands in :mod:`stakeline.satellites.attitude`."""

_LOST_S = 600.0  # s; a hole this long in a satellite's epochs starts the yaw afresh
_DOUBT_RAD = math.radians(3.0)  # off the nominal yaw by this much: turning, our choice
_RECOVERY_S = 1800.0  # s; after shadow, block IIA; Bar-Sever (1996), J. Geod. 70, 714


@njit
def wrapped(angle):
    """Return an angle in (-pi, pi]."""
    return angle - 2.0 * math.pi * math.ceil((angle - math.pi) / (2.0 * math.pi))


@njit
def orbit_angles(position, velocity, sun, j, angles, frame):
    """Fill ``angles`` (n, 4): yaw, orbit angle from midnight, Sun elevation, seconds per radian.

    ``frame`` (n, 3, 3) gets the rows radial, along-track, normal of satellite ``j``. The orbit's
    plane is that of the velocity in axes that do not turn. A fifth column says 1 in shadow.
    """
    for i in range(position.shape[0]):
        x, y, z = position[i, j, 0], position[i, j, 1], position[i, j, 2]
        vx = velocity[i, j, 0] - EARTH_ROTATION_RAD_S * y
        vy = velocity[i, j, 1] + EARTH_ROTATION_RAD_S * x
        vz = velocity[i, j, 2]
        r = math.sqrt(x * x + y * y + z * z)
        nx, ny, nz = y * vz - z * vy, z * vx - x * vz, x * vy - y * vx
        norm = math.sqrt(nx * nx + ny * ny + nz * nz)
        nx, ny, nz = nx / norm, ny / norm, nz / norm
        x, y, z = x / r, y / r, z / r
        tx, ty, tz = ny * z - nz * y, nz * x - nx * z, nx * y - ny * x
        d = math.sqrt(sun[i, 0] ** 2 + sun[i, 1] ** 2 + sun[i, 2] ** 2)
        sx, sy, sz = sun[i, 0] / d, sun[i, 1] / d, sun[i, 2] / d
        up, along = sx * x + sy * y + sz * z, sx * tx + sy * ty + sz * tz
        across = sx * nx + sy * ny + sz * nz
        frame[i, 0, 0], frame[i, 0, 1], frame[i, 0, 2] = x, y, z
        frame[i, 1, 0], frame[i, 1, 1], frame[i, 1, 2] = tx, ty, tz
        frame[i, 2, 0], frame[i, 2, 1], frame[i, 2, 2] = nx, ny, nz
        angles[i, 0] = math.atan2(-across, along)
        angles[i, 1] = math.atan2(along, -up)
        angles[i, 2] = math.asin(max(-1.0, min(1.0, across)))
        angles[i, 3] = r * r / norm
        dark = up < 0.0 and r * math.sqrt(max(0.0, 1.0 - up * up)) < EARTH_RADIUS_M
        angles[i, 4] = 1.0 if dark else 0.0


@njit
def limited_yaw(angles, rate, law, yaw, turning):
    """Fill ``yaw`` (n,) with the nominal yaw followed at no more than ``rate`` [rad/s].

    In shadow SHADOW_EVEN turns evenly from entry to exit, SHADOW_FAST at full rate from entry to
    the yaw of the exit. ``turning`` (n,) is set where that differs from the nominal yaw, in a
    shadow with a law of its own, and for SHADOW_LOST until half an hour after.
    """
    n = yaw.size
    last, exit_at, recover = -1, -1, 0.0
    for i in range(n):
        nominal = angles[i, 0]
        yaw[i] = nominal
        if math.isnan(nominal):
            continue
        dt = 0.0
        if last >= 0:
            dt = wrapped(angles[i, 1] - angles[last, 1]) * angles[i, 3]
        if last < 0 or dt < 0.0 or dt > _LOST_S:
            turning[i] = angles[i, 4] > 0.0
            last, exit_at = i, -1
            continue
        way = 1.0 if angles[i, 2] * math.cos(angles[i, 1]) >= 0.0 else -1.0
        dark = angles[i, 4] > 0.0
        own_law = dark and SHADOW_EVEN <= law <= SHADOW_FAST
        if own_law and exit_at < i:
            exit_at = i
            while exit_at + 1 < n and angles[exit_at, 4] > 0.0:
                exit_at += 1
        target, step = nominal, rate * dt
        if own_law and not math.isnan(angles[exit_at, 0]):
            target = angles[exit_at, 0]
            if law == SHADOW_EVEN:
                left = wrapped(angles[exit_at, 1] - angles[last, 1]) * angles[i, 3]
                gap = wrapped(target - yaw[last])
                if abs(gap) > 0.9 * math.pi:
                    gap = way * abs(gap)
                step = abs(gap) * min(1.0, dt / max(left, dt))
        gap = wrapped(target - yaw[last])
        if abs(gap) > 0.9 * math.pi:
            gap = way * abs(gap)
        if abs(gap) > step:
            yaw[i] = wrapped(yaw[last] + math.copysign(step, gap))
        else:
            yaw[i] = target
        recover = _RECOVERY_S if dark and law == SHADOW_LOST else recover - dt
        turning[i] = abs(wrapped(yaw[i] - nominal)) > _DOUBT_RAD or own_law or recover > 0.0
        last = i


@njit
def galileo_yaw(angles, law, yaw, turning):
    """Fill ``yaw`` (n,) with the published Galileo laws near noon and midnight.

    FOC: below 4.1 deg of Sun elevation within 10 deg of noon or midnight a cosine of period
    5656 s; IOV: below 2 deg within 15 deg an auxiliary Sun. European GNSS Service Centre,
    Galileo satellite metadata, section 3.1 (from memory).
    """
    last, start_yaw, elapsed = -1, math.nan, 0.0
    for i in range(yaw.size):
        nominal, mu, beta = angles[i, 0], angles[i, 1], angles[i, 2]
        yaw[i] = nominal
        if math.isnan(nominal):
            continue
        if law == GALILEO_IOV:
            sx, sy = math.cos(beta) * math.sin(mu), -math.sin(beta)
            limit_x, limit_y = math.sin(math.radians(15.0)), math.sin(math.radians(2.0))
            if abs(sx) < limit_x and abs(sy) < limit_y:
                wall = math.copysign(limit_y, sy)
                sy = 0.5 * (wall + sy) + 0.5 * (wall - sy) * math.cos(math.pi * abs(sx) / limit_x)
                yaw[i] = math.atan2(sy, sx)
        else:
            near = min(abs(mu), math.pi - abs(mu)) < math.radians(10.0)
            if near and abs(beta) < math.radians(4.1):
                dt = 0.0
                if last >= 0:
                    dt = wrapped(mu - angles[last, 1]) * angles[i, 3]
                if last < 0 or dt < 0.0 or dt > _LOST_S:
                    start_yaw, elapsed = math.nan, -1.0  # the beginning of the turn is unknown
                elif elapsed == 0.0:
                    start_yaw = yaw[last]
                if not math.isnan(start_yaw):
                    elapsed += dt
                    side = math.copysign(0.5 * math.pi, start_yaw)
                    swing = math.cos(2.0 * math.pi * elapsed / 5656.0)
                    yaw[i] = side + (start_yaw - side) * swing
            else:
                start_yaw, elapsed = math.nan, 0.0
        turning[i] = abs(wrapped(yaw[i] - nominal)) > _DOUBT_RAD or elapsed < 0.0
        last = i


@njit
def attitude(position, velocity, sun, law, rate, low_rad, ex, ey, ez, turning):
    """Fill body axes (n, m, 3) and ``turning`` (n, m) by the law (m,) and rate (m,) [rad/s]."""
    n = position.shape[0]
    angles, frame, yaw = np.empty((n, 5)), np.empty((n, 3, 3)), np.empty(n)
    for j in range(position.shape[1]):
        orbit_angles(position, velocity, sun, j, angles, frame)
        flags = turning[:, j]
        if law[j] == GALILEO_FOC or law[j] == GALILEO_IOV:
            galileo_yaw(angles, law[j], yaw, flags)
        elif LIMITED <= law[j] <= SHADOW_FAST:
            limited_yaw(angles, rate[j], law[j], yaw, flags)
        else:
            for i in range(n):
                level = law[j] == NORMAL or (law[j] == NORMAL_LOW and abs(angles[i, 2]) < low_rad)
                yaw[i] = 0.0 if level else angles[i, 0]
        for i in range(n):
            c, s = math.cos(yaw[i]), math.sin(yaw[i])
            for k in range(3):
                ex[i, j, k] = c * frame[i, 1, k] - s * frame[i, 2, k]
                ey[i, j, k] = -s * frame[i, 1, k] - c * frame[i, 2, k]
                ez[i, j, k] = -frame[i, 0, k]


@njit
def windup(position, receiver, ex, ey, axes, out):
    """Fill ``out`` (n, m) [cycles]: Wu et al. (1993), Manuscripta Geodaetica 18, 91, eq. 28-30."""
    before = np.full(position.shape[1], np.nan)
    for i in range(position.shape[0]):
        for j in range(position.shape[1]):
            kx = receiver[i, 0] - position[i, j, 0]
            ky = receiver[i, 1] - position[i, j, 1]
            kz = receiver[i, 2] - position[i, j, 2]
            d = math.sqrt(kx * kx + ky * ky + kz * kz)
            kx, ky, kz = kx / d, ky / d, kz / d
            ax, ay, az = ex[i, j, 0], ex[i, j, 1], ex[i, j, 2]
            bx, by, bz = ey[i, j, 0], ey[i, j, 1], ey[i, j, 2]
            along = kx * ax + ky * ay + kz * az
            sx = ax - kx * along - (ky * bz - kz * by)
            sy = ay - ky * along - (kz * bx - kx * bz)
            sz = az - kz * along - (kx * by - ky * bx)
            ax, ay, az = axes[i, 0, 0], axes[i, 0, 1], axes[i, 0, 2]
            bx, by, bz = axes[i, 1, 0], axes[i, 1, 1], axes[i, 1, 2]
            along = kx * ax + ky * ay + kz * az
            rx = ax - kx * along + (ky * bz - kz * by)
            ry = ay - ky * along + (kz * bx - kx * bz)
            rz = az - kz * along + (kx * by - ky * bx)
            cosine = sx * rx + sy * ry + sz * rz
            cx, cy, cz = sy * rz - sz * ry, sz * rx - sx * rz, sx * ry - sy * rx
            turns = math.atan2(kx * cx + ky * cy + kz * cz, cosine) / (2.0 * math.pi)
            if not math.isnan(before[j]):
                turns += np.rint(before[j] - turns)
            if not math.isnan(turns):
                before[j] = turns
            out[i, j] = turns


@njit
def satellite_range(position, receiver, ex, ey, ez, offset, nadir_step, pattern, out):
    """Fill ``out`` (n, m) [m]: offset (m, 3) along the line of sight plus the nadir pattern.

    ``pattern`` (m, nodes) is linear between nodes ``nadir_step`` (m,) [rad] apart and held
    constant beyond the last.
    """
    last = pattern.shape[1] - 1
    for i in range(position.shape[0]):
        for j in range(position.shape[1]):
            x = position[i, j, 0] - receiver[i, 0]
            y = position[i, j, 1] - receiver[i, 1]
            z = position[i, j, 2] - receiver[i, 2]
            d = math.sqrt(x * x + y * y + z * z)
            x, y, z = x / d, y / d, z / d
            total = offset[j, 0] * (x * ex[i, j, 0] + y * ex[i, j, 1] + z * ex[i, j, 2])
            total += offset[j, 1] * (x * ey[i, j, 0] + y * ey[i, j, 1] + z * ey[i, j, 2])
            cosine = -(x * ez[i, j, 0] + y * ez[i, j, 1] + z * ez[i, j, 2])
            total -= offset[j, 2] * cosine
            if math.isnan(cosine):
                out[i, j] = math.nan
                continue
            place = math.acos(max(-1.0, min(1.0, cosine))) / nadir_step[j]
            node = min(int(place), last - 1)
            u = min(place - node, 1.0)
            out[i, j] = total + (1.0 - u) * pattern[j, node] + u * pattern[j, node + 1]


@njit
def receiver_range(elevation, azimuth, offset, zenith_step, azimuth_step, pattern, out):
    """Fill ``out`` (n, m) [m]: offset (m, 3) north east up, and pattern (m, azimuths, zeniths)."""
    rows, columns = pattern.shape[1] - 1, pattern.shape[2] - 1
    for i in range(elevation.shape[0]):
        for j in range(elevation.shape[1]):
            el, az = elevation[i, j], azimuth[i, j]
            if math.isnan(el) or math.isnan(az):
                out[i, j] = math.nan
                continue
            total = offset[j, 0] * math.cos(el) * math.cos(az)
            total += offset[j, 1] * math.cos(el) * math.sin(az) + offset[j, 2] * math.sin(el)
            place = max(0.0, (0.5 * math.pi - el) / zenith_step)
            k = min(int(place), columns - 1)
            u = min(place - k, 1.0)
            turn = az / (2.0 * math.pi)
            around = (turn - math.floor(turn)) * 2.0 * math.pi / azimuth_step
            q = min(int(around), rows - 1)
            w = min(around - q, 1.0)
            first = (1.0 - u) * pattern[j, q, k] + u * pattern[j, q, k + 1]
            second = (1.0 - u) * pattern[j, q + 1, k] + u * pattern[j, q + 1, k + 1]
            out[i, j] = (1.0 - w) * first + w * second - total
