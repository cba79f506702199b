"""Executes the tutorials of the handbook and writes what they print, and their figures, anew.

    python builders/tutorials.py [NAME ...]

A page is docs/tutorials/NAME.md: its ``python`` blocks are run in order, in an empty folder; the
``text`` block below one is what it prints. Figures that a block writes go to
docs/_static/tutorials.
tests/test_tutorials.py runs the same and compares.
"""

import contextlib
import io
import os
import re
import shutil
import sys
import tempfile
import warnings
from pathlib import Path

PAGES = Path(__file__).parents[1] / "docs" / "tutorials"
FIGURES = Path(__file__).parents[1] / "docs" / "_static" / "tutorials"
BLOCK = re.compile(r"```python\n(.*?)```\n(?:\n```text\n(.*?)```\n)?", re.DOTALL)


def executed(text, folder):
    """Return a page with what its blocks print, run in a folder that they may write into."""
    names = {"__name__": "__tutorial__"}

    def run(found):
        sink = io.StringIO()
        with contextlib.redirect_stdout(sink), contextlib.chdir(folder):
            exec(compile(found[1], "tutorial", "exec"), names)
        said = sink.getvalue()
        return f"```python\n{found[1]}```\n" + (f"\n```text\n{said}```\n" if said else "")

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return BLOCK.sub(run, text)


def main(names):
    """Write pages and figures; without names, of all tutorials."""
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    for page in sorted(PAGES.glob("*.md")):
        if page.stem == "index" or (names and page.stem not in names):
            continue
        with tempfile.TemporaryDirectory() as folder:
            page.write_text(executed(page.read_text(encoding="utf-8"), folder), encoding="utf-8")
            for figure in sorted(Path(folder).glob("*.svg")):
                shutil.copyfile(figure, FIGURES / figure.name)
        print(page.stem)


if __name__ == "__main__":
    main(sys.argv[1:])
