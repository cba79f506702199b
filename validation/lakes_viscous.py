"""Ice whose surface levels itself over weeks to years: are volumes and filling rates held?

    python validation/lakes_viscous.py [RECORDS [FIRST]]

Exit code 1 where one falls short. No data are read. A minute and a half of two free cores.

The truth: thickness, margin, viscosity, Young's modulus, the bed's hold (stuck or sliding, each as
likely) and what each station does besides are drawn as told beforehand; the surface follows the
roof by steps of 6 h: elastic at once, then flow, which levels itself (`step_responses`). Before the
first row nothing moved.

First 200 drainings of 20 to 120 d whose change at two stations is known to 2 cm: their volumes, and
what they would be if nothing levelled. Then whole records of a year, a lake that fills, drains in
40 to 100 d and fills again: heights with the noise of real positions, search, volume, inflow of the
phases, water at the last row. Seeds 1 to 20 were looked at while choices were made.
"""

import sys
import warnings

import numpy as np
from _lakes_cover import covered, judged
from _measured import Table
from lakes_intervals import HOURS_D, HOURS_M
from scipy.signal import lfilter

from stakeline.constants import NS_PER_DAY
from stakeline.lakes.combined import StationUp
from stakeline.lakes.curve import ramp
from stakeline.lakes.event_record import LakeEvent
from stakeline.lakes.outline import drawn_outlines, ellipse_outline, moved_margin
from stakeline.lakes.response import FLOWS, VISCOSITY_PA_S, YOUNG_PA, Ice
from stakeline.lakes.surface import step_responses, surface_from_roof, view_of
from stakeline.lakes.volume import IceSpread, event_volume
from stakeline.workflows.lakes_ground import Thickness
from stakeline.workflows.lakes_places import Track
from stakeline.workflows.lakes_solve import LakeChoice, LakeProblem, solve
from stakeline.workflows.pool import run_tasks

RECORDS, FIRST, DRAININGS = 8, 101, 200
SAMPLES, OUTLINES = 600, 12
STEP_D, DAYS = 0.25, 365.0
LAKE = ellipse_outline("Upper Halvard", (0.0, 0.0), (2600.0, 1900.0))
THICK_M, MARGIN_M, SIGMA_M = 700.0, 200.0, 0.02
PLACES = {"HV02": (0.0, 0.0), "HV03": (900.0, 700.0)}
START_NS = 1_400_000_000 * 10**9
CHOICE = LakeChoice(VISCOSITY_PA_S, "either", MARGIN_M, "ice flow", 6, 0.02, 0.03)
DAY_S = 86400.0
STIFF = 1e34  # Pa s: nothing levels


def drawn_ice(rng):
    """Return (outline, ice, flow, what each station does besides) of one truth."""
    spread = IceSpread()
    normal = rng.standard_normal(4)
    ice = Ice(
        THICK_M * (1.0 + spread.thickness_share * normal[0]),
        VISCOSITY_PA_S * np.exp(spread.viscosity_log * normal[1]),
        YOUNG_PA * np.exp(spread.young_log * normal[2]),
    )
    more = 1.0 + spread.share_sigma * rng.standard_normal((len(PLACES), 1))
    return moved_margin(LAKE, MARGIN_M * normal[3]), ice, FLOWS[int(rng.integers(2))], more


def surface_of(truth, roof):
    """Return the surface at the stations (n, rows) above a roof at steps of STEP_D. [m]"""
    outline, ice, flow, more = truth
    view = view_of(outline, np.array(list(PLACES.values())))
    response = step_responses(view, ice, flow, STEP_D * DAY_S, len(roof))
    return more * surface_from_roof(response, roof)


def draining(seed):
    """Return [(error, inside, sigma)] of a volume, relative: as told, and if nothing levelled."""
    rng = np.random.default_rng((seed, 78))
    truth = drawn_ice(rng)
    length, rise, fall = np.exp(rng.uniform(*np.log([20.0, 120.0]))), *rng.uniform(1.5, 4.0, 2)
    size = -rng.uniform(1.0, 4.0)
    ice_d = 3.0 * truth[1].relaxation_s / DAY_S
    day = np.arange(0.0, length + ice_d, STEP_D)  # until it is no longer elastic
    seen = surface_of(truth, size * ramp(day / length, rise, fall))
    final = seen[:, np.searchsorted(day, length).clip(max=len(day) - 1)]
    one = np.ones(SAMPLES)
    station = {
        name: value + SIGMA_M * (rng.standard_normal() + rng.standard_normal(len(one)))
        for name, value in zip(PLACES, final, strict=True)
    }
    event = LakeEvent(
        LAKE.name, "drain", START_NS, 0.0 * one, length * one, rise * one, fall * one,
        station["HV02"], station, 1.0, 0.0,
    )  # fmt: skip
    outlines = drawn_outlines([LAKE], None, MARGIN_M, rng, OUTLINES)
    rows, true = [], abs(size) * truth[0].area_m2
    for viscosity in (VISCOSITY_PA_S, STIFF):
        volume = event_volume(event, outlines, PLACES, Ice(THICK_M, viscosity), rng)
        error, inside, sigma = judged(volume.volume_m3, true)
        rows.append((error / true, inside, sigma / true))
    return rows


