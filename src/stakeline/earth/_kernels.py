"""Compiled loops of tides and mapping functions: plain float64 arrays in, output arrays filled."""

import math

from ..compiling import njit


@njit
def body_tide(station, bodies, mass_ratio, radius_m, love, out):
    """Add the step-1 displacement of IERS Conventions (2010), section 7.1.1.1, to ``out``.

    ``bodies`` is (k, n, 3), ``out`` (n, 3); ``love`` holds h0 h2 h3 l0 l2 l3, the imaginary parts
    hd hs ld ls and l1 (diurnal, semi-diurnal), in the order of ``tides._LOVE``.
    """
    h0, h2c, h3, l0, l2c, l3, hd, hs, ld, ls, l1d, l1s = love
    r = math.sqrt(station[0] ** 2 + station[1] ** 2 + station[2] ** 2)
    ux, uy, uz = station[0] / r, station[1] / r, station[2] / r
    cos_lat = math.sqrt(ux * ux + uy * uy)
    sin_lat = uz
    cos_lon, sin_lon = ux / cos_lat, uy / cos_lat
    cos_2lat = cos_lat**2 - sin_lat**2
    cos_2lon, sin_2lon = cos_lon**2 - sin_lon**2, 2.0 * sin_lon * cos_lon
    h2 = h0 + h2c * (1.0 - 1.5 * cos_lat**2)
    l2 = l0 + l2c * (1.0 - 1.5 * cos_lat**2)
    for k in range(bodies.shape[0]):
        for i in range(bodies.shape[1]):
            x, y, z = bodies[k, i, 0], bodies[k, i, 1], bodies[k, i, 2]
            d = math.sqrt(x * x + y * y + z * z)
            x, y, z = x / d, y / d, z / d
            f2 = mass_ratio[k] * radius_m * (radius_m / d) ** 3
            f3 = f2 * radius_m / d
            c = ux * x + uy * y + uz * z
            # equations 7.5 and 7.6: along the body's direction, and radially
            along = f2 * 3.0 * l2 * c + f3 * 1.5 * l3 * (5.0 * c * c - 1.0)
            up = f2 * (3.0 * (h2 / 2.0 - l2) * c * c - h2 / 2.0)
            up += f3 * (2.5 * (h3 - 3.0 * l3) * c**3 + 1.5 * (l3 - h3) * c)
            a, b = x * cos_lon + y * sin_lon, x * sin_lon - y * cos_lon
            p = (x * x - y * y) * cos_2lon + 2.0 * x * y * sin_2lon
            q = (x * x - y * y) * sin_2lon - 2.0 * x * y * cos_2lon
            # equations 7.10 and 7.11: out of phase
            up += f2 * (-3.0 * hd * sin_lat * cos_lat * z * b - 0.75 * hs * cos_lat**2 * q)
            north = f2 * (-3.0 * ld * cos_2lat * z * b + 1.5 * ls * sin_lat * cos_lat * q)
            east = f2 * (-3.0 * ld * sin_lat * z * a - 1.5 * ls * cos_lat * p)
            # equations 7.8 and 7.9: latitude dependence of l, with l(1)
            north += 3.0 * f2 * (-l1d * sin_lat**2 * z * a - 0.5 * l1s * sin_lat * cos_lat * p)
            east += 3.0 * f2 * (l1d * sin_lat * cos_2lat * z * b)
            east += 3.0 * f2 * (-0.5 * l1s * sin_lat**2 * cos_lat * q)
            out[i, 0] += along * x + up * ux - north * sin_lat * cos_lon - east * sin_lon
            out[i, 1] += along * y + up * uy - north * sin_lat * sin_lon + east * cos_lon
            out[i, 2] += along * z + up * uz + north * cos_lat


@njit
def frequency_tide(station, arguments, diurnal, zonal, out):
    """Add the step-2 displacement of IERS Conventions (2010), section 7.1.1.2, to ``out`` (n, 3).

    ``arguments`` (n, 6) are tau, s, h, p, N', ps [rad]; ``diurnal`` rows are five multipliers of
    s, h, p, N', ps and R_ip R_op T_ip T_op [m] (equations 7.12); ``zonal`` likewise (7.13).
    """
    r = math.sqrt(station[0] ** 2 + station[1] ** 2 + station[2] ** 2)
    ux, uy, sin_lat = station[0] / r, station[1] / r, station[2] / r
    cos_lat = math.sqrt(ux * ux + uy * uy)
    cos_lon, sin_lon = ux / cos_lat, uy / cos_lat
    longitude = math.atan2(uy, ux)
    sin_2lat, cos_2lat = 2.0 * sin_lat * cos_lat, cos_lat**2 - sin_lat**2
    p2 = 1.5 * sin_lat**2 - 0.5
    for i in range(arguments.shape[0]):
        up = north = east = 0.0
        for j in range(diurnal.shape[0]):
            angle = arguments[i, 0] + longitude
            for k in range(5):
                angle += diurnal[j, k] * arguments[i, k + 1]
            s, c = math.sin(angle), math.cos(angle)
            up += sin_2lat * (diurnal[j, 5] * s + diurnal[j, 6] * c)
            north += cos_2lat * (diurnal[j, 7] * s + diurnal[j, 8] * c)
            east += sin_lat * (diurnal[j, 7] * c - diurnal[j, 8] * s)
        for j in range(zonal.shape[0]):
            angle = 0.0
            for k in range(5):
                angle += zonal[j, k] * arguments[i, k + 1]
            s, c = math.sin(angle), math.cos(angle)
            up += p2 * (zonal[j, 5] * c + zonal[j, 6] * s)
            north += sin_2lat * (zonal[j, 7] * c + zonal[j, 8] * s)
        out[i, 0] += up * ux - north * sin_lat * cos_lon - east * sin_lon
        out[i, 1] += up * uy - north * sin_lat * sin_lon + east * cos_lon
        out[i, 2] += up * sin_lat + north * cos_lat


@njit
def mapping(elevation, a_dry, b_dry, c_dry, a_wet, b_wet, c_wet, height_m, dry, wet):
    """Fill ``dry`` and ``wet`` (n, m) with the mapping functions of ``elevation`` (n, m) [rad].

    The coefficients are per epoch (n,); the height correction to the dry one is that of Niell.
    NaN elevations give NaN.
    """
    height_km = height_m * 1e-3
    for i in range(elevation.shape[0]):
        ad, bd, cd = a_dry[i], b_dry[i], c_dry[i]
        aw, bw, cw = a_wet[i], b_wet[i], c_wet[i]
        top_dry = 1.0 + ad / (1.0 + bd / (1.0 + cd))
        top_wet = 1.0 + aw / (1.0 + bw / (1.0 + cw))
        top_height = 1.0 + 2.53e-5 / (1.0 + 5.49e-3 / (1.0 + 1.14e-3))  # Niell (1996), table 3
        for j in range(elevation.shape[1]):
            s = math.sin(elevation[i, j])
            bottom = s + 2.53e-5 / (s + 5.49e-3 / (s + 1.14e-3))
            raised = (1.0 / s - top_height / bottom) * height_km
            dry[i, j] = top_dry / (s + ad / (s + bd / (s + cd))) + raised
            wet[i, j] = top_wet / (s + aw / (s + bw / (s + cw)))
