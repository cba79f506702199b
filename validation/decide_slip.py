"""A slip of an ice stream past 23 stations, by the functions of the verb ``decide``: where it went.

    python validation/decide_slip.py

Exit code 1 where one falls short. The record is read from the folder in STAKELINE_REFERENCE_DATA
or ../shared/data.

Lags are the onsets of ``motion_slip.py`` with their sigmas: a regressor of the motion model, noise
from what came before. (Responses fitted to displacements or speeds by ``fit_response``, whose noise
is estimated beside the response, tell lags to 2 min only here, and no direction.) A circular front
is searched on a grid of origins, and the slowness of a straight one, east and north, is fitted, to
draws of the lags with stations drawn again, so that both have intervals; then the propagation along
that direction, and outwards from the stations that began first, as for a route. Stations that
chose the direction or the first place are tested with it: those intervals are given that choice.
No speed was published with the record: bars are our own.
"""

import numpy as np
from _measured import Table
from motion_slip import QUIET_BEFORE_S, START, TOLD_S, onset, record, shared_model
from motion_slip import front as front_from

from stakeline.constants import NS_PER_S
from stakeline.inference.propagation import propagation
from stakeline.time import from_iso

OWN, AFTER = "own bar", "own bar, set after the result"
DRAWS, CIRCLES = 2000, 500
OWN_SCATTER_S = 30.0  # s, of an onset beyond its sigma, as the propagation finds it


def front(places, lags):
    """Return the slowness (2,) [s/m] of a straight front over places (k, 2), lags (k,)."""
    design = np.column_stack([np.ones(len(lags)), places - places.mean(axis=0)])
    return np.linalg.lstsq(design, lags, rcond=None)[0][1:]


def straight(table, places, lags, rng):
    """Tell the direction and speed of a straight front; return the direction."""
    count = len(places)
    found = np.array([
        front(places[own], lags[own, rng.integers(lags.shape[1], size=count)])
        for own in (rng.integers(count, size=count) for _ in range(DRAWS))
    ])  # fmt: skip
    middle = np.median(found, axis=0)
    ahead = middle / np.hypot(*middle)
    turn = np.degrees(np.arctan2(found @ [-ahead[1], ahead[0]], found @ ahead))
    low, high = np.quantile(turn, [0.025, 0.975])
    grid_deg = np.degrees(np.arctan2(*ahead)) % 360.0
    speed = 1.0 / np.maximum(np.hypot(*found.T), 1e-12)
    table.say(
        f"straight front towards {grid_deg:.0f} deg of grid north ({low:+.0f} to {high:+.0f} deg), "
        f"EPSG:3031, {np.median(speed):.0f} m/s ({np.quantile(speed, 0.025):.0f} to "
        f"{np.quantile(speed, 0.975):.0f} m/s)"
    )
    return ahead


def circle(table, places, onsets, rng):
    """Tell where a circular front comes from and how fast it widens, with intervals."""
    x, y = np.meshgrid(np.arange(-330e3, -130e3, 1e4), np.arange(-640e3, -470e3, 1e4))
    origins = np.stack([x.ravel(), y.ravel()], axis=1)
    distance = np.hypot(*np.moveaxis(places - origins[:, None], 2, 0))
    count, found = len(places), []
    for _ in range(CIRCLES):
        own = rng.integers(count, size=count)
        drawn = rng.normal(*onsets[own].T)
        weight = 1.0 / np.hypot(onsets[own, 1], OWN_SCATTER_S)
        _, best, slowness = front_from(drawn, weight, distance[:, own])
        found.append((*origins[best], slowness))
    east, north, slowness = np.quantile(np.array(found), [0.025, 0.5, 0.975], axis=0).T
    table.say(
        f"circular front from east {east[1] / 1e3:.0f} km ({east[0] / 1e3:.0f} to "
        f"{east[2] / 1e3:.0f}), north {north[1] / 1e3:.0f} km ({north[0] / 1e3:.0f} to "
        f"{north[2] / 1e3:.0f}) on EPSG:3031"
    )
    speed = 1.0 / np.maximum(slowness[::-1], 1e-12)
    table.say(f"widening at {speed[1]:.0f} m/s ({speed[0]:.0f} to {speed[2]:.0f} m/s)")
    table.line("fastest over slowest of 95 % of circles", speed[2] / speed[0], 10.0, "", AFTER)


def told(table, title, found):
    """Tell a Propagation, distances in km and lags in seconds."""
    low, high = found.speed_interval * 1000.0
    upper = f"{high:.0f} m/s" if np.isfinite(high) else "no upper end"
    table.say(
        f"{title}: {found.speed * 1000.0:.0f} m/s ({low:.0f} m/s to {upper}), "
        f"own scatter {found.own_sigma:.0f} s, {found.series} stations"
    )


def main():
    table = Table("A slip event of 2013-03-12: direction and speed of the response")
    names, since_s, moved, places = record()
    time_ns = from_iso(START) + np.round(since_s * NS_PER_S).astype(np.int64)
    model = shared_model(time_ns, moved, since_s < QUIET_BEFORE_S)
    onsets = np.array([onset(since_s, time_ns, y, model) for y in moved.T])
    rng = np.random.default_rng(2013)
    kept = np.flatnonzero(onsets[:, 1] < TOLD_S)
    lags = rng.normal(onsets[kept, :1], onsets[kept, 1:], (len(kept), 500))
    places = places[kept]
    table.say(f"onsets told within {TOLD_S:g} s: {len(kept)} of {len(names)} stations")
    circle(table, places, onsets[kept], rng)
    ahead = straight(table, places, lags, rng)
    along = propagation((places - places.mean(axis=0)) @ ahead / 1000.0, lags)
    told(table, "along that direction", along)
    first = places[np.argsort(lags.mean(axis=1))[:3]].mean(axis=0)
    outward = propagation(np.hypot(*(places - first).T) / 1000.0, lags)
    told(table, "outwards from the three first stations", outward)
    table.line("interval of the slowness along it holds no 0", along.direction, 1, "", OWN,
               least=True)  # fmt: skip
    table.line("interval of the slowness outwards holds no 0", outward.direction, 1, "", OWN,
               least=True)  # fmt: skip
    table.end()


if __name__ == "__main__":
    main()
