"""Fills the gallery of the handbook with figures of an invented campaign.

    stakeline demo FOLDER --days 240 --stations 6 --raw-days 0
    python builders/gallery.py FOLDER

The page, docs/gallery.md, says which: a line ``![caption](_static/gallery/VERB_NAME.svg)`` is the
figure that ``stakeline report FOLDER --figures`` names ``VERB/NAME``.
"""

import re
import shutil
import sys
from pathlib import Path

from stakeline.campaign.folders import open_campaign
from stakeline.workflows.paper_figures import figure_names

DOCS = Path(__file__).parents[1] / "docs"
SHOWN = re.compile(r"\(_static/gallery/([\w.-]+)\)")


def main(folder):
    """Copy the figures that the page shows; exit 1 where the campaign has not all."""
    campaign = open_campaign(folder)
    there = {one.name.replace("/", "_"): one.path for one in figure_names(campaign)}
    wanted = SHOWN.findall((DOCS / "gallery.md").read_text(encoding="utf-8"))
    missing = [name for name in wanted if Path(name).stem not in there]
    if missing:
        sys.exit(f"{folder}: has no {', '.join(missing)}")
    for name in wanted:
        path = campaign.root / there[Path(name).stem]
        shutil.copyfile(path, DOCS / "_static" / "gallery" / name)
        print(name, path.stat().st_size)


if __name__ == "__main__":
    main(sys.argv[1])
