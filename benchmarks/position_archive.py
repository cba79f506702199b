"""An archive of 25 stations and 365 days at 30 s, projected from a measured slice; part by part.

One real station-day (ESBC, all systems) under the names of several invented stations: their files
differ in the name only. Each command is a process of its own with kernels compiled before; the
slope between few and all stations leaves its start out. Seconds are those of a core (user and
system), since other work on the machine stretches the clock; the clock's stand beside them, and
the load. Needs the real open data (STAKELINE_REFERENCE_DATA).
"""

import argparse
import json
import os
import resource
import shutil
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "validation"))

from _measured import ESBC, ESBC_PRODUCTS, Table, files
from position_kill import history_of, stakeline, wipe

from stakeline.campaign.settings import PositionPart
from stakeline.formats.rinex_obs import read_observations, write_observations

STATIONS, DAYS = 25, 365
FILES = 3  # of a station read whole for one day with the hours around it
IDLE = 0.5  # load below which the clock tells of this program alone; own choice
READING, PRODUCTS = "reading", "products"


@dataclass(frozen=True)
class Run:
    """One run of both verbs: seconds of clock and core, and what the arcs' records tell."""

    wall_s: dict  # by verb
    core_s: dict
    parts_s: dict  # by part of an arc, the median of all arcs
    arcs_s: float  # of a core, all arcs
    products_s: float  # of a core, reading one day's products
    peak_gb: float


def build(folder, count):
    """Make a campaign of ``count`` stations with one day each."""
    stakeline("new", folder)
    (folder / "stations" / "HV01.toml").unlink()
    (folder / "plans" / "HV01.toml").unlink()
    data = read_observations(files(ESBC, "*crx.gz")[0])
    text = '[campaign]\nname = "Archive"\n'
    for number in range(1, count + 1):
        name = f"HV{number:02d}"
        own = replace(data, header=replace(data.header, marker_name=name))
        raw = folder / "0-raw" / name / f"{name.lower()}.rnx"
        raw.parent.mkdir()
        raw.write_bytes(write_observations(own))
        history = history_of(name, data.header)
        (folder / "stations" / f"{name}.toml").write_text(history, encoding="utf-8")
        text += f'[[station]]\nname = "{name}"\nraw = ["0-raw/{name}"]\n'
    for kind in ("orbits", "clocks", "offsets"):
        for where in ESBC_PRODUCTS[kind]:
            for path in files(*where):
                shutil.copy(path, folder / "products")
    (folder / "campaign.toml").write_text(text, encoding="utf-8")


