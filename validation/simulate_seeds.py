"""One seed repeats an invented campaign to the byte, whatever the workers; two seeds differ."""

import hashlib
import tempfile
from pathlib import Path

from _measured import Table

from stakeline.workflows.invent import Order, build

SOURCE = "asked for"
SMALL = {"days": 12, "stations": 3, "raw_days": 1, "raw_stations": 1}


def fingerprints(folder):
    """Return {path in the folder: SHA-256} of all files."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(Path(folder).rglob("*"))
        if path.is_file()
    }


def main():
    table = Table("Seeds: a small invented campaign, made thrice in new folders")
    with tempfile.TemporaryDirectory() as parent:
        made = []
        for name, seed, workers in (("a", 7, 1), ("b", 7, 2), ("c", 8, 1)):
            build(Path(parent) / name, Order(seed=seed, scenario="wrecked", **SMALL), workers)
            made.append(fingerprints(Path(parent) / name))
    first, again, other = made
    apart = set(first.items()) ^ set(again.items())
    table.line("files of one seed", len(first), 20, "", "our choice", least=True)
    table.line("files that are not the same again", len(apart), 0, "", SOURCE)
    same = sorted(name for name in first if other.get(name) == first[name])
    for name in sorted({name for name, _ in apart}):
        table.say(f"not the same again: {name}")
    share = 100.0 * (1.0 - len(same) / len(first))
    table.line("files that another seed changes", share, 50, "%", "our choice", least=True)
    truth = [name for name in first if name.startswith("truth/") and name.endswith(".parquet")]
    left = [name for name in truth if name in same]
    table.line("tables of the truth that another seed leaves as they are", len(left), 0, "", SOURCE)
    for name in same:
        table.say(f"the same with another seed: {name}")
    table.end()


if __name__ == "__main__":
    main()
