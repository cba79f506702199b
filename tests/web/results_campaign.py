"""A campaign whose results are written by hand, with names that try to be markup."""

import hashlib
import json

import numpy as np

from stakeline.campaign.folders import create
from stakeline.campaign.store import parquet_bytes
from stakeline.constants import NS_PER_DAY
from stakeline.time import from_iso

BAD = "<img src=x onerror=alert(1)>"
LAKE = "Upper Halvard"
START = from_iso("2031-05-01")
HOURS = 2400
GAP = slice(1000, 1200)  # hours that are missing
RING = [[-22.95, 79.17], [-22.80, 79.17], [-22.80, 79.20], [-22.95, 79.20], [-22.95, 79.17]]
EVENT = f"{LAKE} 2031-06-20 drain"
ENDS = ("low", "median", "high")
HISTORY = f"""\
station = "HV02"

[[visit]]
time = "2031-05-01T09:00:00Z"
kind = "set-up"
note = "{BAD}"
receiver = {{ type = "any" }}
antenna = {{ type = "any" }}

[visit.height]
measured_m = 1.5
how = "vertical"
from = "marker"
to = "antenna reference point"
"""


def make(root):
    """Make the campaign: two stations, a lake that drains once, and a verdict."""
    create(root)
    for name in ("HV02", BAD):
        _station(root, name)
    _network(root)
    _lake(root)
    _verdict(root)
    _intake(root)
    _health(root)
    _position(root)
    _report(root)
    return root


def _put(path, data):
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data if isinstance(data, bytes) else data.encode())


