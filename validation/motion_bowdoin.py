"""Real stations on a tidewater glacier: mean speeds, resets of the stake, tide near the front.

    python validation/motion_bowdoin.py

Exit code 1 where one falls short. The records are read from the folder in
STAKELINE_REFERENCE_DATA or ../shared/data.

Mean speed is net travel over time. On 2015-07-17 hands set the stake of the second record anew,
three metres up-glacier: the published 1.26 m/d is the net travel of the record as it stands, the
reset included; the ice itself went faster, which the parts beside the reset confirm.

The tide is estimated with the motion, by the defaults: constituents that the record can part as
regressors beside a velocity that walks at random, whose restlessness and noise the restricted
likelihood of the series gives. So slow motion is neither filtered nor fitted away before, and no
length of a window is there to choose. Only the shortest record is set to 10 d, since these have 11
and 12 d (default 14 d, in which M2 and S2 part): M2 is then what M2, S2 and N2 are together.
"""

import csv
import gzip

import numpy as np
from _measured import Table, real_data

from stakeline.constants import NS_PER_DAY
from stakeline.motion.flow import along_path, mean_speed, straight_path
from stakeline.motion.local import local_from_geodetic
from stakeline.motion.solve import MotionSettings, series_of, solve_motion
from stakeline.time import from_iso, iso

README = "README of the real data"
SPEED_M_D = {
    "ice_2014": 0.90,
    "ice_2015": 1.26,
    "front_2015_a": 1.59,
    "front_2015_b": 1.19,
    "front_2015_c": 0.94,
}
RESETS = ("2015-07-08", "2015-07-17")
SETTINGS = MotionSettings(shortest_tide_record_d=10.0)
mm = 1e-3


def record(name):
    """Return the series of a record."""
    path = real_data("ice", "motion", f"bowdoin_{name}.csv.gz")
    with gzip.open(path, "rt") as text:
        rows = list(csv.DictReader(text))

    def columns(*names):
        return np.array([[float(row[n]) for n in names] for row in rows]).T

    time_ns = np.array([from_iso(row["time_gps"]) for row in rows])
    latitude, longitude, height = columns("latitude_deg", "longitude_deg", "height_m")
    sigma = columns("sigma_east_m", "sigma_north_m", "sigma_up_m").T
    covariance = sigma[:, :, None] ** 2 * np.eye(3)
    place = np.radians(latitude), np.radians(longitude), height
    return series_of(name, time_ns, local_from_geodetic(*place, covariance))


def recorded_speed(series):
    """Return the net travel of the record as it stands, over time. [m/d]"""
    path = straight_path(series.time_ns, series.enu_m)
    return mean_speed(series.time_ns, along_path(path, series.enu_m).flow_m[:, 0])[0]


def off(found, published):
    """Return the relative difference in per cent."""
    return 100.0 * abs(found / published - 1.0)


def speeds(table, series, motions):
    for name, published in SPEED_M_D.items():
        found = recorded_speed(series[name])
        quantity = f"{name}: {found:.3f} m/d as recorded, off {published}"
        table.line(quantity, off(found, published), 1.0, "%", README)
        along = motions[name].along
        sigma = along.mean_velocity_sigma_m_d
        if name == "ice_2015":
            table.say(f"its ice, the reset kept out: {along.mean_velocity_m_d:.3f} +-{sigma:.4f}")
            continue
        quantity = f"{name}: {along.mean_velocity_m_d:.3f} +-{sigma:.4f} m/d by the smoother"
        table.line(quantity, off(along.mean_velocity_m_d, published), 1.0, "%", README)


def resets(table, series, motion):
    steps = motion.steps.only("equipment")
    for step in range(len(steps)):
        size = ", ".join(f"{v:.3f}" for v in steps.size_m[step])
        table.say(f"equipment by {iso(steps.after_ns[step])}: {size} m along, across, up")
    for day in RESETS:
        noon = from_iso(f"{day}T12:00:00")
        miss = np.abs(steps.after_ns - noon).min() / NS_PER_DAY
        table.line(f"reset {day} found, away from its noon", miss, 1.0, "d", README)
        lasting = [k for k, kind in enumerate(motion.steps.kind) if kind in ("motion", "slip")]
        near = np.abs(motion.steps.after_ns[lasting] - noon) < NS_PER_DAY
        table.line(f"reset {day}: taken for motion within a day", near.sum(), 0, "", README)
        across_it(table, series, motion, noon, day)
    resets_ns = steps.after_ns[np.abs(steps.size_m).max(axis=1) > 0.2]
    away = np.abs(steps.after_ns[:, None] - resets_ns).min(axis=1) > NS_PER_DAY // 24
    table.line("equipment steps over an hour from both", away.sum(), 0, "", README)
    parts_beside(table, series, motion, from_iso(f"{RESETS[1]}T16:40:00"))


def across_it(table, series, motion, noon, day):
    """Compare the speed over a reset with the recorded travel beside it, and heights."""
    near = np.abs(motion.time_ns - noon) < NS_PER_DAY
    beside = (np.abs(motion.time_ns - noon) < 2 * NS_PER_DAY) & ~near
    speed = motion.speed_m_d
    change = abs(np.nanmean(speed[near]) - np.nanmean(speed[beside]))
    table.line(f"reset {day}: mean speed, the day beside it", change, 0.3, "m/d", "own bar")
    rise = np.ptp(motion.up.position_m[near])
    table.line(f"reset {day}: height's range in two days", rise, 0.15, "m", "own bar")


def parts_beside(table, series, motion, reset_ns):
    """Compare the mean speed with that of the recorded travel before and after the reset."""
    travel = days = 0.0
    path = straight_path(series.time_ns, series.enu_m)
    along = along_path(path, series.enu_m).flow_m[:, 0]
    for part in (series.time_ns < reset_ns, series.time_ns > reset_ns):
        travel += np.ptp(along[part][[0, -1]])
        days += np.ptp(series.time_ns[part]) / NS_PER_DAY
    quantity = f"mean speed off the {travel / days:.3f} m/d of the parts beside it"
    table.line(quantity, off(motion.along.mean_velocity_m_d, travel / days), 1.0, "%", "arithmetic")


def tide(table, motions):
    for name in "abc":
        tides = motions[f"front_2015_{name}"].along.tides
        k = tides.index("M2")
        found, sigma = tides.amplitude[k] / mm, tides.amplitude_sigma[k] / mm
        said = f"M2 along the flow at {name}, {found:.2f} +-{sigma:.2f} mm"
        if name == "a":
            table.line(f"{said}: off 9.5", abs(found - 9.5), 1.5, "mm", README)
        else:
            table.line(said, found, 3.0, "mm", README)
    table.say(f"constituents at a: {', '.join(motions['front_2015_a'].along.tides.names)}")


def main():
    table = Table("Stations on a tidewater glacier, 77.7 N, 2014 and 2015")
    series = {name: record(name) for name in SPEED_M_D}
    motions = {name: solve_motion(one, SETTINGS) for name, one in series.items()}
    speeds(table, series, motions)
    resets(table, series["ice_2015"], motions["ice_2015"])
    tide(table, motions)
    table.end()


if __name__ == "__main__":
    main()
