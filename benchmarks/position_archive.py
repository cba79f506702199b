"""An archive of 25 stations and 365 days at 30 s, projected from a measured slice; part by part.

One real station-day (ESBC, all systems) under the names of several invented stations: their files
differ in the name only. Each part is measured as the slope between few and all of them, with one
and with two workers, each run a process of its own with kernels compiled before; what is left is
its start, with the products of one day. Needs the real open data (STAKELINE_REFERENCE_DATA), and
for two workers two cores with nothing else to do.
"""

import argparse
import resource
import shutil
import sys
import tempfile
import time
from dataclasses import replace
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "validation"))

from _measured import ESBC, ESBC_PRODUCTS, Table, files
from position_kill import history_of, stakeline, wipe

from stakeline.campaign.settings import PositionPart
from stakeline.formats.rinex_obs import read_observations, write_observations

STATIONS, DAYS = 25, 365
PARTS = ("intake", "position")


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


def timed(folder, workers, count):
    """Do both parts from the beginning; return the seconds of each; leave where one fails."""
    wipe(folder)
    spent = {}
    for part in PARTS:
        where = ("--campaign", folder) if part == "position" else (folder,)
        begin = time.perf_counter()
        done = stakeline(part, *where, "--workers", workers, "--quiet")
        spent[part] = time.perf_counter() - begin
        if done.returncode:
            sys.exit(f"{part} of {count} stations ended with {done.returncode}: {done.stderr}")
    made = len(list((folder / "4-position").rglob("*.parquet")))
    if made < count:
        sys.exit(f"{made} tables of positions from {count} stations")
    return spent


def measured(scratch, few, many, rounds):
    """Return {(workers, count): {part: shortest of several seconds}}, and the peak. [GB]"""
    folders = {count: Path(scratch) / f"n{count}" for count in (few, many)}
    for count, folder in folders.items():
        build(folder, count)
    timed(folders[few], 1, few)  # compiles, fills the cache of the disk
    best = {}
    for _ in range(rounds):
        for workers in (1, 2):
            for count, folder in folders.items():
                now, known = timed(folder, workers, count), best.get((workers, count))
                best[workers, count] = {
                    p: min(now[p], known[p]) if known else now[p] for p in PARTS
                }
    peak_gb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e6
    return best, peak_gb


def main():
    """Print what was measured and what follows for the archive; leave with 1 where it is short."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--few", type=int, default=2)
    parser.add_argument("--many", type=int, default=10)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    table = Table("an archive of 25 stations x 365 days at 30 s, from a measured slice")
    with tempfile.TemporaryDirectory() as scratch:
        best, peak_gb = measured(scratch, asked.few, asked.many, asked.rounds)
    slope = {
        (workers, part): (best[workers, asked.many][part] - best[workers, asked.few][part])
        / (asked.many - asked.few)
        for workers in (1, 2)
        for part in PARTS
    }
    margin_h = PositionPart().margin_h
    longer = 1.0 + 2.0 * margin_h / 24.0
    for workers in (1, 2):
        whole_h = 0.0
        for part in PARTS:
            each_s = slope[workers, part]
            start_s = best[workers, asked.few][part] - asked.few * each_s
            factor = longer if part == "position" else 1.0
            hours = each_s * factor * STATIONS * DAYS / 3600.0
            whole_h += hours
            table.say(
                f"{workers} workers, {part}: {each_s:.2f} s a station-day, start with one day's "
                f"products {start_s:.1f} s; archive {hours:.2f} h"
            )
        table.say(f"{workers} workers, archive: {whole_h:.2f} h")
    table.say(
        f"positions: times {longer:g}, since a day is solved with {margin_h:g} h on each side"
    )
    gain = slope[1, "position"] / slope[2, "position"]
    table.line("position, two workers against one", gain, 1.8, "x", "our bar", least=True)
    table.line("position, a station-day, one worker", slope[1, "position"], 0.5, "s", "our bar")
    table.line("largest process", peak_gb, 1.0, "GB", "our bar")
    table.end()


if __name__ == "__main__":
    main()
