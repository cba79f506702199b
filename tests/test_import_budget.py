"""What starting up may load: help answers at once on a slow laptop."""

import os
import subprocess
import sys

HEAVY = ("numpy", "scipy", "numba", "pyarrow", "pydantic", "matplotlib", "pyproj", "erfa", "rich")
LISTING = """
import sys
from stakeline.cli import run
code = run(["--help"])
print("LOADED", code, *sorted({name.partition(".")[0] for name in sys.modules}))
"""


def loaded_by_help():
    done = subprocess.run(
        [sys.executable, "-c", LISTING], capture_output=True, text=True, check=True
    )
    _, code, *names = done.stdout.splitlines()[-1].split()
    assert code == "0"
    return set(names)


def test_help_loads_nothing_heavy():
    names = loaded_by_help()
    assert "click" in names  # the list is really that of a run
    assert not names.intersection(HEAVY)


def test_help_answers_in_a_fifth_of_a_second():
    # the figure is the project's own; processor time, since other work may share the machine and
    # a help text waits for nothing; the best of five
    seconds = []
    for _ in range(5):
        before = os.times()
        subprocess.run(
            [sys.executable, "-m", "stakeline", "--help"], capture_output=True, check=True
        )
        after = os.times()
        user = after.children_user - before.children_user
        seconds.append(user + after.children_system - before.children_system)
    assert 0.0 < min(seconds) < 0.2
