"""Zero baseline REYK, 2019-09-27, 1 h: one receiver written as a file and as a stream.

What differs: codes are rounded to 1 mm and 2 cm, phases to 0.001 cycles, strengths to 0.25 and
1 dB; some phases are turned by whole quarters of a cycle (the file is aligned to one signal of
each band, RINEX 3.03 section 9.12, the stream is not). No orbits of that day are at hand, so the
chain cannot run. GPS tracks repeat each sidereal day to some degrees, so directions are taken from
orbits 273 sidereal days later: they say how differences of phases turn into positions, no more.
"""

import numpy as np
from _measured import ESBC_PRODUCTS, Table, files, load

from stakeline.constants import SPEED_OF_LIGHT_M_S
from stakeline.earth.ellipsoid import enu_axes, geodetic_from_xyz
from stakeline.satellites.orbits import orbit_states
from stakeline.signals.tracks import build_tracks

mm = 1e-3
SIDEREAL_DAY_NS = 86_164_090_500_000  # ns; 2 pi / EARTH_ROTATION_RAD_S
DAYS = 273
BAR = "bar set for this work, no source"


def pair():
    """Return the tracks (file, stream) at common epochs and satellites, and the header's place."""
    parts = []
    for path in files("zero_baseline_2019_270", "*.crx.gz"):
        data, products = load("REYK", [path], ESBC_PRODUCTS)
        parts.append((data, build_tracks(data, "GE")[0]))
    time_ns = np.intersect1d(parts[0][1].time_ns, parts[1][1].time_ns)
    satellites = np.intersect1d(parts[0][1].satellites, parts[1][1].satellites)
    tracks = [
        t.select(np.searchsorted(t.time_ns, time_ns), np.searchsorted(t.satellites, satellites))
        for _, t in parts
    ]
    return tracks, np.array(parts[0][0].header.approximate_position_m), products


def differences(tracks):
    """Return single-differenced phases (2, n, m) less each satellite's constant. [m]"""
    first, second = tracks
    apart = first.phase_m - second.phase_m
    wave = SPEED_OF_LIGHT_M_S / first.frequency_hz.T[:, None, :]
    turned = np.round(4.0 * np.nanmedian(apart, axis=1, keepdims=True) / wave) / 4.0
    return apart - turned * wave, turned[:, 0]


def positions(apart_m, tracks, place, products):
    """Return east, north, up (n, 3) of each epoch from GPS phases of one signal. [m]"""
    gps = tracks.satellites < 100
    later = tracks.time_ns + DAYS * SIDEREAL_DAY_NS
    position, _ = orbit_states(
        products.orbits, tracks.satellites[gps], np.asarray(later), int(later[0])
    )
    axes = enu_axes(*geodetic_from_xyz(place)[:2])
    toward = position - place
    toward /= np.linalg.norm(toward, axis=2, keepdims=True)
    direction = toward @ axes.T
    found = []
    for k in range(len(later)):
        use = np.isfinite(apart_m[k, gps]) & np.isfinite(direction[k]).all(axis=1)
        use &= direction[k, :, 2] > 0.0
        design = np.column_stack([-direction[k, use], np.ones(use.sum())])
        if use.sum() >= 5:
            found.append(np.linalg.lstsq(design, apart_m[k, gps][use], rcond=None)[0][:3])
    return np.array(found)


def main():
    table = Table("Zero baseline REYK: the same receiver as file and as stream")
    tracks, place, products = pair()
    apart, turned = differences(tracks)
    letters = tracks[0].satellites // 100
    for signal in (0, 1):
        values = apart[signal] - np.nanmean(apart[signal], axis=1, keepdims=True)
        rms = np.sqrt(np.nanmean(values**2)) / mm
        table.line(f"signal {signal + 1}: rms of differenced phases", rms, 2.0, "mm", BAR)
        for letter in np.unique(letters):
            quarters = np.unique(np.round(turned[signal, letters == letter] % 1.0, 3))
            table.say(f"signal {signal + 1}, {'GREC'[letter]}: turned by {quarters} cycles")
        enu = positions(apart[signal], tracks[0], place, products)
        for axis, value in zip("ENU", np.sqrt(np.mean(enu**2, axis=0)) / mm, strict=True):
            table.line(f"signal {signal + 1}: rms {axis}, epoch by epoch", value, 2.0, "mm", BAR)
        table.say(f"{len(enu)} epochs of {len(tracks[0].time_ns)}")
    table.end()


if __name__ == "__main__":
    main()
