"""Published tides against ours: the sea level of Tuktoyaktuk 1975, and error bars in noise.

    python validation/motion_tide.py

Exit code 1 where one falls short. The record is read from the folder in STAKELINE_REFERENCE_DATA
or ../shared/data.
"""

from datetime import datetime

import numpy as np
from _measured import Table, real_data

from stakeline.constants import NS_PER_DAY
from stakeline.motion.constituents import alias_table, constituent, greenwich_terms
from stakeline.motion.tide_inference import equilibrium_inference
from stakeline.motion.tides import analyse
from stakeline.time import from_calendar, gps_from_utc

EXAMPLE = "Foreman 1977; Pawlowicz et al. 2002"
SPEEDS_DEG_H = {  # published tables
    "M2": 28.9841042,
    "S2": 30.0,
    "N2": 28.4397295,
    "K2": 30.0821373,
    "K1": 15.0410686,
    "O1": 13.9430356,
    "P1": 14.9589314,
    "Q1": 13.3986609,
    "MF": 1.0980331,
    "MM": 0.5443747,
    "SSA": 0.0821373,
    "SA": 0.0410686,
    "M4": 57.9682084,
}


def sea_level():
    """Return GPS times [ns] and heights [m]; missing is NaN."""
    path = real_data("ice", "tide", "tuktoyaktuk1975_time_elev.dat")
    rows = [line.replace('"', "").split("\t") for line in path.read_text().splitlines()]
    when = [np.datetime64(datetime.strptime(r[0], "%d-%b-%Y %H:%M:%S"), "ns") for r in rows]
    value = [np.nan if r[1].strip() == "NA" else float(r[1]) for r in rows]
    return gps_from_utc(np.array(when).astype(np.int64)), np.array(value)


def published_example(table):
    tides = analyse(*sea_level(), trend=False)
    count = len(tides.names)
    table.line("Tuktoyaktuk: constituents beside 35", abs(count - 35), 0, "", EXAMPLE)
    table.line("mean, apart from 1.9806", abs(tides.mean - 1.9806), 5e-4, "m", EXAMPLE)
    for name, amplitude, phase, bar_m, bar_deg in (
        ("M2", 0.4903, 77.70, 0.001, 0.2),
        ("O1", 0.0767, 74.25, 0.001, 0.3),
        ("N2", 0.0838, 44.50, 0.001, 0.3),
    ):
        k = tides.index(name)
        miss = abs(tides.amplitude[k] - amplitude), abs(tides.phase_deg[k] - phase)
        found = f"{tides.amplitude[k]:.4f} m, {tides.phase_deg[k]:.2f} deg"
        table.line(f"{name}, found {found}: amplitude off", miss[0], bar_m, "m", EXAMPLE)
        table.line(f"{name}: Greenwich phase off", miss[1], bar_deg, "deg", EXAMPLE)


def speeds(table):
    miss = max(abs(constituent(n).speed_deg_h - v) for n, v in SPEEDS_DEG_H.items())
    table.line("13 speeds, largest difference", miss, 1e-7, "/h", "published tables, deg/h")
    miss = abs({row[0]: row[2] for row in alias_table()}["M2"] - 14.765)
    table.line("M2 in daily positions, apart from 14.765 d", miss, 0.001, "d", "arithmetic")


def drifting(rng, count):
    """Return red noise and white noise."""
    out, state = np.empty(count), 0.0
    for k, step in enumerate(rng.normal(0.0, 0.3, count)):
        state = 0.95 * state + step
        out[k] = state
    return out + rng.normal(0.0, 0.1, count)


def coverage(table):
    rng = np.random.default_rng(20)
    time_ns = from_calendar(2024, 5, 1) + np.arange(60 * 24) * (NS_PER_DAY // 24)
    names = ("M2", "K1", "M4", "MM")
    wave = np.exp(-1j * np.radians([50.0, 120.0, 10.0, 60.0]))
    tide = (greenwich_terms(names, time_ns) @ wave).real
    inside, within_three = [], []
    for _ in range(100):
        tides = analyse(time_ns, tide + drifting(rng, time_ns.size))
        k = [tides.index(name) for name in names]
        off = np.abs(tides.amplitude[k] - 1.0) / tides.amplitude_sigma[k]
        inside.append(off < 1.96)
        within_three.append(off < 3.0)
    share = 100.0 * np.mean(inside)
    table.say(f"95 % intervals hold the amplitude in {share:.1f} % of 400 trials in red noise")
    table.line("of them beside 95 %", abs(share - 95.0), 3.3, "%", "three sigma of the count")
    table.line(
        "within three sigma", 100.0 * np.mean(within_three), 98.0, "%", "own bar", least=True
    )


def inference(table):
    time_ns = from_calendar(2024, 5, 1) + np.arange(45 * 24) * (NS_PER_DAY // 24)
    infer = equilibrium_inference("P1", "K1")
    wave = np.array([0.2, 0.2 * infer.ratio]) * np.exp(-1j * np.radians(40.0))
    tide = (greenwich_terms(["K1", "P1"], time_ns) @ wave).real
    tides = analyse(time_ns, tide, infer=(infer,))
    miss = np.abs(tides.wave[[tides.index("K1"), tides.index("P1")]] - wave).max()
    table.line("K1 and P1 parted by inference in 45 d", miss, 1e-9, "m", "invented")
    blind = analyse(time_ns, tide)
    wrong = abs(blind.amplitude[blind.index("K1")] - 0.2)
    table.say(f"without inference K1 would be wrong by {wrong:.3f} m of 0.2 m")


def main():
    table = Table("Tides: speeds, a published analysis, error bars")
    speeds(table)
    published_example(table)
    inference(table)
    coverage(table)
    table.end()


if __name__ == "__main__":
    main()
