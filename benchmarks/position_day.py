"""Speed and memory of one real station-day at 30 s, from compact file to smoothed series."""

import resource
import subprocess
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "validation"))

from _measured import ESBC, esbc, files, header_settings

from stakeline.formats.compression import open_bytes
from stakeline.formats.rinex_obs import parse_observations, write_observations
from stakeline.positioning import solve
from stakeline.workflows.reading import read_pieces

COLD = "from stakeline.positioning import solve; import stakeline.workflows.position"


def best(function, count=5):
    """Return the shortest of several runs. [s]"""
    spent = []
    for _ in range(count):
        begin = time.perf_counter()
        function()
        spent.append(time.perf_counter() - begin)
    return min(spent)


def whole(path, products, settings, stages):
    """Read and solve once; book the seconds of each stage."""
    last = ["reading", time.perf_counter()]

    def stage(name):
        now = time.perf_counter()
        stages[last[0]] = min(stages.get(last[0], 9e9), now - last[1])
        last[:] = [name, now]

    data, _ = read_pieces([path])
    solve(data, products, settings, progress=stage)
    stage("end")


def main():
    begin = time.perf_counter()
    data, products = esbc()
    settings = header_settings(data, systems="GE")
    solve(data, products, settings)
    spent = time.perf_counter() - begin
    print(f"first run, products and whatever must be compiled: {spent:.1f} s (bar 45)")
    path, stages = files(ESBC, "*crx.gz")[0], {}
    seconds = best(lambda: whole(path, products, settings, stages))
    print(f"raw .crx.gz to smoothed series, warm, products at hand: {seconds:.2f} s (bar 2.0)")
    for name, value in stages.items():
        print(f"  {name:20s} {value:.3f} s")
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6
    print(f"peak memory: {peak:.2f} GB (bar 0.5)")
    text = write_observations(data)
    spent = best(lambda: parse_observations(text, "plain"))
    print(f"plain RINEX, {len(text) / 1e6:.0f} MB: {len(text) / 1e6 / spent:.0f} MB/s (bar 250)")
    compact = open_bytes(path)[0][1]
    spent = best(lambda: parse_observations(compact, "compact"))
    print(f"compact RINEX, {len(compact) / 1e6:.0f} MB: {1e3 * spent:.0f} ms")
    spent = best(lambda: subprocess.run([sys.executable, "-c", COLD], check=True), 3)
    print(f"cold start, kernels cached: {spent:.2f} s (bar 4)")


if __name__ == "__main__":
    main()
