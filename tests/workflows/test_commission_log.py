"""A station's history as a site log: what the history tells stands in it, and nothing else."""

from stakeline.campaign.history import read_history
from stakeline.formats.station_log import parse_station_log
from stakeline.workflows.commission_log import log_file

VISIT = """
[[visit]]
time = 2031-04-28T14:30:00Z
kind = "set-up"
[visit.antenna]
type = "HALVARD ICE1    NONE"
[visit.height]
measured_m = 1.532
how = "vertical"
from = "marker"
to = "antenna reference point"
"""
ROCK = """station = "HVB0"
marker = "bolt in the rock"
[monument]
description = "STEEL MAST"
height_m = 1.2
geology = "BEDROCK"
bedrock = "GNEISS"
[contact]
agency = "Halvard Glacier Project"
name = "I. Strand"
"""


def site_of(folder, text):
    path = folder / f"{text[11:15]}.toml"
    path.write_text(text + VISIT, encoding="utf-8")
    return parse_station_log(log_file(read_history(path))[1]).site


def test_marker_monument_ground_and_contact_stand_in_the_log(tmp_path):
    assert site_of(tmp_path, ROCK) == {
        "marker": "bolt in the rock",
        "monument": "STEEL MAST",
        "monument_height_m": "1.2",
        "geology": "BEDROCK",
        "bedrock": "GNEISS",
        "agency": "Halvard Glacier Project",
        "contact": "I. Strand",
    }


def test_what_nobody_told_is_left_out(tmp_path):
    assert site_of(tmp_path, 'station = "HV01"\n') == {}
