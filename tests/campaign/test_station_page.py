"""The page of the station file names every key."""

import re
from pathlib import Path

from stakeline.campaign.located import fields_at
from stakeline.campaign.station_file import StationFile

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "station-file.md"


def test_every_table_and_key_stands_on_the_page():
    text = PAGE.read_text(encoding="utf-8")
    named = set(re.findall(r"`\[*([A-Za-z_0-9.]+)\]*`", text))
    missing = []
    for table in StationFile.model_fields:
        if f"[{table}]" not in text and table not in named:
            missing.append(table)
        for key in fields_at(StationFile, (table,)):
            if key not in named and f"[weather.{key}]" not in text:
                missing.append(f"{table}.{key}")
    assert missing == []
