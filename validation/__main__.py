"""Run every figure we claim, one after another, and write down what came out.

Each program in this folder prints measured value, bar and source, and leaves with 1 where it falls
short or its data are missing. Names may be given to run some only; the page is then left alone.
"""

import os
import platform
import subprocess
import sys
import time
from pathlib import Path

ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "validation.md"
LONGEST_S = 3600


def programs(names):
    """Return the programs to run, in alphabetical order; names without their ending select."""
    found = sorted(p for p in (ROOT / "validation").glob("*.py") if not p.name.startswith("_"))
    unknown = set(names) - {p.stem for p in found}
    if unknown:
        sys.exit(f"no such figure: {', '.join(sorted(unknown))}")
    return [p for p in found if not names or p.stem in names]


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


def run(program):
    """Run one program; return (exit code, output, seconds) and show the output as it comes."""
    started = time.monotonic()
    lines = []
    with subprocess.Popen(
        [sys.executable, str(program)],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    ) as process:
        for line in process.stdout:
            print(line, end="", flush=True)
            lines.append(line)
        code = process.wait(LONGEST_S)
    return code, "".join(lines), time.monotonic() - started


def page(outcomes):
    """Return the page of all outcomes."""
    passed = sum(code == 0 for _, code, _, _ in outcomes)
    parts = [
        "# Figures and bars\n",
        "Written by `make validation`; every figure can be measured anew by the command above it. "
        "DATA is the folder of the real open data.\n",
        f"{passed} of {len(outcomes)} reach their bar. Python {platform.python_version()}, "
        f"{platform.machine()}, {os.cpu_count()} cores.\n",
    ]
    if outcomes:
        parts.append("| figure | outcome | seconds |\n|---|---|---|")
    for program, code, _, seconds in outcomes:
        outcome = "reached" if code == 0 else "**fell short**"
        parts.append(f"| {title_of(program)} | {outcome} | {seconds:.0f} |")
    for program, code, output, _ in outcomes:
        shown = without_places(output).rstrip() or "(it printed nothing)"
        parts.append(f"\n## {title_of(program)}\n")
        parts.append(f"`python validation/{program.name}` left with {code}:\n")
        parts.append(f"````text\n{shown}\n````")
    return "\n".join(parts) + "\n"


def main(names):
    """Run the programs named, or all; return the exit code."""
    outcomes = []
    for program in programs(names):
        print(f"== {program.stem}: {title_of(program)}", flush=True)
        outcomes.append((program, *run(program)))
    if not names:
        PAGE.write_text(page(outcomes), encoding="utf-8")
    short = [program.stem for program, code, _, _ in outcomes if code != 0]
    if not outcomes:
        print("there is no figure to measure")
    elif short:
        print(f"fell short: {', '.join(short)}")
    else:
        print("all figures reach their bar")
    return 1 if short or not outcomes else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