def core_s():
    """Return the seconds of a core that finished children have used."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def timed(folder, workers, count):
    """Do both verbs from the beginning; return the :class:`Run`; leave where one fails."""
    wipe(folder)
    wall, core = {}, {}
    for verb in ("intake", "position"):
        where = ("--campaign", folder) if verb == "position" else (folder,)
        begin, used = time.perf_counter(), core_s()
        done = stakeline(verb, *where, "--workers", workers, "--quiet")
        wall[verb], core[verb] = time.perf_counter() - begin, core_s() - used
        if done.returncode:
            sys.exit(f"{verb} of {count} stations ended with {done.returncode}: {done.stderr}")
    records = [json.loads(path.read_text()) for path in (folder / "ledger/arcs").glob("*.json")]
    if len(records) < count:
        sys.exit(f"{len(records)} arcs from {count} stations")
    parts = {
        name: float(np.median([record["seconds"].get(name, 0.0) for record in records]))
        for name in records[0]["seconds"]
    }
    return Run(
        wall,
        core,
        parts,
        sum(sum(record["seconds"].values()) for record in records),
        max(record["seconds"][PRODUCTS] for record in records),
        max(record["peak_memory_bytes"] for record in records) / 1e9,
    )


def slices(scratch, few, many, rounds):
    """Return {(workers, count): the Run of least seconds of a core of several}."""
    folders = {count: Path(scratch) / f"n{count}" for count in (few, many)}
    for count, folder in folders.items():
        build(folder, count)
    for workers in (1, 2):  # compiles and notes it, fills the cache of the disk
        timed(folders[few], workers, few)
    found = {}
    for _ in range(rounds):
        for workers in (1, 2):
            for count, folder in folders.items():
                now = timed(folder, workers, count)
                known = found.get((workers, count), now)
                found[workers, count] = min(known, now, key=lambda run: sum(run.core_s.values()))
    return found


def project(table, found, few, many):
    """Say what an archive takes by part, from the slices of one worker."""
    first, last = found[1, few], found[1, many]
    each = {verb: (last.core_s[verb] - first.core_s[verb]) / (many - few) for verb in last.core_s}
    margin = 1.0 + 2.0 * PositionPart().margin_h / 24.0
    day = {"intake": each["intake"]}
    for part, spent in last.parts_s.items():
        day[part] = spent * (FILES if part == READING else margin)
    day["checks, blending, tables"] = max(each["position"] - sum(last.parts_s.values()), 0.0)
    day[PRODUCTS] = FILES * last.products_s / STATIONS
    table.say(f"an archive's station-day, with {margin:g} of a day solved, {FILES} files read,")
    table.say(f"products of a day read once for {STATIONS} stations; seconds of one core:")
    for part, spent in day.items():
        hours = spent * STATIONS * DAYS / 3600.0
        table.say(f"  {part:26s} {spent:6.3f} s, archive {hours:6.2f} h")
    hours = sum(day.values()) * STATIONS * DAYS / 3600.0
    table.say(f"  {'all':26s} {sum(day.values()):6.3f} s, archive {hours:6.2f} h of one core")
    return each


def gains(found, few, many):
    """Return (times faster by the clock, the same as seconds of cores alone would have it)."""
    clock, core = {}, {}
    for workers in (1, 2):
        first, last = found[workers, few], found[workers, many]
        clock[workers] = last.wall_s["position"] - first.wall_s["position"]
        arcs = last.arcs_s - first.arcs_s
        alone = last.core_s["position"] - first.core_s["position"] - arcs
        core[workers] = max(alone, 0.0) + arcs / workers
    return clock[1] / clock[2], core[1] / core[2]


def main():
    """Print what was measured and what follows for the archive; leave with 1 where it is short."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--few", type=int, default=2, help="at least 2, one for each worker")
    parser.add_argument("--many", type=int, default=10)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    if not 2 <= asked.few < asked.many:
        parser.error("--few is at least 2 and less than --many")
    table = Table("an archive of 25 stations x 365 days at 30 s, from a measured slice")
    before = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as scratch:
        found = slices(scratch, asked.few, asked.many, asked.rounds)
    table.say(f"load of the machine {before:.1f} before, {os.getloadavg()[0]:.1f} after (with own)")
    each = project(table, found, asked.few, asked.many)
    wall = {verb: found[1, asked.many].wall_s[verb] - found[1, asked.few].wall_s[verb]
            for verb in each}  # fmt: skip
    for verb, spent in wall.items():
        table.say(f"{verb}, by the clock: {spent / (asked.many - asked.few):.2f} s a station-day")
    clock, core = gains(found, asked.few, asked.many)
    table.line("position, a station-day, seconds of a core", each["position"], 0.5, "s", "our bar")
    if before < IDLE:
        table.line("two workers against one, by the clock", clock, 1.8, "x", "our bar", least=True)
    else:
        table.say(f"two workers against one by the clock: {clock:.2f}, not judged at such a load")
    table.line("the same by seconds of cores", core, 1.8, "x", "our bar", least=True)
    peak = max(run.peak_gb for run in found.values())
    table.line("memory of the largest process that solves", peak, 1.0, "GB", "our bar")
    table.end()


if __name__ == "__main__":
    main()
