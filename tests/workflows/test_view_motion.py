"""The first pages of motion and lakes: what a station's row says, speeds from their medians."""

import json

import numpy as np
import pytest

from stakeline.campaign.folders import create
from stakeline.campaign.store import parquet_bytes
from stakeline.workflows.view_lakes import all_events, levels_chart
from stakeline.workflows.view_motion import motion_stations, speeds_chart

DAYS = np.datetime64("2031-05-01T12:00:00", "ns") + np.arange(30) * np.timedelta64(1, "D")
TOLD = {
    "mean_speed_m_d": 1.0, "mean_speed_sigma_m_d": 1e-6, "mean_speed_m_a": 365.25,
    "azimuth_deg": 88.5, "slowest_m_d": 0.9, "fastest_m_d": 1.3, "share_in_gaps": 0.02,
    "first_gps": "2031-05-01T00:00:00", "last_gps": "2031-05-30T23:00:00", "steps": [{}],
    "warnings": ["one"],
}  # fmt: skip
ENDS = ("low", "median", "high")


@pytest.fixture(scope="module")
def root(tmp_path_factory):
    """Return a campaign: one station that moves, one without motion, a lake that drains twice."""
    root = tmp_path_factory.mktemp("first_pages") / "trial"
    create(root)
    (root / "campaign.toml").write_text(
        '[campaign]\nname = "T"\n[[station]]\nname = "HV02"\n[[station]]\nname = "HV05"\n'
    )
    own = root / "5-motion" / "HV02"
    own.mkdir(parents=True)
    (own / "HV02_summary.json").write_text(json.dumps(TOLD))
    speed = np.where(np.arange(30) < 20, 1.0, 1.1)
    words = np.array(["along"] * 30 + ["up"] * 30, object)
    table = {"window_d": np.ones(60), "axis": words, "mean_gps": np.tile(DAYS, 2),
             "velocity_m_d": np.append(speed, np.zeros(30))}  # fmt: skip
    (own / "HV02_windows.parquet").write_bytes(parquet_bytes(table, {}, {}))
    _lakes(root / "6-lakes")
    return root


def _lakes(folder):
    own = folder / "Upper_Halvard"
    own.mkdir(parents=True)
    told = {"Upper Halvard": {"events": [{}, {}]}}
    (folder / "summary.json").write_text(json.dumps({"lakes": told}))
    rows = []
    for onset, status in (("2031-05-20", "rejected"), ("2031-05-10", "automatic")):
        row = {"lake": "Upper Halvard", "kind": "drain", "status": status, "probability_real": "1"}
        over = f"{onset[:-2]}28T00:00:00"
        for end in ENDS:
            row |= {f"onset_{end}_gps": f"{onset}T00:00:00", f"change_m_{end}": "-2.0",
                    f"end_{end}_gps": over, f"volume_m3_{end}": "2e7"}  # fmt: skip
        rows.append(row)
    lines = [",".join(rows[0]), *(",".join(row.values()) for row in rows)]
    (folder / "events.csv").write_text("\n".join(lines) + "\n")
    level = {"time_gps": DAYS, "level_m_median": np.linspace(0.0, -2.0, 30)}
    (own / "Upper_Halvard_levels.parquet").write_bytes(parquet_bytes(level, {}, {}))


def test_a_row_says_the_mean_and_a_station_without_motion_says_so(root):
    first, second = motion_stations(root)
    assert first[:6] == ("HV02", "2031-05-01", "2031-05-30", "1.0000 ±0.0001", "365.2", "88.5")
    assert first[6:] == ("0.900 to 1.300", "2%", "1", "1")
    assert second[0] == "HV05"
    assert second[-1] == "no motion yet"
    assert len(first) == len(second)


def test_speeds_are_from_the_median_and_rejected_drainages_are_not_shaded(root):
    chart = speeds_chart(root)
    (trace,) = chart["traces"]
    assert trace["name"] == "HV02"
    assert trace["y"][:20] == [0.0] * 20
    assert trace["y"][20:] == pytest.approx([10.0] * 10)
    assert [span["from"] for span in chart["spans"]] == ["2031-05-10T00:00:00"]


def test_events_stand_in_the_order_of_their_onsets(root):
    events = all_events(root)
    assert [row[2][:10] for _, row in events] == ["2031-05-10", "2031-05-20"]
    (trace,) = levels_chart(root)["traces"]
    assert (trace["y"][0], trace["y"][-1]) == (0.0, -2.0)


def test_without_results_there_is_nothing_to_draw(tmp_path):
    create(tmp_path / "empty")
    assert speeds_chart(tmp_path / "empty")["traces"] == []
    assert levels_chart(tmp_path / "empty")["traces"] == []
    assert all_events(tmp_path / "empty") == []