def noise(rng, rows):
    """Return noise of hours as real positions have it, at steps of STEP_D (rows,). [m]"""
    kept = np.exp(-STEP_D / HOURS_D)
    fresh = HOURS_M * np.sqrt(1.0 - kept**2) * rng.standard_normal(rows)
    return lfilter([1.0], [1.0, -kept], fresh)


def record(seed):
    """Return {what: rows (error, inside, sigma)} of one year; None where nothing was found."""
    rng = np.random.default_rng((seed, 79))
    truth = drawn_ice(rng)
    day = np.arange(0.0, DAYS, STEP_D)
    onset, length, size = rng.uniform(120.0, 180.0), rng.uniform(40.0, 100.0), rng.uniform(2.0, 4.0)
    fills = rng.uniform(0.004, 0.012)
    course = ramp((day - onset) / length, *rng.uniform(2.0, 4.0, 2))
    roof = fills * day - (size + fills * length) * course
    surface = surface_of(truth, roof)
    time_ns = START_NS + np.round(day * NS_PER_DAY).astype(np.int64)
    sigma = np.full(len(day), HOURS_M)
    stations = [StationUp(name, time_ns, up + noise(rng, len(day)), sigma)
                for name, up in zip(PLACES, surface, strict=True)]  # fmt: skip
    stations.append(StationUp("HV04", time_ns, 0.3 * noise(rng, len(day)), sigma, control=True))
    tracks = {n: Track(n, time_ns[:1], np.array([p])) for n, p in PLACES.items()}
    thickness = Thickness(THICK_M, 0.05 * THICK_M, "told")
    solution = solve(
        LakeProblem(LAKE.name, tuple(stations), tracks, (LAKE,), thickness, "", CHOICE)
    )
    return _judged(solution, truth[0].area_m2, day, roof, (size + fills * length))


def _judged(solution, area_m2, day, roof, sunk_m):
    """Return {what: rows (error, inside, sigma)}; ``stiff``: inflow if nothing levelled."""
    found = [(e, v) for e, v in zip(solution.history.events, solution.volumes, strict=False)
             if e.kind == "drain" and v is not None]  # fmt: skip
    if not found:
        return None
    event, volume = max(found, key=lambda one: np.median(one[1].volume_m3))
    error, inside, sigma = judged(volume.volume_m3, area_m2 * sunk_m)
    rows = {"volume": [(error / area_m2 / sunk_m, inside, sigma / area_m2 / sunk_m)]}
    rows |= {"inflow": [], "stiff": []}
    metre = np.median(volume.volume_m3 * volume.ice.kept) / abs(np.median(event.change_m)) / DAY_S
    for phase, flow in zip(solution.history.phases, solution.curves.inflow_m3_s.T, strict=True):
        ends = (np.array([phase.begin_ns[1], phase.end_ns[1]]) - START_NS) / NS_PER_DAY
        true = area_m2 * float(np.diff(np.interp(ends, day, roof))[0]) / np.ptp(ends) / DAY_S
        rows["inflow"].append((flow[1] - true, flow[0] < true < flow[2], np.ptp(flow[::2]) / 3.92))
        rows["stiff"].append((metre * phase.rate_m_d - true, False, np.nan))
    last = solution.curves.stored_m3[:, -1]
    true = area_m2 * (roof[-1] - roof[0])
    rows["stored"] = [(last[1] - true, last[0] < true < last[2], np.ptp(last[::2]) / 3.92)]
    return rows


def main():
    warnings.simplefilter("error")
    numbers = [int(v) for v in sys.argv[1:]]
    count, first = (*numbers, *(RECORDS, FIRST)[len(numbers) :])
    table = Table(f"Lakes below ice that levels, seeds {first} to {first + count - 1}")
    rows = np.array(_all(draining, range(first, first + DRAININGS)), float)
    covered(table, "volume of 20 to 120 d", rows[:, 0])
    for k, word in enumerate(("as told", "if nothing levelled")):
        error, inside, sigma = rows[:, k].T
        table.say(
            f"volume {word}: {100 * inside.mean():.1f} % within, median error "
            f"{100 * np.median(error):+.1f} %, a twentieth below "
            f"{100 * np.quantile(error, 0.05):+.1f}, sigma {100 * np.median(sigma):.1f}"
        )
    results = _all(record, range(first, first + count))
    found = [r for r in results if r]
    table.line("drainings found", 100.0 * len(found) / count, 95.0, "%", "own bar", least=True)
    for what, word, each in (
        ("volume", "volume of a record's draining", 1),
        ("inflow", "inflow between events", 2),
    ):
        covered(table, word, np.array([row for r in found for row in r[what]], float), each)
    for what in ("volume", "inflow", "stored"):
        error, inside, sigma = np.array([row for r in found for row in r[what]], float).T
        ratio = np.sqrt(np.mean((error / sigma) ** 2))
        table.say(f"{what}: {100 * inside.mean():.0f} % within, error over sigma {ratio:.2f}")
    for what, words in (("inflow", "as told"), ("stiff", "if nothing levelled")):
        error = np.array([row[0] for r in found for row in r[what]])
        table.say(f"inflow {words}: off by {np.sqrt(np.mean(error**2)):.2f} m3/s (rms)")
    table.end()


def _all(work, seeds):
    """Return the results of seeds in their order; exit where one fails."""
    found = {}
    for seed, result, problem in run_tasks(work, list(seeds), 2):
        if problem:
            sys.exit(f"{seed}: {problem}")
        found[seed] = result
    return [found[seed] for seed in seeds]


if __name__ == "__main__":
    main()
