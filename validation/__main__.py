"""Run every figure we claim, one after another, and write down what came out.

    python validation [NAME[:ARGUMENT...] ...]

Each program in this folder prints measured value, bar and source, and leaves with 1 where it falls
short or its data are missing. Names run some only, with arguments of their own after colons. The
page keeps each program's last outcome, with its day and the sum of the sources it was measured on.
"""

import datetime
import os
import platform
import re
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

from stakeline.workflows.release_inputs import sources_sum

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "validation.md"
LONGEST_S = 3600
SECTION = re.compile(
    r"^## (?P<title>[^\n]+)\n\n`python validation/(?P<name>\w+)\.py(?P<words>[^`]*)` left with "
    r"(?P<code>-?\d+) after (?P<seconds>\d+) s on (?P<day>\S+), sources (?P<sources>\w+):\n\n"
    r"````text\n(?P<shown>.*?)\n````$",
    re.MULTILINE | re.DOTALL,
)


@dataclass(frozen=True)
class Outcome:
    """What one program left behind, as text of the page; ``words`` are its arguments."""

    title: str
    name: str
    words: str
    code: str
    seconds: str
    day: str
    sources: str
    shown: str

    @property
    def row(self):
        """Return the line of the table."""
        outcome = "reached" if self.code == "0" else "**fell short**"
        return f"| {self.title} | {outcome} | {self.seconds} | {self.day} | {self.sources} |"

    @property
    def section(self):
        """Return the part of the page, as :data:`SECTION` reads it."""
        return (
            f"## {self.title}\n\n`python validation/{self.name}.py{self.words}` left with "
            f"{self.code} after {self.seconds} s on {self.day}, sources {self.sources}:\n\n"
            f"````text\n{self.shown}\n````"
        )


def programs():
    """Return {name: program} in alphabetical order."""
    found = sorted((ROOT / "validation").glob("*.py"))
    return {p.stem: p for p in found if not p.name.startswith("_")}


def title_of(program):
    """Return the first line of a program's docstring."""
    for line in program.read_text(encoding="utf-8").splitlines():
        if line.startswith('"""'):
            return line.strip('"').strip().rstrip(".")
    return program.stem


def without_places(text):
    """Return text without the names of this machine's folders."""
    data = os.environ.get("STAKELINE_REFERENCE_DATA") or str(ROOT.parent / "shared" / "data")
    for place, name in ((data, "DATA"), (str(ROOT), "."), (str(Path.home()), "~")):
        text = text.replace(place, name)
    return text


def run(program, words=()):
    """Run one program and show its output as it comes; return its :class:`Outcome`."""
    started = time.monotonic()
    lines = []
    with subprocess.Popen(
        [sys.executable, str(program), *words],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        for line in process.stdout:
            print(line, end="", flush=True)
            lines.append(line)
        code = process.wait(LONGEST_S)
    shown = without_places("".join(lines)).rstrip() or "(it printed nothing)"
    seconds = f"{time.monotonic() - started:.0f}"
    today = datetime.datetime.now(datetime.UTC).date().isoformat()
    words = "".join(f" {word}" for word in words)
    return Outcome(
        title_of(program), program.stem, words, str(code), seconds, today, sources_sum()[:8], shown
    )


def kept():
    """Return {name: Outcome} of what the page holds."""
    text = PAGE.read_text(encoding="utf-8") if PAGE.exists() else ""
    return {found["name"]: Outcome(**found.groupdict()) for found in SECTION.finditer(text)}


def page(outcomes, lacking):
    """Return the page of outcomes in order; ``lacking`` are titles of what was never measured."""
    passed = sum(one.code == "0" for one in outcomes)
    parts = [
        "# Figures and bars\n",
        "Written by `make validation`; every figure can be measured anew by the command above it, "
        "as on the day and by the sources (their sum's beginning) that stand there. "
        "DATA is the folder of the real open data.\n",
        f"{passed} of {len(outcomes) + len(lacking)} reach their bar. "
        f"Python {platform.python_version()}, {platform.machine()}, {os.cpu_count()} cores.\n",
        "| figure | outcome | seconds | day | sources |\n|---|---|---|---|---|",
        *(one.row for one in outcomes),
        *(f"| {title} | not measured | | | |" for title in lacking),
        *(f"\n{one.section}" for one in outcomes),
    ]
    return "\n".join(parts) + "\n"


def write_page(outcomes):
    """Write the page of {name: Outcome}, without programs that are no more."""
    every = programs()
    there = [outcomes[name] for name in every if name in outcomes]
    lacking = [title_of(program) for name, program in every.items() if name not in outcomes]
    PAGE.write_text(page(there, lacking), encoding="utf-8")


def main(asked):
    """Run the programs asked for, or all; return the exit code."""
    every = programs()
    chosen = dict(one.partition(":")[::2] for one in asked) or dict.fromkeys(every, "")
    if unknown := set(chosen) - set(every):
        sys.exit(f"no such figure: {', '.join(sorted(unknown))}")
    short = []
    for name, words in chosen.items():
        print(f"== {name}: {title_of(every[name])}", flush=True)
        outcome = run(every[name], tuple(words.split(":")) if words else ())
        write_page(kept() | {name: outcome})
        short += [name] if outcome.code != "0" else []
    if not chosen:
        print("there is no figure to measure")
    elif short:
        print(f"fell short: {', '.join(short)}")
    else:
        print("all figures reach their bar")
    return 1 if short or not chosen else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
