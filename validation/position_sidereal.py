"""Multipath that repeats: how much of it earlier days take off, on invented days with truth.

    python validation/position_sidereal.py

An antenna that stands still above a reflecting surface, and the same one without reflections. Times
of return of real satellites are told where the real open data are; no station has two days there.
Exit code 1 where a figure falls short or the data are missing.
"""

from dataclasses import replace

import numpy as np
from _measured import Table, real_data
from relative_simulated import errors_of

from stakeline.constants import EARTH_ROTATION_RAD_S, NS_PER_DAY, NS_PER_S
from stakeline.formats.sp3 import join, read_sp3
from stakeline.positioning import solve
from stakeline.positioning.repeats import TURN_S, repeat_time_s
from stakeline.satellites.orbits import orbit_states, turn_about_z
from stakeline.simulate.baselines import START_NS, make_baselines
from stakeline.simulate.receiver import Receiver
from stakeline.workflows.observation_cut import cut

mm = 1e-3
STILL = {"speed_m_d": 0.0, "tide_m": 0.0, "daily_share": 0.0, "slope": 0.0}
SEEDS = (1, 2, 3, 4)
CASES = (("G", 1, SEEDS), ("G", 3, SEEDS), ("GE", 1, SEEDS), ("E", 10, SEEDS[:2]))
STRONG, USUAL = 0.5, 0.15  # -, reflection at the horizon; USUAL: of the invented receivers
BAR = "bar set for this work, no source"
INTERVAL_S = 30.0


def last_day(seed, reflection, days, systems):
    """Return the last day's solution without and with the days before, and what these told.

    Of each: (rms of phase residuals, errors (n, 3)). [m]
    """
    receiver, hours = Receiver(reflection=reflection), 24.0 * (days + 1)
    world = make_baselines(
        seed, [], hours=hours, interval_s=INTERVAL_S, receiver=receiver, moves=STILL
    )
    last_ns = START_NS + days * NS_PER_DAY
    today = cut(world.rover, last_ns, last_ns + NS_PER_DAY)
    settings, both = replace(world.settings, systems=systems), []
    for before in (None, cut(world.rover, START_NS, last_ns)):
        found = solve(today, world.products, settings, before=before)
        both.append((found.summary["phase residual rms m"], errors_of(found, world)))
    told = [w for w in found.summary["warnings"] if w.startswith("multipath of earlier days")]
    return both, told[0]


def root(values):
    """Return the root mean square over all seeds."""
    return np.sqrt(np.mean(np.square(values), axis=0))


def said(scatter):
    return "/".join(f"{a / mm:.1f}" for a in scatter)


def invented(table, systems, days, seeds):
    """Measure one case: without reflections, with strong and with usual ones."""
    name = f"{systems}, {days} d before"
    bare = [last_day(seed, 0.0, days, systems)[0] for seed in seeds]
    silent = root([both[0][0] for both in bare])
    compare(table, f"{name}, no reflections", bare)
    for reflection in (STRONG, USUAL):
        runs = [last_day(seed, reflection, days, systems) for seed in seeds]
        table.say(runs[0][1])
        found = [both for both, _ in runs]
        rms = [root([both[k][0] for both in found]) for k in (0, 1)]
        share = 100.0 * (rms[0] ** 2 - rms[1] ** 2) / (rms[0] ** 2 - silent**2)
        title = f"{name}, reflection {reflection}"
        table.say(
            f"{title}: residuals {rms[0] / mm:.2f} mm, then {rms[1] / mm:.2f}; "
            f"without reflections {silent / mm:.2f}"
        )
        alone = [
            root([(b[k][1] - n[0][1]).std(axis=0) for b, n in zip(found, bare, strict=True)])
            for k in (0, 1)
        ]
        table.say(f"  what they do to positions: {said(alone[0])} mm, then {said(alone[1])}")
        if systems != "GE":  # of which Galileo is not back
            bar = 50.0 if reflection == STRONG else 10.0
            table.line(f"{title}: variance taken off", share, bar, "%", BAR, least=True)
        compare(table, title, found)


def compare(table, title, runs):
    """Compare the scatter of positions with and without the days before."""
    scatter = [root([both[k][1].std(axis=0) for both in runs]) for k in (0, 1)]
    table.say(f"  east/north/up {said(scatter[0])} mm, with the days before {said(scatter[1])}")
    ratio = float(np.sqrt((scatter[1] ** 2).sum() / (scatter[0] ** 2).sum()))
    table.line(f"{title}: scatter with over without", ratio, 1.01, "", BAR)


def real_returns(table):
    """Tell after which times real GPS satellites were back over the same ground."""
    folder = real_data("gnss", "world_2016_044")
    orbits = join([read_sp3(path) for path in sorted(folder.glob("*.sp3.gz"))])
    first_ns, last_ns = (int(t) for t in orbits.time_ns[[0, -1]])
    time_ns = np.arange(first_ns, last_ns, 300 * NS_PER_S)
    gps = orbits.satellites[orbits.satellites < 100]
    position = orbit_states(orbits, gps, time_ns, first_ns)[0]
    seconds = (time_ns - first_ns) / NS_PER_S
    fixed = turn_about_z(position, -EARTH_ROTATION_RAD_S * seconds[:, None])
    direction = fixed / np.linalg.norm(fixed, axis=2)[..., None]
    half = len(seconds) // 2
    found = [
        repeat_time_s(seconds[half:], d[half:], seconds, d, TURN_S)
        for d in np.moveaxis(direction, 1, 0)
    ]
    times, apart = (np.array(part) for part in zip(*found, strict=True))
    ok = np.isfinite(times)
    table.say(
        f"{ok.sum()} of {len(gps)} GPS satellites: back after {times[ok].min():.0f} to "
        f"{times[ok].max():.0f} s, {np.degrees(np.median(apart[ok])):.2f} deg apart"
    )
    off = abs(float(np.median(times[ok])) - 86154.0)
    table.line("median time of return off 86154 s", off, 5.0, "s", "tabulated mean, from memory")


def main():
    table = Table("Multipath of earlier days")
    for case in CASES:
        invented(table, *case)
    real_returns(table)
    table.end()


if __name__ == "__main__":
    main()
