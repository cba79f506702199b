"""A campaign with results for the commands on report: one that is named, or an invented one."""

import sys
from pathlib import Path

from stakeline.workflows import demo
from stakeline.workflows.invent import Order

RELEASE = """
[release]
title = "Motion of Halvard Glacier, invented"
summary = "Positions, motion and lakes of an invented glacier."
licence = "CC-BY-4.0"
doi = "10.0000/invented"
project = "Halvard, invented"
acknowledgement = "To chance and physics."

[[release.creator]]
name = "Halvard Group (invented)"
email = "halvard@example.org"
institution = "Institute of Invented Ice"
url = "https://example.org/halvard"
"""


def campaign(folder):
    """Return the campaign named on the command line; else invent one below ``folder``."""
    if len(sys.argv) > 1:
        return Path(sys.argv[1])
    root = Path(folder) / "invented"
    demo.run(root, Order(days=60, stations=3, raw_days=0), say=lambda _: None)
    settings = root / "campaign.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + RELEASE, encoding="utf-8")
    return root
