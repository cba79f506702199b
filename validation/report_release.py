"""A release: it reads back to the same numbers, checks whole, and pleases a public checker.

    python validation/report_release.py [CAMPAIGN]

Without CAMPAIGN one is invented. Exit code 1 where one falls short.
"""

import json
import sys
import tempfile
import warnings
from datetime import date
from pathlib import Path

import numpy as np
from _measured import Table
from _reported import campaign

from stakeline.campaign.store import read_table
from stakeline.formats.series_netcdf import read_columns
from stakeline.workflows import release, release_rebuild

try:
    from compliance_checker.suite import CheckSuite
except ImportError:
    CheckSuite = None

OWN = "identity"
POINT_BUG = "check_domain_variables"  # looks for a cf_role, which CF asks of no point


def differing(root, folder):
    """Return (values compared, values that differ) of positions and motion."""
    count = off = 0
    for path in sorted(folder.glob("positions/*.nc")):
        station, _, kind = path.stem.partition("_")
        some = sorted(Path(root, "4-position", station).glob(f"{station}_*.parquet"))
        some = [p for p in some if not p.stem.endswith("_snow")
                and p.stem.endswith("_imported") == bool(kind)]  # fmt: skip
        tables = [read_table(p)[0] for p in some]
        file = read_columns(path)
        for name in file.values.keys() & tables[0].keys():
            expected = np.concatenate([t[name] for t in tables]).astype(float)
            count += len(expected)
            off += np.sum(~same(file.column(name), expected))
    for path in sorted(folder.glob("motion/*.nc")):
        file = read_columns(path)
        for station in file.station_names:
            table = read_table(Path(root, "5-motion", station, f"{station}_motion.parquet"))[0]
            for name in file.values.keys() & table.keys():
                found = file.column(name, station)
                some = found[np.isfinite(found)]
                expected = table[name][np.isfinite(table[name])]
                count += len(expected)
                off += abs(len(some) - len(expected)) or np.sum(some != expected)
    return count, int(off)


def rebuilt(table, root, folder, again):
    """Print how a campaign compares that was made again from its release and its inputs."""
    release_rebuild.rebuild(again, from_release=folder, raw=[root / "0-raw", root / "products",
                                                             root / "maps"])  # fmt: skip
    worst = release_rebuild.differences(folder, again / release_rebuild.AGAIN)
    table.line("files made again from raw", len(worst), 20, "", "own rule", least=True)
    table.line("largest difference to the release, of the number", max(worst.values()),
               release_rebuild.SAME, "", "own choice; 0: the same bytes")  # fmt: skip


def same(one, other):
    return (one == other) | (np.isnan(one) & np.isnan(other))


def complaints(result, lakes):
    """Return what a checker says of needed and recommended points (weights 3 and 2)."""
    if result.children:
        return [line for child in result.children for line in complaints(child, lakes)]
    value = result.value
    good = value[0] >= value[1] if isinstance(value, tuple) else value in (True, None)
    if good or result.weight < 2:
        return []
    lines = [line for line in result.msgs or [result.name] if line != "standard_name"]
    return [line for line in lines if not (lakes and "vertical" in line)]


def checked(folder):
    """Return (CF, ACDD) complaints of one file of positions and of all others."""
    CheckSuite.load_all_available_checkers()
    found = {"cf": [], "acdd": []}
    others = [p for p in sorted(folder.rglob("*.nc")) if p.parent.name != "positions"]
    for path in (min(folder.glob("positions/*.nc")), *others):
        suite = CheckSuite()
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            data = suite.load_dataset(str(path))
            for name, (groups, broken) in suite.run_all(data, ["cf:1.11", "acdd:1.3"]).items():
                lakes = path.parent.name == "lakes" and name.startswith("acdd")
                lines = [line for group in groups for line in complaints(group, lakes)]
                lines += [one for one in broken if (path.name, one) != ("events.nc", POINT_BUG)]
                found[name.partition(":")[0]] += [f"{path.name}: {line}" for line in lines]
            data.close()
    return found["cf"], found["acdd"]


def main():
    if CheckSuite is None:
        print("not installed: compliance-checker")
        sys.exit(1)
    table = Table("A release for an archive")
    with tempfile.TemporaryDirectory() as scratch:
        root, folder = campaign(scratch), Path(scratch) / "release"
        release.release(root, folder=folder, day=date(2031, 11, 1))
        count, off = differing(root, folder)
        table.line("values of positions and motion compared", count, 1000, "", "own rule",
                   least=True)  # fmt: skip
        table.line("values that read back differently", off, 0, "", OWN)
        files = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
        copies = [p for p in files if p.is_relative_to(folder / "tables")]
        table.line("tables that are not those of the campaign, byte for byte",
                   sum(files[p] != (root / p.relative_to(folder / "tables")).read_bytes()
                       for p in copies), 0, "", OWN)  # fmt: skip
        table.line("files whose checksum does not hold", len(release.check(folder)), 0, "",
                   "FIPS 180-4, SHA-256")  # fmt: skip
        made = json.loads(files[folder / release.PROVENANCE])["files"]
        table.line("files without provenance", sum(not one["made_of"] for one in made.values()), 0,
                   "", "own rule")  # fmt: skip
        release.release(root, folder=folder, day=date(2031, 11, 1))
        table.line("files whose bytes differ when made again",
                   sum(p.read_bytes() != data for p, data in files.items()), 0, "",
                   OWN)  # fmt: skip
        rebuilt(table, root, folder, Path(scratch) / "again")
        cf, acdd = checked(folder)
    table.line("complaints by CF 1.11", len(cf), 0, "", "public checker, needed and recommended")
    table.line("by ACDD 1.3, without names the CF table has not", len(acdd), 0, "",
               "public checker; lakes have no height")  # fmt: skip
    for line in (*cf, *acdd)[:20]:
        table.say(line)
    table.end()


if __name__ == "__main__":
    main()