def _station(root, name):
    hours = np.delete(np.arange(HOURS), GAP)
    time = (START + hours * (NS_PER_DAY // 24)).astype("datetime64[ns]")
    nothing = np.zeros(len(time))
    latitude = 79.18 if name == "HV02" else 79.25
    xyz = {"x_m": 1.10e6 + hours * 0.02, "y_m": nothing - 4.7e5, "z_m": nothing + 6.24e6}
    place = {"latitude_deg": nothing + latitude, "longitude_deg": nothing - 22.9,
             "height_m": 900.0 + 0.01 * np.sin(hours)}  # fmt: skip
    sigmas = {f"sigma_{axis}_m": nothing + 0.01 for axis in ("east", "north", "up")}
    more = {key: nothing for key in ("corr_en", "corr_eu", "corr_nu")}
    words = {"station": np.full(len(time), name, object),
             "satellites": np.full(len(time), 9, np.int16),
             "state": np.full(len(time), "imported", object)}  # fmt: skip
    table = parquet_bytes({"time_gps": time, **xyz, **place, **sigmas, **more, **words}, {}, {})
    _put(root / "4-position" / name / f"{name}_imported.parquet", table)
    motion = {"time_gps": time, "speed_m_d": 1.0 + 0.1 * np.sin(hours / 50.0),
              "residual_up_m": nothing + 0.1, "tide_up_m": np.sin(hours / 2.0)}  # fmt: skip
    made = {"inputs": [{"file": "maps/lakes.geojson", "sha256": "another"}]}
    _put(root / "5-motion" / name / f"{name}_motion.parquet", parquet_bytes(motion, {}, made))


def _intake(root):
    names = ("file,bytes,sha256,kind,station,first_gps,last_gps,epochs,rows,date_shift_weeks,used,"
             "set_aside,same_as,warnings")  # fmt: skip
    rows = (f"0-raw/a.rnx,10,,observations,HV02,,,0,0,0,no,{BAD},,",
            "0-raw/b.rnx,10,,observations,HV02,,,0,0,0,no,,0-raw/c.rnx,",
            "0-raw/d.rnx,10,,observations,HV02,,,0,0,0,no,,,",
            "0-raw/c.rnx,10,,observations,HV02,,,0,0,0,yes,,,a remark",
            "0-raw/e.bin,10,,unknown,,,,0,0,0,no,,,")  # fmt: skip
    folder = root / "3-intake"
    _put(folder / "manifest.csv", "\n".join((names, *rows, "")))
    dates = '[[repairs.date]]\nfile = "0-raw/d.rnx"\nshift_weeks = 1024\n'
    _put(folder / "proposals.toml", dates)
    columns = {"station": "HV02", "file": BAD, "percent": 60, "multipath_1_m": 0.3,
               "multipath_2_m": 0.3, "strength_1_high_dB_Hz": "", "epochs_per_slip": 900,
               "ionosphere_index_tecu_min": 0.1, "slips": 4, "clock_jumps": 0}  # fmt: skip
    rows = [{**columns, "day_gps": f"2031-05-0{k}", "percent": 60 + k} for k in (1, 2, 3)]
    lines = [",".join(map(str, one.values())) for one in rows]
    _put(folder / "quality.csv", "\n".join((",".join(rows[0]), *lines, "")))
    odd = f"Quality of receivers' days (quality.csv)\n  HV02: 3 files\n    2031-05-01 {BAD}: 61 %\n"
    _put(folder / "summary.txt", f"Halvard: intake\n\n{odd}\nDays\n  HV02: 2 days\n")


def _health(root):
    folder = root / "3-intake"
    _put(folder / "health.csv", "station,finding,since,told,last,holds,why\n"
         f"HV02,load has grown,2031-05-02,2031-05-04,2031-06-01,yes,{BAD}\n")  # fmt: skip
    _put(folder / "forecasts.csv", "station,told,chance,early,median,late\n"
         "HV02,2031-05-30,0.25,2031-11-02,2032-01-05,\n"
         "HV02,2031-06-30,0.4,2031-10-20,2031-12-24,\n")  # fmt: skip
    _put(folder / "energy.csv", "station,what,is,from,to,unit,days,said\n"
         f"HV02,load,3.2,3.1,3.3,W,10,{BAD}\n")  # fmt: skip
    _put(folder / "visits.csv", "rank,station,risk,lost_days,until,reason,before\n"
         f"1,HV02,0.70,90,2032-05-01,{BAD},2031-10-20\n")  # fmt: skip
    days = (START + np.arange(30) * NS_PER_DAY).astype("datetime64[ns]")
    charge = np.linspace(1.0, 0.7, 30)
    bank = {"day_gps": days, "charge": charge, "charge_sigma": charge * 0.1,
            "capacity_Ah": 1000.0 * charge, "capacity_sigma_Ah": 100.0 * charge,
            "load_W": 3.0 + charge, "load_sigma_W": 0.1 * charge, "panel_share": 0.5 * charge,
            "panel_share_low": 0.4 * charge, "panel_share_high": 0.6 * charge,
            "balance_unexplained_Wh_d": np.nan * charge}  # fmt: skip
    _put(folder / "health" / "HV02.parquet", parquet_bytes(bank, {}, {}))
    _put(root / "stations" / "HV02.toml", HISTORY)


def _position(root):
    arc = {"first_epoch_gps": "2031-05-02T00:00:00", "last_epoch_gps": "2031-05-02T23:00:00",
           "rows": 24, "rows_by_state": {"integer-fixed": 18, "float": 6}, "orbits": "precise",
           "frame": "IGS20", "phase residual rms m": 0.009, "code residual rms m": 0.9,
           "rejected": {"slips found": 7}, "warnings": [f"integers: {BAD}", BAD]}  # fmt: skip
    stem = root / "4-position" / "HV02" / "HV02_2031-05-02"
    table = (root / "4-position" / "HV02" / "HV02_imported.parquet").read_bytes()
    _put(stem.with_suffix(".parquet"), table)
    _put(stem.with_suffix(".json"), json.dumps({"arcs": [arc]}))


def _report(root):
    sentence = "Faster: 10 % as the lake drains."
    style = f"<style>p {{ color: red }}</style><p>{sentence}</p><script>x</script>"
    known = "7-decide/verdict.txt"
    told = {"sentence": sentence, "version": "0", "files": {known: "another"},
            "numbers": [{"table": "Speeds"}, {"table": "Speeds"}]}  # fmt: skip
    for name, data in (("report.html", style), ("numbers.json", json.dumps(told))):
        _put(root / "8-report" / name, data)
    made = {"campaign_files": {known: hashlib.sha256((root / known).read_bytes()).hexdigest()}}
    files = {"README.md": BAD, "maps/lakes.geojson": "{}", "provenance.json": json.dumps(made)}
    sums = ""
    for name, text in files.items():
        _put(root / "release" / name, text)
        sums += f"{hashlib.sha256(text.encode()).hexdigest()}  {name}\n"
    _put(root / "release" / "checksums.sha256", sums + f"{'0' * 64}  ../campaign.toml\n")


def _network(root):
    days = START + np.arange(100) * NS_PER_DAY
    columns = {"time_gps": days.astype("datetime64[ns]"),
               "station": np.full(100, "HV02", object),
               "speed_m_d": np.where(np.arange(100) < 50, 1.0, 1.1)}  # fmt: skip
    _put(root / "5-motion" / "network.parquet", parquet_bytes(columns, {}, {}))
    told = {"stations": {"HV02": {"mean_speed_m_a": 365.0, "azimuth_deg": 90.0}}}
    _put(root / "5-motion" / "summary.json", json.dumps(told))
    days_csv = "station,day_gps,percent\nHV02,2031-05-02T00:00:00,100\nHV02,2031-05-03,50\n"
    _put(root / "3-intake" / "days.csv", days_csv)


def _lake(root):
    feature = {"type": "Feature", "properties": {"name": LAKE},
               "geometry": {"type": "Polygon", "coordinates": [RING]}}  # fmt: skip
    collection = {"type": "FeatureCollection", "features": [feature]}
    _put(root / "maps" / "lakes.geojson", json.dumps(collection))
    role = {"station": BAD, "role": "over", "words": "1 km inside"}
    told = {"area_m2": 1e7, "events": [{}], "roles": [role], "notes": [BAD]}
    _put(root / "6-lakes" / "summary.json", json.dumps({"lakes": {LAKE: told}}))
    row = {"event": EVENT, "lake": LAKE, "kind": "drain", "status": BAD, "probability_real": "1.0"}
    for end in ENDS:
        row |= {f"onset_{end}_gps": "2031-06-20T00:00:00", f"end_{end}_gps": "2031-06-27T00:00:00",
                f"change_m_{end}": "-2.0", f"volume_m3_{end}": "2e7"}  # fmt: skip
    _put(root / "6-lakes" / "events.csv", f"{','.join(row)}\n{','.join(row.values())}\n")
    own = root / "6-lakes" / "Upper_Halvard"
    time = (START + np.arange(100) * NS_PER_DAY).astype("datetime64[ns]")
    level = {f"{stem}_{end}": np.linspace(0.0, 1.0 + k, 100) for k, end in enumerate(ENDS)
             for stem in ("level_m", "stored_m3", "outflow_m3_s")}  # fmt: skip
    columns = {"time_gps": time, "measured_m": np.linspace(0.0, 2.0, 100), **level}
    _put(own / "Upper_Halvard_levels.parquet", parquet_bytes(columns, {}, {}))
    onsets = (START + np.arange(200) * 10**12).astype("datetime64[ns]")
    samples = {"event": np.full(200, EVENT, object), "onset_gps": onsets}
    _put(own / "Upper_Halvard_samples.parquet", parquet_bytes(samples, {}, {}))


def _verdict(root):
    verdict = {"sentence": "Faster: 10 % as the lake drains.", "support": [BAD], "weakening": []}
    told = {"verdict": verdict, "lakes": [], "plan": {"sentence": "No plan was frozen."}}
    folder = root / "7-decide"
    _put(folder / "verdict.json", json.dumps(told))
    _put(folder / "verdict.txt", "Faster.\n")
    _put(folder / "effects.csv",
         "lake,station,event,change_percent,change_low_percent,change_high_percent,lag_d,lag_low_d,"
         f"lag_high_d,usual_speed_m_d\n{LAKE},HV02,all,10,8,12,0.5,0,1,1.0\n"
         f"{LAKE},HV02,{EVENT},10,8,12,0.5,0,1,1.0\n")  # fmt: skip
    _put(
        folder / "tests.csv", f"lake,station,test,rank,p,what_it_says\n{LAKE},,shifts,main,0.01,?\n"
    )
    _put(folder / "robustness.csv", "lake,choice,change_percent,change_low_percent,"
         f"change_high_percent,agrees\n{LAKE},as planned,10,8,12,yes\n")  # fmt: skip
    _put(folder / "power.csv", f"lake,change_percent,share_called\n{LAKE},0,0.05\n{LAKE},2,0.9\n")
