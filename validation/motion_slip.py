"""A slip of an ice stream past 23 stations: how far each went, and the order in which they began.

    python validation/motion_slip.py

Exit code 1 where one falls short. The record is read from the folder in STAKELINE_REFERENCE_DATA
or ../shared/data.

Net slip is the smoothed position at the end minus that at the begin of the record. The onset of a
station is the time from which a change of speed, as a regressor of the motion model, is the most
likely; noise and restlessness are one model for all, fitted to what they did before the slip. The
front is a circle that widens at an even speed from a place that is searched on a grid; by chance is
how often onsets dealt out anew among the stations fit one as well.
"""

import csv
import gzip

import numpy as np
from _measured import Table, real_data
from scipy.stats import spearmanr

from stakeline.constants import NS_PER_S
from stakeline.motion.likelihood import fit_model
from stakeline.motion.smoother import MotionModel, log_likelihood, smooth
from stakeline.time import from_iso

README = "README of the real data"
NET_SLIP_M = {"la08": 0.213, "la01": 0.293, "la09": 0.322, "gz15": 0.323}
START = "2013-03-12T10:42:30"
SIGMA_M = 0.005  # white sigma given to the model, which scales it
SLIDING_Q = 1e4  # (m/d)^2/d: speeds of 20 m/d come and go within minutes
QUIET_BEFORE_S = -300.0
WINDOW_S = (-900.0, 240.0)  # about the start, in which the onset is sought
TOLD_S = 50.0  # onsets that are less sure take no part in the front
DRAWS = 1000


def record():
    """Return names, seconds from the start (n,), displacements (n, k) and places (k, 2). [m]"""
    path = real_data("ice", "motion", "slip_event_2013-03-12_displacement_m.csv.gz")
    with gzip.open(path, "rt") as text:
        rows = list(csv.reader(text))
    time_ns = np.array([from_iso(row[0]) for row in rows[1:]])
    moved = np.array([[float(v) for v in row[1:]] for row in rows[1:]])
    with real_data("ice", "motion", "slip_event_stations_epsg3031.csv").open() as text:
        places = {r["station"]: (float(r["x_m"]), float(r["y_m"])) for r in csv.DictReader(text)}
    names = rows[0][1:]
    since_s = (time_ns - from_iso(START)) / NS_PER_S
    return names, since_s, moved, np.array([places[name] for name in names])


def shared_model(time_ns, moved, quiet):
    """Return the model of the medians over stations, fitted before the slip."""
    start = MotionModel(10.0, np.inf, (0.003,), (0.002,))
    fits = [fit_model(time_ns[quiet], y[quiet], SIGMA_M, start).model for y in moved.T]
    return MotionModel(
        float(np.median([f.acceleration_m2_d3 for f in fits])),
        np.inf,
        (float(np.median([f.coloured_sigma_m[0] for f in fits])),),
        (float(np.median([f.coloured_memory_d[0] for f in fits])),),
        float(np.median([f.white_scale for f in fits])),
    )


def net_slips(table, names, time_ns, moved, model):
    sliding = MotionModel(
        SLIDING_Q, np.inf, model.coloured_sigma_m, model.coloured_memory_d, model.white_scale
    )
    sigma = np.full(len(time_ns), SIGMA_M)
    for name, published in NET_SLIP_M.items():
        found = smooth(time_ns, moved[:, names.index(name)], sigma, sliding)
        net = found.position_m[-1] - found.position_m[0]
        spread = np.hypot(found.position_sigma_m[0], found.position_sigma_m[-1])
        quantity = f"net slip of {name}, {net:.3f} +-{spread:.3f} m: off by"
        table.line(quantity, abs(net - published), 0.010, "m", README)


def onset(since_s, time_ns, moved, model):
    """Return (onset, its sigma) of one station, means over the likelihood. [s]"""
    near = (since_s >= WINDOW_S[0]) & (since_s <= WINDOW_S[1])
    tried = np.arange(-300.0, WINDOW_S[1] - 30.0, 7.5)
    sigma = np.full(int(near.sum()), SIGMA_M)
    values = [
        log_likelihood(
            time_ns[near], moved[near], sigma, model,
            np.maximum(since_s[near] - at, 0.0)[:, None] / 86400.0,
        )
        for at in tried
    ]  # fmt: skip
    weight = np.exp(np.array(values) - max(values))
    weight /= weight.sum()
    middle = weight @ tried
    return middle, np.sqrt(weight @ (tried - middle) ** 2)


def front(onset_s, weight, distance):
    """Return (share of the scatter explained, number of the origin, slowness [s/m])."""
    whole = weight**2
    y = onset_s - whole @ onset_s / whole.sum()
    x = distance - (distance @ whole / whole.sum())[:, None]
    slowness = np.maximum((x * whole) @ y / (x**2 @ whole), 0.0)
    left = (y - slowness[:, None] * x) ** 2 @ whole
    best = int(left.argmin())
    return 1.0 - left[best] / (whole @ y**2), best, slowness[best]


def propagation(table, names, places, onsets):
    onset_s, sigma_s = onsets.T
    told = sigma_s < TOLD_S
    for k in np.argsort(onset_s):
        said = "" if told[k] else "  (not told)"
        table.say(f"onset {names[k]} {onset_s[k]:5.0f} +-{sigma_s[k]:3.0f} s after {START}{said}")
    x, y = np.meshgrid(np.arange(-330e3, -130e3, 5e3), np.arange(-640e3, -470e3, 5e3))
    origins = np.stack([x.ravel(), y.ravel()], axis=1)
    distance = np.hypot(*np.moveaxis(places[told] - origins[:, None], 2, 0))
    onset_s, weight = onset_s[told], 1.0 / np.hypot(sigma_s[told], 20.0)
    share, best, slowness = front(onset_s, weight, distance)
    rng = np.random.default_rng(2013)
    deals = [rng.permutation(len(onset_s)) for _ in range(DRAWS)]
    chance = np.mean([front(onset_s[d], weight[d], distance)[0] >= share for d in deals])
    where = ", ".join(f"{v / 1e3:.0f}" for v in origins[best])
    table.say(f"front from ({where}) km on EPSG:3031 outwards at {1.0 / slowness:.0f} m/s,")
    table.say(f"explains {100 * share:.0f} % of the scatter of {told.sum()} onsets")
    table.line("onsets told within 50 s", told.sum(), 18, "", "own bar", least=True)
    table.line("as well ordered by chance", chance, 0.01, "", "own bar, 1000 permutations")
    rank = spearmanr(distance[best], onset_s)[0]
    table.line("rank correlation of onset and distance", rank, 0.5, "", "own bar", least=True)


def main():
    table = Table("A slip event of 2013-03-12 past 23 stations")
    names, since_s, moved, places = record()
    time_ns = from_iso(START) + np.round(since_s * NS_PER_S).astype(np.int64)
    model = shared_model(time_ns, moved, since_s < QUIET_BEFORE_S)
    net_slips(table, names, time_ns, moved, model)
    onsets = np.array([onset(since_s, time_ns, y, model) for y in moved.T])
    propagation(table, names, places, onsets)
    table.end()


if __name__ == "__main__":
    main()
