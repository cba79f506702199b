"""Passes of an invented laser altimeter over the lakes of the invented glacier.

Every 91 days the satellite comes back to its ground tracks: over each lake one bundle of parallel
tracks flown northward and one flown southward. Clouds hide whole passes or parts of a track.
"""

import numpy as np

from ..constants import NS_PER_DAY

REPEAT_D = 91.0  # d; invented satellite
GROUND_SPEED_M_S = 6900.0  # m/s; of a satellite some 500 km up, from memory
BEAM_STEP_M = 1100.0  # m; between the parallel tracks of a bundle, invented
BEAMS = 4
REACH_M = 7000.0  # m; half the length of a track, lake and ground around, invented
POINT_STEP_M = 80.0  # m; invented
BEARINGS_RAD = np.radians([348.0, 192.0])  # northward, southward over 79 N; invented
OFF_TRACK_M = 45.0  # m; standard deviation of a pass from its track, invented
POINTING_M = 4.0  # m; error of the place that the table gives, invented
BIAS_M = 0.02  # m; of a whole pass, invented
NOISE_M = (0.05, 0.10)  # m; least and most standard deviation of points of a pass, invented
CLOUDED_PASS = 0.2  # -; share of passes that see nothing, invented
CLOUD_LENGTH_M = 2500.0  # m; size of gaps between clouds, invented
CLOUD_LEVEL = 0.9  # -; of a standard normal field above which cloud hides the ground, invented


def passes(rng, glacier, start_ns, days, height_change_m):
    """Return what the altimeter hands over: one row for each point seen.

    Parameters
    ----------
    rng : numpy.random.Generator
    glacier : Glacier
    start_ns : int
        Begin of the campaign, GPS time.
    days : float
    height_change_m : function
        ``height_change_m(flow_m, side_m, time_s)``, three arrays (n,), gives the change of the
        surface (n,) since the start. [m]

    Returns
    -------
    dict of arrays (n,)
        ``time_ns`` (GPS), ``latitude_deg``, ``longitude_deg``, ``height_m`` above the ellipsoid,
        ``sigma_m`` as the maker would state it (white noise of points; error of pointing and the
        bias of a pass are not in it), ``track`` and ``cycle`` from 1; in order of time.
    """
    columns = ("time_ns", "latitude_deg", "longitude_deg", "height_m", "sigma_m", "track", "cycle")
    bundles = [(lake, bearing) for lake in glacier.lakes for bearing in BEARINGS_RAD]
    first_day = rng.uniform(0.0, REPEAT_D, len(bundles))
    pieces = []
    for cycle in range(1, int(np.ceil(days / REPEAT_D)) + 1):
        for number, (lake, bearing) in enumerate(bundles):
            day = first_day[number] + REPEAT_D * (cycle - 1) + rng.normal(0.0, 0.002)
            points = _bundle(rng, glacier, lake, bearing)
            seen = points.pop("seen") & (day >= 0.0) & (day < days)
            table = _measured(rng, glacier, points, day, height_change_m)
            table["time_ns"] = table["time_ns"] + int(start_ns)
            table["track"] = points["beam"] + number * BEAMS + 1
            table["cycle"] = np.full(seen.size, cycle)
            pieces.append([table[name][seen] for name in columns])
    whole = dict(zip(columns, (np.concatenate(c) for c in zip(*pieces, strict=True)), strict=True))
    order = np.argsort(whole["time_ns"], kind="stable")
    return {name: values[order] for name, values in whole.items()}


def _bundle(rng, glacier, lake, bearing_rad):
    """Return points of one pass: flow, side (true and as told), distance flown, beam, seen."""
    count = int(2.0 * REACH_M / POINT_STEP_M)
    ahead = np.tile(np.linspace(-REACH_M, REACH_M, count), BEAMS)
    beam = np.repeat(np.arange(BEAMS), count)
    off = (beam - (BEAMS - 1) / 2.0) * BEAM_STEP_M + rng.normal(0.0, OFF_TRACK_M)
    told = rng.normal(0.0, POINTING_M, 2)
    # bearing from the flow's direction, positive to the left
    angle = float(glacier.azimuth_rad(lake.flow_m, lake.side_m)) - bearing_rad
    place = (ahead + 1j * off) * np.exp(1j * angle)
    cloud = np.concatenate([_field(rng, count) for _ in range(BEAMS)])
    return {
        "flow_m": lake.flow_m + place.real,
        "side_m": lake.side_m + place.imag,
        "told_m": told,
        "ahead_m": ahead,
        "beam": beam,
        "seen": (cloud < CLOUD_LEVEL) & (rng.random() > CLOUDED_PASS),
    }


def _field(rng, count):
    """Return a standard normal field along a track (count,), correlated over clouds."""
    kept = np.exp(-POINT_STEP_M / CLOUD_LENGTH_M)
    fresh = rng.standard_normal(count) * np.sqrt(1.0 - kept**2)
    fresh[0] /= np.sqrt(1.0 - kept**2)
    powers = kept ** np.arange(count)
    return powers * np.cumsum(fresh / powers)


def _measured(rng, glacier, points, day, height_change_m):
    """Return time from the start, place, height and sigma of the points of one pass."""
    flow, side = points["flow_m"], points["side_m"]
    time_s = day * 86400.0 + points["ahead_m"] / GROUND_SPEED_M_S
    truth = glacier.surface_m(flow, side) + height_change_m(flow, side, time_s)
    sigma = rng.uniform(*NOISE_M)
    bias, noise = rng.normal(0.0, BIAS_M), rng.normal(0.0, sigma, flow.size)
    latitude, longitude = glacier.place(flow + points["told_m"][0], side + points["told_m"][1])
    return {
        "time_ns": np.round(time_s / 86400.0 * NS_PER_DAY).astype(np.int64),
        "latitude_deg": np.degrees(latitude),
        "longitude_deg": np.degrees(longitude),
        "height_m": truth + bias + noise,
        "sigma_m": np.full(flow.size, np.round(sigma, 3)),
    }
