"""How well days fit together: what overlapping arcs say differently about midnight."""

import json

import numpy as np

from .. import __version__
from ..campaign.folders import POSITION
from ..campaign.ledger import fingerprint
from ..earth.ellipsoid import enu_from_xyz, geodetic_from_xyz
from ..formats.plain_table import write_plain_table
from ..time import from_iso, iso

TASK = "midnights"
TABLE = f"{POSITION}/midnights.csv"
AXES = ("east", "north", "up")
FEWEST = 3  # midnights from which their rms is judged; our choice
LARGE_RMS = 1.5  # -, rms in sigmas above which days fit badly: arcs share hours, so below 1; ours
LARGE = 5.0  # -, sigmas above which one midnight is named; our choice


def midnight_between(before, own, day_begins_ns, reach_ns):
    """Return what an arc says of the time about midnight, less what the arc before it says.

    Parameters
    ----------
    before, own : Positions
        Arcs of two days that overlap.
    day_begins_ns : int
        The midnight. [ns]
    reach_ns : int
        Epochs so far from it count. [ns]

    Returns
    -------
    dict or None
        ``gps``, mean differences ``east_m``, ``north_m``, ``up_m``, and each over the root of both
        arcs' mean variances, ``east_sigmas``, ...: as if nothing were shared. None where the arcs
        have no such epochs in common or another frame.
    """
    if before.frame != own.frame:
        return None
    times, early, late = np.intersect1d(before.time_ns, own.time_ns, return_indices=True)
    good = np.abs(times - day_begins_ns) <= reach_ns
    good &= np.isfinite(before.position_m[early]).all(axis=1)
    good &= np.isfinite(own.position_m[late]).all(axis=1)
    if not good.any():
        return None
    early, late = early[good], late[good]
    latitude, longitude, _ = geodetic_from_xyz(own.position_m[late])
    apart = own.position_m[late] - before.position_m[early]
    apart = enu_from_xyz(apart, latitude, longitude).mean(axis=0)
    both = before.covariance_m2[early] + own.covariance_m2[late]
    sigma = np.sqrt(np.einsum("nii->ni", both).mean(axis=0))
    found = {"gps": iso(day_begins_ns)}
    found |= {f"{axis}_m": float(d) for axis, d in zip(AXES, apart, strict=True)}
    return found | {f"{a}_sigmas": float(r) for a, r in zip(AXES, apart / sigma, strict=True)}


def write_midnights(campaign, ledger):
    """Write the table of midnights of all stations where out of date; return remarks on them.

    Parameters
    ----------
    campaign : Campaign
    ledger : Ledger
    """
    records = {task: ledger.read(task)["outputs"] for task in sorted(ledger.tasks("days"))}
    if not records:
        ledger.forget(TASK)
        return ()
    key = fingerprint([__version__, records])
    if not ledger.up_to_date(TASK, key):
        by_station = {}
        for outputs in records.values():
            for name in outputs:
                if name.endswith(".json"):
                    told = json.loads((campaign.root / name).read_text(encoding="utf-8"))
                    found = by_station.setdefault(told["station"], [])
                    found += [told["midnight"]] if told.get("midnight") else []
        data, notes = midnight_table(by_station)
        ledger.finish(TASK, key, {TABLE: data}, notes=notes)
    return tuple(ledger.read(TASK)["notes"])


def midnight_table(by_station):
    """Return (bytes of the table, remarks) of midnights (dicts) by station.

    A station's row: how many, rms by axis, rms and largest of all axes in sigmas, and when.
    """
    rows, notes = [], []
    for station, found in sorted(by_station.items()):
        if not found:
            continue
        apart = np.array([[one[f"{axis}_m"] for axis in AXES] for one in found])
        sigmas = np.array([[one[f"{axis}_sigmas"] for axis in AXES] for one in found])
        worst = int(np.argmax(np.abs(sigmas).max(axis=1)))
        rms, largest = np.sqrt(np.mean(sigmas**2)), float(np.abs(sigmas).max())
        when = found[worst]["gps"]
        rows.append((station, len(found), *np.sqrt(np.mean(apart**2, axis=0)), rms, largest, when))
        if (len(found) >= FEWEST and rms > LARGE_RMS) or largest > LARGE:
            size = ", ".join(f"{1e3 * v:+.0f}" for v in apart[worst])
            notes.append(
                f"{station}: days disagree about midnight by {rms:.1f} sigmas (rms of "
                f"{len(found)}; below 1 is expected), most at {when} by {largest:.1f} ({size} mm "
                "east, north, up): look at orbits and clocks of both days, and at the hours about "
                "it in the raw files"
            )
    names = ("station", "midnights", *(f"rms_{axis}_m" for axis in AXES), "rms_sigmas")
    names += ("largest_sigmas", "largest_gps")
    columns = {name: [row[k] for row in rows] for k, name in enumerate(names)}
    for name in names[1:-1]:
        columns[name] = np.array(columns[name], float)
    columns["largest_gps"] = np.array([from_iso(text) for text in columns["largest_gps"]], np.int64)
    decimals = {"midnights": 0, "rms_sigmas": 2, "largest_sigmas": 2}
    decimals |= {f"rms_{axis}_m": 5 for axis in AXES}
    return write_plain_table(columns, decimals), notes
