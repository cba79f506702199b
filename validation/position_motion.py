"""Known motion put exactly into ROSR's ranges, and slips into its phases: both recovered."""

import numpy as np
from _measured import (
    ROSALIA,
    ROSALIA_PRODUCTS,
    Table,
    files,
    header_settings,
    load,
    sigma_enu,
    solved,
)

from stakeline.constants import NS_PER_S
from stakeline.earth.ellipsoid import enu_axes, geodetic_from_xyz
from stakeline.positioning.coarse import locate
from stakeline.positioning.model import observed_minus_computed
from stakeline.satellites.states import satellite_states
from stakeline.signals.slips import find_slips
from stakeline.signals.tracks import build_tracks
from stakeline.simulate.displace import displace, insert_slips
from stakeline.tables import satellite_name

mm = 1e-3
STUDY = "real-data study"
M2_S = 12.4206012 * 3600.0  # s; checks of tide speeds: 28.9841042 deg/h
PAIRS = [(1, 0), (0, 1), (1, 1), (4, 3), (5, 4), (9, 7), (77, 60), (-1, 2)]


def motion_enu(time_ns):
    """Return flow of 1.5 m/d, an uplift of 0.5 m in 6 h and a tide of 0.5 m, (n, 3). [m]"""
    t = (time_ns - time_ns[0]) / NS_PER_S
    flow = 1.5 * t / 86400.0
    lift = 0.5 * np.clip((t - 30000.0) / 21600.0, 0.0, 1.0)
    tide = 0.5 * np.sin(2.0 * np.pi * t / M2_S)
    return np.stack([flow * np.sin(0.6), flow * np.cos(0.6), lift + tide], axis=1)


def satellites_of_rows(data, products, receiver):
    """Return the satellite position (rows, 3) of every row of observations."""
    satellites = np.unique(data.satellite)
    known = np.intersect1d(satellites, products.orbits.satellites)
    states = satellite_states(products, known, data.time_ns, receiver, np.zeros(len(data)))
    epoch = np.repeat(np.arange(len(data)), np.diff(data.row_start))
    at = np.full((len(data.satellite), 3), np.nan)
    rows = np.flatnonzero(np.isin(data.satellite, known))
    at[rows] = states.position_m[epoch[rows], np.searchsorted(known, data.satellite[rows])]
    return at


def moved(table, data, products):
    still = solved(data, products)
    centre = still.position_m.mean(axis=0)
    latitude, longitude, _ = geodetic_from_xyz(centre)
    axes = enu_axes(latitude, longitude)
    truth = motion_enu(data.time_ns)
    there = satellites_of_rows(data, products, centre)
    shifted = displace(data, truth @ axes, centre, there)
    found = solved(shifted, products)
    truth = truth[np.searchsorted(data.time_ns, found.time_ns)]
    calm = (still.position_m - centre) @ axes.T
    error = (found.position_m - centre) @ axes.T - truth
    error -= calm.mean(axis=0)
    calm -= calm.mean(axis=0)
    before, after = np.sqrt((calm**2).mean(axis=0)), np.sqrt((error**2).mean(axis=0))
    cover = (np.abs(error) < 1.96 * sigma_enu(found)).mean(axis=0)
    worst = np.abs(error).max(axis=0)
    for axis, b, a, c, w in zip("ENU", before, after, cover, worst, strict=True):
        table.say(f"{axis}: rms still {b / mm:.2f}, moving {a / mm:.2f} mm")
        table.line(f"rms above the still antenna {axis}", (a - b) / mm, 2, "mm", STUDY)
        table.line(f"largest error {axis}", w / mm, 60, "mm", STUDY)
        table.say(f"{axis}: 95 % interval covers {100 * c:.1f} %")
    pooled = 100 * float(cover.mean())
    table.line("95 % interval covers, all axes, at least", pooled, 85, "%", STUDY, least=True)
    table.line("95 % interval covers, all axes, at most", pooled, 99, "%", STUDY)
    share = found.summary["rejected"]["phase outlier"] / found.summary["observations"]
    table.say(f"phases left out {100 * share:.2f} %")


def slips(table, data, products):
    """Put in 60 slips of each pair at random places away from each other; count the found."""
    clean = found_in(data, products)
    tracks, slip = clean
    rng = np.random.default_rng(177)
    usable = np.isfinite(slip.residual) & (slip.elevation > np.radians(7.0))
    seen = np.lib.stride_tricks.sliding_window_view(usable, 21, axis=0).all(axis=2)
    free = np.argwhere(seen)
    free[:, 0] += 10
    rng.shuffle(free)
    taken, places = set(), []
    for k, s in free:
        if not any((k + d, s) in taken for d in range(-10, 11)):
            taken.add((k, s))
            places.append((k, s))
        if len(places) == 60 * len(PAIRS):
            break
    put = []
    for (k, s), pair in zip(places, PAIRS * 60, strict=True):
        name = int(tracks.satellites[s])
        _, first, _, second = tracks.signals[s]
        put += [(int(tracks.time_ns[k]), name, first, pair[0])]
        put += [(int(tracks.time_ns[k]), name, second, pair[1])]
    _, after = found_in(insert_slips(data, put), products)
    hit = sum(bool(after.slip[k, s]) for k, s in places)
    mask = np.ones(after.slip.shape, bool)
    mask[tuple(np.array(places).T)] = False
    extra = int((after.slip & mask & usable).sum())
    before = int((slip.slip & usable).sum())
    missed = [satellite_name(int(tracks.satellites[s])) for k, s in places if not after.slip[k, s]]
    table.say(f"put in {len(places)}, found {hit}, missed of {missed[:10]}")
    table.say(f"found before any was put in (real ones or false): {before}")
    table.line("slips found", 100 * hit / len(places), 98, "%", STUDY, least=True)
    table.line("others found in the day", extra, 20, "", STUDY)


class Found:
    """Slips with what they were looked for in."""

    def __init__(self, slip, residual, elevation):
        self.slip, self.residual, self.elevation = slip, residual, elevation


def found_in(data, products):
    """Return (tracks, :class:`Found`) of a day, by the same steps as a solution."""
    tracks, _ = build_tracks(data, "GREC")
    known = np.intersect1d(products.orbits.satellites, products.clocks.satellites)
    tracks = tracks.select(satellites=np.flatnonzero(np.isin(tracks.satellites, known)))
    coarse = locate(tracks, products)
    model = observed_minus_computed(tracks, tracks.phase_m, products, header_settings(data), coarse)
    slip = find_slips(tracks, model.phase_m, model.unit, model.elevation_rad).slip
    return tracks, Found(slip, model.phase_m, model.elevation_rad)


def main():
    table = Table("ROSR 2025-001 with known motion and slips")
    data, products = load("ROSR", files(ROSALIA, "*01D_30S_MO.crx.gz"), ROSALIA_PRODUCTS)
    moved(table, data, products)
    slips(table, data, products)
    table.end()


if __name__ == "__main__":
    main()
