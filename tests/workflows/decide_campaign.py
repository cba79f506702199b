"""A campaign whose speeds and drainings are written by hand, for the verb decide."""

import numpy as np

from stakeline.campaign.decide_settings import DecidePart
from stakeline.campaign.store import json_text, parquet_bytes
from stakeline.constants import NS_PER_DAY
from stakeline.time import from_iso

START = from_iso("2031-05-01")
DAYS = 200
ONSETS = (45.3, 81.8, 158.4)
LENGTH = 8.0
QUICK = DecidePart(
    permutations=499, lag_step_d=1.0, longer_d=(0.0,), lag_d=(0.0, 3.0), decay_d=(5.0,)
)
RESPONDING = {"HV05": 6500.0, "HV06": 15100.0}
SETTINGS = """
[decide]
permutations = 499
lag_step_d = 1.0
longer_d = [0.0]
decay_d = [5.0]
lag_d = [0.0, 3.0]
"""
ROUTES = """\
lake,target,kind,on_drawn_route,along_m,beside_m,beyond_end,probability
Upper,HV01,station,no,,8200,no,0.000
Upper,HV04,station,no,,-5300,no,0.000
Upper,HV05,station,yes,6500,10,no,0.920
Upper,HV06,station,yes,15100,20,no,0.980
Upper,HV10,station,yes,31000,20,no,0.980
Upper,HV14,station,no,,-9000,yes,0.000
Upper,Lower,lake,yes,21000,,,0.990
"""


def speed(rng, size=0.0, days=DAYS, onsets=ONSETS):
    """Return daily speeds [m/d] of 1 m/d with red noise of 1 %, changed from each onset on."""
    red = np.zeros(days)
    for k in range(1, days):
        red[k] = 0.7 * red[k - 1] + 0.5 * rng.standard_normal()
    noise = 0.008 * red + 0.006 * rng.standard_normal(days)
    begin = np.arange(days)
    for onset in onsets:
        noise += size * (share_after(begin, onset) - share_after(begin, onset + LENGTH + 2.0))
    return 1.0 + noise


def share_after(begin, time):
    """Return the share of each day that lies after a time."""
    return np.clip(begin + 1.0 - time, 0.0, 1.0)


def windows(values):
    start = START + np.arange(len(values)) * NS_PER_DAY
    return {
        "window_d": np.full(len(values), 1.0), "axis": np.full(len(values), "along", object),
        "start_gps": start.view("datetime64[ns]"),
        "end_gps": (start + NS_PER_DAY).view("datetime64[ns]"),
        "velocity_m_d": values, "velocity_sigma_m_d": np.full(len(values), 0.006),
    }  # fmt: skip


def write_station(root, name, values):
    folder = root / "5-motion" / name
    folder.mkdir(parents=True, exist_ok=True)
    about = {"mean_speed_m_d": 1.0, "mean_speed_sigma_m_d": 1e-5}
    (folder / f"{name}_windows.parquet").write_bytes(parquet_bytes(windows(values), {}, about))
    time = {"time_gps": np.array([START], np.int64).view("datetime64[ns]")}
    (folder / f"{name}_motion.parquet").write_bytes(parquet_bytes(time, {}, about))


def write_lake(root, onsets=ONSETS, **changed):
    """Write the tables of lake Upper; ``changed`` goes into its first event."""
    folder = root / "6-lakes" / "Upper"
    folder.mkdir(parents=True, exist_ok=True)
    rng = np.random.default_rng(10)
    told, samples = [], {"event": [], "onset_gps": [], "end_gps": []}
    for onset in onsets:
        day = START + int(onset * NS_PER_DAY)
        draws = day + (rng.normal(0.0, 0.2, 50) * NS_PER_DAY).astype(np.int64)
        name = f"Upper day {onset:g} drain"
        told.append({"event": name, "kind": "drain", "status": "automatic", "probability_real": 1.0}
                    | {f"volume_m3_{w}": v for w, v in
                       (("low", 1e7), ("median", 2e7), ("high", 3e7))})  # fmt: skip
        samples["event"].append(np.full(50, name, object))
        samples["onset_gps"].append(draws)
        samples["end_gps"].append(draws + int(LENGTH * NS_PER_DAY))
    told[0] |= changed
    table = {k: np.concatenate(v) for k, v in samples.items()}
    table |= {k: table[k].view("datetime64[ns]") for k in ("onset_gps", "end_gps")}
    parts = {"samples": table, "levels": {"x": np.zeros(1)}, "stations": {"x": np.zeros(1)}}
    for end, columns in parts.items():
        path = folder / f"Upper_{end}.parquet"
        path.write_bytes(parquet_bytes(columns, {}, {"origin_ns": {}}))
    (folder / "Upper_summary.json").write_text(json_text({"lake": "Upper", "events": told}))
    (root / "6-lakes" / "routes.csv").write_text(ROUTES)
