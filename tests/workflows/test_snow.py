"""From days with heights to a station's table, sentences and figure; only what is out of date."""

import json
import re
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.campaign.history import read_history
from stakeline.campaign.ledger import Ledger
from stakeline.campaign.store import read_table
from stakeline.constants import NS_PER_DAY
from stakeline.formats.series_netcdf import read_columns
from stakeline.time import from_iso, gps_from_utc
from stakeline.workflows.snow import UNITS, day_bytes, standings, write_snow
from stakeline.workflows.snow_passes import SnowDay

PLACE = "latitude_deg = 79.0412\nlongitude_deg = 17.3580\nheight_m = 212.0\n"
FIRST = from_iso("2031-04-29T12:00:00")


def days_of(heights, said=()):
    days = []
    for k, height in enumerate(heights):
        sigma = 0.01 if np.isfinite(height) else np.nan
        days.append(SnowDay(int(FIRST + k * NS_PER_DAY), height, sigma, 40, 38, 70,
                            ("GS1C", "GS2L"), said if np.isnan(height) else ()))  # fmt: skip
    return days


@pytest.fixture
def station(tmp_path, histories):
    """Give a function from heights and a history to what was said of them, and the folder."""
    (tmp_path / "stations").mkdir()

    def write(heights, set_up=2.5, more="", said=()):
        path = tmp_path / "stations" / "HV01.toml"
        path.write_text(histories.set_up(measured_m=set_up, place=PLACE) + more, encoding="utf-8")
        names = []
        for k, day in enumerate(days_of(heights, said)):
            names.append(f"4-position/arcs/HV01/day{k:03d}_snow.json")
            file = tmp_path / names[-1]
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(day_bytes(day))
        campaign = SimpleNamespace(root=tmp_path)
        ledger = Ledger(tmp_path)
        return write_snow(campaign, ledger, {"HV01": names}, {"HV01": read_history(path)})

    write.results = tmp_path / "4-position" / "HV01"
    return write


def test_a_table_a_summary_a_series_and_a_figure(station):
    heights = [2.45, 2.44, np.nan, 2.43]
    snow = station(heights, said=("the files hold no signal strengths",))
    assert snow.notes == []
    columns, about = read_table(station.results / "HV01_snow.parquet")
    assert list(columns) == list(UNITS)
    assert columns["antenna_above_snow_m"] == pytest.approx(heights, nan_ok=True)
    expected = 2.5 - np.array(heights)
    assert columns["snow_above_marker_m"] == pytest.approx(expected, nan_ok=True)
    assert columns["signals"].tolist() == [2] * 4
    assert columns["said"].tolist() == ["", "", "the files hold no signal strengths", ""]
    assert about["point"] == "antenna phase centre"
    series = read_columns(station.results / "HV01_snow.nc")
    assert series.column("antenna_above_snow_m") == pytest.approx(heights, nan_ok=True)
    assert series.units["sigma_m"] == "m"
    told = json.loads((station.results / "HV01_snow.json").read_text(encoding="utf-8"))
    assert (told["days"], told["days_with_a_height"]) == (4, 3)
    assert told["without_a_height"] == {"the files hold no signal strengths": 1}
    assert told["signals"] == ["GS1C", "GS2L"]
    assert (station.results / "HV01_snow.svg").read_bytes().startswith(b"<?xml")


def test_columns_on_the_page_are_those_of_the_table():
    page = Path(__file__).parents[2] / "docs" / "reference" / "snow.md"
    rows = re.findall(r"^\| `(\w+)` \|", page.read_text("utf-8"), re.MULTILINE)
    assert rows == list(UNITS)


def test_what_is_up_to_date_is_left_and_still_said(station):
    first = station([2.86, 2.85], set_up=0.1)
    assert first.done == ["HV01"]
    again = station([2.86, 2.85], set_up=0.1)
    assert (again.done, again.current, again.notes) == ([], ["HV01"], first.notes)
    assert station([2.86, 2.85], set_up=2.8).notes == []  # the log put right: all of it anew


def test_a_wrong_height_in_the_log_is_said(station):
    (said,) = station([2.86, 2.85], set_up=0.1).notes
    assert said.startswith(
        "HV01: on 2031-04-29 reflections put the antenna 2.86 m above the snow, the log 0.10 m "
        "above the marker: 2.76 m apart, where no more than 0.29 m is likely"
    )
    assert "check the height in stations/HV01.toml" in said


def raised(histories, moved_m=0.7):
    return histories.visit("2031-05-21T12:00:00", "raise", 2.6, up=moved_m)


def test_a_raise_beside_a_moved_marker(station, histories):
    heights = [2.5 - 0.03 * k for k in range(23)] + [2.62, 2.61]
    history_says = station(heights, more=raised(histories))
    assert history_says.notes == []
    (said,) = station(heights, more=raised(histories, 0.0)).notes
    assert "reflections find the antenna moved by +0.78 m against the snow" in said
    assert "the log tells +0.10 m" in said
    assert "check height and marker_moved in stations/HV01.toml" in said


def test_standings_add_up_what_the_marker_was_moved_by(tmp_path, histories):
    path = tmp_path / "HV01.toml"
    path.write_text(
        histories.set_up(measured_m=2.5, place=PLACE) + raised(histories), encoding="utf-8"
    )
    begins, above = standings(read_history(path))
    expected = [gps_from_utc(from_iso(f"2031-{day}:00")) for day in ("04-28T14:30", "05-21T12:00")]
    assert begins.tolist() == expected
    assert above == pytest.approx([2.5, 3.3])


def test_the_date_of_burial_is_said(station):
    rng = np.random.default_rng(2)
    heights = 2.5 - 0.02 * np.arange(28) + rng.normal(0.0, 0.01, 28)
    (said,) = station(heights).notes
    assert said.startswith("HV01: at the rate of the last 27 d (-2.0 ± 0.")
    assert "comes within 0.5 m of the snow on 2031-08-0" in said
    assert said.endswith("a storm can be earlier")
    line = (station.results / "HV01_snow.svg").read_text(encoding="utf-8")
    assert "line through the last weeks" in line


def test_an_antenna_near_the_snow_is_said(station):
    heights = [*np.linspace(0.9, 0.45, 12)]
    (said,) = station(heights, set_up=0.95).notes
    assert said == (
        "HV01: on 2031-05-10 the antenna stood 0.45 ± 0.02 m above the snow, less than 0.5 m: it "
        "may be buried by the next storm"
    )


def test_a_station_without_any_height_says_why(station):
    snow = station([np.nan] * 3, said=("the files hold no signal strengths",))
    assert snow.notes == [
        "HV01: no day has a height above the snow: the files hold no signal strengths"
    ]
    assert sorted(p.name for p in station.results.iterdir()) == [
        "HV01_snow.json",
        "HV01_snow.parquet",
    ]
