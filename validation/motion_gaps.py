"""Records with holes, without order, with clocks that jump, with nothing in them: clear answers.

    python validation/motion_gaps.py

Exit code 1 where one falls short. No data are read: the positions are invented.
"""

from dataclasses import replace

import numpy as np
from _measured import Table

from stakeline.constants import NS_PER_DAY
from stakeline.errors import StakelineError
from stakeline.motion.solve import StationSeries, covariance_of, solve_motion
from stakeline.time import from_calendar

ISSUE = "bar of the project"
SPEED_M_D = 1.2
DAYS = 60
START_NS = from_calendar(2030, 5, 1)


def station(gap_d=0.0, jump_m=0.0):
    """Return a series of 60 days at 1 h with a gap and a move within it after the first half."""
    rng = np.random.default_rng(4)
    days = np.arange(0.0, DAYS, 1.0 / 24.0)
    days = days + np.where(days >= DAYS / 2, gap_d, 0.0)
    along = SPEED_M_D * days + np.where(days >= DAYS / 2 + gap_d, jump_m, 0.0)
    enu = np.stack([0.6 * along, 0.8 * along, -0.02 * along], axis=1)
    sigma = np.tile([0.005, 0.005, 0.012], (len(days), 1))
    enu += sigma * rng.standard_normal(enu.shape)
    time_ns = START_NS + np.round(days * 1440).astype(np.int64) * (NS_PER_DAY // 1440)
    return StationSeries("HV02", time_ns, enu, covariance_of(sigma))


def chosen(series, rows):
    """Return a series of these rows, in this order."""
    return replace(
        series,
        time_ns=series.time_ns[rows],
        enu_m=series.enu_m[rows],
        covariance_m2=series.covariance_m2[rows],
    )


def long_gap(table, gap_d, jump_m):
    series = station(gap_d, jump_m)
    motion = solve_motion(series)
    day = (motion.time_ns - START_NS) / NS_PER_DAY
    inside = (day > DAYS / 2) & (day < DAYS / 2 + gap_d - 0.05)
    given = sum(np.isfinite(a.velocity_m_d[inside]).sum() for a in motion.axes)
    given += sum(np.isfinite(a.position_m[inside]).sum() for a in motion.axes)
    given += sum(
        np.isfinite(a.causal_velocity_m_d[inside & (day > 31.05)]).sum() for a in motion.axes
    )
    name = f"gap of {gap_d:.0f} d, moved by {jump_m:.0f} m in it"
    table.line(f"{name}: estimates inside", given, 0, "", ISSUE)
    beside = ~inside & np.isfinite(motion.speed_m_d)
    off = np.abs(motion.speed_m_d[beside] - SPEED_M_D)
    over = off / motion.along.velocity_sigma_m_d[beside]
    table.line(f"{name}: speed beside it, sigmas off", over.max(), 5.0, "", "own bar")
    table.line(f"{name}: speed beside it off", off.max(), 0.05, "m/d", "own bar")
    called = motion.steps.kind.count("equipment")
    table.line(f"{name}: steps taken off on a guess", called, 0, "", ISSUE)
    windows = motion.along.windows[7.0]
    spans = (windows.start_ns < START_NS + 30.5 * NS_PER_DAY) & (
        windows.end_ns > START_NS + (29.5 + gap_d) * NS_PER_DAY
    )
    table.line(f"{name}: windows across it", np.isfinite(windows.velocity_m_d[spans]).sum(), 0, "",
               ISSUE)  # fmt: skip


def order(table):
    series = station()
    plain = solve_motion(series)
    rows = np.random.default_rng(5).permutation(len(series))
    mixed = solve_motion(chosen(series, rows))
    off = np.nanmax(np.abs(mixed.speed_m_d - plain.speed_m_d))
    table.line("rows without order: speeds differ", off, 1e-9, "m/d", ISSUE)
    table.say("; ".join(mixed.notes))
    worse = replace(series, enu_m=series.enu_m + 0.5, covariance_m2=4.0 * series.covariance_m2)
    twice = StationSeries(
        "HV02",
        np.concatenate([series.time_ns, worse.time_ns[:200]]),
        np.concatenate([series.enu_m, worse.enu_m[:200]]),
        np.concatenate([series.covariance_m2, worse.covariance_m2[:200]]),
    )
    again = solve_motion(twice)
    off = np.nanmax(np.abs(again.speed_m_d - plain.speed_m_d))
    table.line("repeated times, the surer kept: speeds differ", off, 1e-9, "m/d", ISSUE)
    table.say("; ".join(again.notes))


def clocks(table):
    series = station()
    late = series.time_ns.copy()
    late[700:] += 1024 * 7 * NS_PER_DAY  # a receiver that counts weeks anew
    motion = solve_motion(replace(series, time_ns=late))
    inside = (motion.time_ns > late[699] + NS_PER_DAY) & (motion.time_ns < late[700] - NS_PER_DAY)
    table.line("clock 1024 weeks ahead: speeds in between", np.isfinite(
        motion.speed_m_d[inside]).sum(), 0, "", ISSUE)  # fmt: skip
    said = [note for note in motion.notes if "clock" in note]
    table.line("clock 1024 weeks ahead: is it said?", len(said), 1, "", ISSUE, least=True)
    table.say("; ".join(said))
    back = series.time_ns.copy()
    back[700:760] -= 2 * NS_PER_DAY  # rows set back among the others
    motion = solve_motion(replace(series, time_ns=back))
    at = (back[700] - 2 * NS_PER_DAY, back[759] + 2 * NS_PER_DAY)
    far = (motion.time_ns < at[0]) | (motion.time_ns > at[1] + 3 * NS_PER_DAY)
    off = np.abs(motion.speed_m_d[far] - SPEED_M_D)
    over = np.nanmax(off / motion.along.velocity_sigma_m_d[far])
    table.line("60 h set back by 2 d: speed elsewhere, sigmas off", over, 5.0, "", "own bar")
    table.say(f"there the speed is off by {np.nanmax(off):.3f} m/d at most")
    table.say("; ".join(motion.notes))


def nothing(table):
    series = station()
    for name, one in (
        ("one sample", chosen(series, [0])),
        ("nine samples", chosen(series, np.arange(9))),
        ("no sample", chosen(series, np.arange(0))),
        ("all NaN", replace(series, enu_m=np.full_like(series.enu_m, np.nan))),
        ("all at one time", replace(series, time_ns=np.full(len(series), START_NS))),
        ("sigmas of 0", replace(series, covariance_m2=0.0 * series.covariance_m2)),
        ("no sigmas", replace(series, covariance_m2=None)),
    ):
        try:
            solve_motion(one)
            answer = ""
        except StakelineError as problem:
            answer = str(problem)
        table.line(f"{name}: refused with a sentence", bool(answer), 1, "", ISSUE, least=True)
        table.say(answer)


def main():
    table = Table("Gaps, disorder, jumping clocks and empty records")
    long_gap(table, 250.0, 0.0)
    long_gap(table, 250.0, 40.0)
    order(table)
    clocks(table)
    nothing(table)
    table.end()


if __name__ == "__main__":
    main()
