"""Kill the position run of a campaign at 20 random moments; the next run must finish it.

Measured: how many kills struck before the end, how many results differ from those of a run left
alone (bar 0), how many files under a final name could not be read whole (bar 0).
Data: three stations with orbits and 30-s clocks, from the folder of the real open data.
"""

import argparse
import hashlib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

import pyarrow.parquet

from stakeline.formats.rinex_obs import read_observations

ROOT = Path(__file__).parents[1]
SEED = 20310501
STATIONS = {
    "ESBC": "esbc_2020_177/ESBC00DNK*_MO.crx.gz",
    "ROSR": "rosalia_2025_001/ROSR01TUW*_01D_30S_MO.crx.gz",
    "MOZR": "moflux_2025_001/mozr001?.25d.gz",
}
PRODUCTS = ("esbc_2020_177/GRG*", "rosalia_2025_001/COD*")
MADE = ("3-intake", "4-position", "ledger")


def data_folder():
    """Return the folder of the real open data, or None."""
    named = os.environ.get("STAKELINE_REFERENCE_DATA")
    folder = (Path(named) if named else ROOT.parent / "shared" / "data") / "gnss"
    return folder if folder.is_dir() else None


def history_of(station, header):
    """Return the text of a station history that agrees with a header."""
    return f"""station = "{station}"
[[visit]]
time = 2016-01-01T00:00:00Z
kind = "set-up"
[visit.antenna]
type = "{header.antenna_type}"
[visit.height]
measured_m = {header.antenna_height_m}
how = "vertical"
from = "marker"
to = "antenna reference point"
"""


def build(folder, source):
    """Make a campaign of the stations in ``folder``, settings chosen for speed."""
    stakeline("new", folder)
    (folder / "stations" / "HV01.toml").unlink()
    text = '[campaign]\nname = "Kill trial"\n[position]\nsystems = "GPS"\ninterval_s = 300\n'
    for station, pattern in STATIONS.items():
        target = folder / "0-raw" / station
        target.mkdir()
        for raw in sorted(source.glob(pattern)):
            shutil.copy(raw, target)
        header = read_observations(raw).header
        path = folder / "stations" / f"{station}.toml"
        path.write_text(history_of(station, header), encoding="utf-8")
        text += f'[[station]]\nname = "{station}"\nraw = ["0-raw/{station}"]\n'
    for pattern in PRODUCTS:
        for path in source.glob(pattern):
            shutil.copy(path, folder / "products")
    (folder / "campaign.toml").write_text(text, encoding="utf-8")


def command(*arguments):
    return [sys.executable, "-m", "stakeline", *map(str, arguments)]


def stakeline(*arguments):
    return subprocess.run(command(*arguments), capture_output=True, text=True, check=False)


def results(folder):
    """Return {name: checksum} of every result, final names only."""
    found = {}
    for path in sorted((folder / "4-position").rglob("*")):
        if path.is_file() and not path.name.startswith("."):
            data = path.read_bytes()
            found[str(path.relative_to(folder))] = hashlib.sha256(data).hexdigest()
    return found


def unreadable(folder):
    """Return the files under a final name that cannot be read whole."""
    bad = []
    for made in MADE:
        for path in (folder / made).rglob("*"):
            if not path.is_file() or path.name.startswith(".") or path.name == "lock":
                continue
            try:
                if path.suffix == ".parquet":
                    pyarrow.parquet.read_table(path)
                elif path.suffix == ".json":
                    json.loads(path.read_text(encoding="utf-8"))
            except FileNotFoundError:
                continue  # renamed or forgotten between listing and reading
            except (OSError, ValueError) as problem:
                bad.append(f"{path.name}: {problem}")
    return bad


def wipe(folder):
    for made in MADE:
        shutil.rmtree(folder / made, ignore_errors=True)


class Watch(threading.Thread):
    """Reads every final name over and over while a run works."""

    def __init__(self, folder):
        super().__init__(daemon=True)
        self.folder, self.bad, self.rounds, self.stop = folder, [], 0, threading.Event()

    def run(self):
        """Look until told to stop."""
        while not self.stop.is_set():
            self.bad += unreadable(self.folder)
            self.rounds += 1
            self.stop.wait(0.05)


def killed_run(folder, workers, after_s, after_results):
    """Start a run, kill it; return (whether it still ran, results then, what could not be read).

    The kill comes ``after_s`` seconds after the start and after ``after_results`` results.
    """
    watch = Watch(folder)
    arguments = ("position", "--campaign", folder, "--workers", workers, "--quiet")
    run = subprocess.Popen(
        command(*arguments), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
    )
    watch.start()
    while run.poll() is None and len(results(folder)) < after_results:
        time.sleep(0.001)
    time.sleep(after_s)
    struck = run.poll() is None
    run.kill()
    run.wait()
    watch.stop.set()
    watch.join()
    return struck, len(results(folder)), watch.bad + unreadable(folder)


def full_run(folder, workers):
    """Run to the end; return (seconds, exit code, last words)."""
    begun = time.perf_counter()
    done = stakeline("position", "--campaign", folder, "--workers", workers, "--quiet")
    return time.perf_counter() - begun, done.returncode, done.stderr.strip()


def main():
    """Print measured, bar, source; return 1 where it falls short or the data are missing."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--kills", type=int, default=20)
    kills = parser.parse_args().kills
    source = data_folder()
    if source is None:
        print("real open data not found: set STAKELINE_REFERENCE_DATA")
        return 1
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch) / "trial"
        build(folder, source)
        return trial(folder, kills)


def trial(folder, kills):
    full_run(folder, 1)  # compiles
    seconds = {}
    for workers in (1, 2):
        wipe(folder)
        seconds[workers], code, words = full_run(folder, workers)
        if code != 0:
            print(f"the run left alone ended with {code}: {words}")
            return 1
    expected = results(folder)
    print(f"left alone: {len(expected)} results, {seconds[1]:.1f} s; 2 workers {seconds[2]:.1f} s")
    chance = random.Random(SEED)
    struck = different = bad = failed = 0
    for number in range(kills):
        workers = 1 + number % 2
        wipe(folder)
        after_results = 0 if number % 4 < 2 else chance.randrange(1, len(expected))
        after_s = chance.uniform(0.02, 1.0) * seconds[workers]
        if after_results:  # while results are being written
            after_s = chance.uniform(0.0, 0.05)
        hit, present, unread = killed_run(folder, workers, after_s, after_results)
        _, code, _ = full_run(folder, 3 - workers)
        same = results(folder) == expected
        struck, bad = struck + hit, bad + len(unread)
        different, failed = different + (not same), failed + (code != 0)
        leftovers = len(list(folder.rglob(".*.part")))
        bad += leftovers
        moment = f"result {after_results}" if after_results else "the start"
        print(
            f"kill {number + 1:2d}, {after_s:5.2f} s after {moment}: "
            f"{'struck' if hit else 'too late'}, {present} of {len(expected)} results then; "
            f"afterwards {'the same bytes' if same else 'DIFFERENT'}, exit {code}"
        )
    print(f"kills that struck a running run: {struck} of {kills}")
    print(f"runs that did not finish: {failed} (bar 0)")
    print(f"results that differ from a run left alone: {different} trials (bar 0)")
    print(f"half-written files seen under a final name or left behind: {bad} (bar 0)")
    return 1 if different or bad or failed or struck < kills // 2 or not expected else 0


if __name__ == "__main__":
    sys.exit(main())
