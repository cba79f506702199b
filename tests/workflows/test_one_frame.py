"""Positions in several frames, read as one: moved by the published parameters, or put aside."""

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.store import parquet_bytes, write_bytes
from stakeline.constants import NS_PER_DAY
from stakeline.earth.ellipsoid import geodetic_from_xyz, xyz_from_geodetic
from stakeline.earth.frames import transform, transform_rows
from stakeline.errors import SettingsError
from stakeline.tables import Positions
from stakeline.time import from_iso
from stakeline.workflows import position_campaign
from stakeline.workflows.motion_input import campaign_series
from stakeline.workflows.one_frame import frame_plan
from stakeline.workflows.position_tables import (
    framed_positions,
    station_frames,
    station_positions,
)
from stakeline.workflows.series import UNITS, columns_of, metadata_of

BEGIN_NS = from_iso("2031-05-01")
PLACE = xyz_from_geodetic(np.radians(79.04), np.radians(17.36), 212.0)


def day(number, frame, xyz=PLACE, hours=24):
    """Return the Parquet bytes of a day of a station that stands still."""
    time_ns = BEGIN_NS + number * NS_PER_DAY + np.arange(hours) * NS_PER_DAY // 24
    covariance = np.tile(np.diag([0.01, 0.02, 0.03]) ** 2, (hours, 1, 1))
    found = Positions(
        "HV05", frame, time_ns, np.tile(xyz, (hours, 1)), covariance,
        np.full(hours, 12), np.full(hours, "float", object),
    )  # fmt: skip
    return parquet_bytes(columns_of(found), UNITS, metadata_of([found], [], {}))


@pytest.fixture
def campaign(tmp_path):
    create(tmp_path)
    return with_settings(tmp_path, "").root


def with_settings(root, position, tables=()):
    """Return the campaign in a folder with these lines of its settings."""
    listed = ", ".join(f'"{name}"' for name in tables)
    text = f'[campaign]\nname = "Trial"\n[position]\n{position}\n'
    text += f'[[station]]\nname = "HV05"\npositions = [{listed}]\n'
    (root / "campaign.toml").write_text(text, encoding="utf-8")
    return open_campaign(root)


def days(campaign, *frames):
    for number, frame in enumerate(frames, 1):
        xyz = PLACE
        if frame not in ("WGS84", "IGS20", "not stated"):  # the same point of the ice
            xyz = transform(PLACE, "IGS20", BEGIN_NS + number * NS_PER_DAY, frame)
        name = f"4-position/HV05/HV05_2031-05-{1 + number:02d}.parquet"
        write_bytes(campaign / name, day(number, frame, xyz))


def xyz_of(columns):
    return np.stack([columns[f"{axis}_m"] for axis in "xyz"], axis=1)


def test_days_of_another_realisation_are_moved_at_their_epoch(campaign):
    days(campaign, "IGS20", "IGb14", "IGS20", "ITRF2000")
    opened = open_campaign(campaign)
    columns, frames, said = framed_positions(opened, "HV05")
    assert frames == station_frames(opened, "HV05") == ("IGS20",)
    assert xyz_of(columns) == pytest.approx(np.tile(PLACE, (96, 1)), abs=2e-5)
    height = geodetic_from_xyz(xyz_of(columns))[2]
    assert columns["height_m"] == pytest.approx(height, abs=1e-9)
    assert station_positions(opened, "HV05", ("time_gps", "height_m"))["height_m"] == pytest.approx(
        height
    )
    assert [sentence.split(" brought")[0] for sentence in said] == [
        "1 day in IGb14 (ITRF2014)",
        "1 day in ITRF2000 (ITRF2000)",
    ]
    assert "2031-05-03" in said[0]
    series = campaign_series(opened, "HV05")
    assert np.ptp(series.enu_m, axis=0).max() < 5e-5
    assert series.notes == said


def test_the_frame_of_the_settings_is_taken(campaign):
    days(campaign, "IGS20", "IGS20")
    opened = with_settings(campaign, 'frame = "ITRF2008"')
    columns, frames, _ = framed_positions(opened, "HV05")
    assert frames == ("ITRF2008",)
    time_ns = columns["time_gps"].view(np.int64)
    there = transform_rows(xyz_of(columns), "ITRF2008", time_ns, "IGS20")
    assert there == pytest.approx(np.tile(PLACE, (48, 1)), abs=1e-7)
    assert np.abs(xyz_of(columns) - PLACE).max() > 1e-3
    opened = with_settings(campaign, 'frame = "ITRF1066"')
    with pytest.raises(SettingsError, match=r"campaign.toml: \[position\] frame: frame 'ITRF1066'"):
        framed_positions(opened, "HV05")


def test_days_with_broadcast_orbits_are_put_aside_or_kept_with_a_sigma(campaign):
    days(campaign, "IGS20", "WGS84", "WGS84")
    opened = open_campaign(campaign)
    columns, frames, (said,) = framed_positions(opened, "HV05")
    assert frames == ("IGS20",)
    assert len(columns["x_m"]) == 24
    assert said.startswith("2 days with broadcast orbits")
    assert "2031-05-03, 2031-05-04" in said
    opened = with_settings(campaign, "broadcast_sigma_m = 0.5")
    columns, frames, (said,) = framed_positions(opened, "HV05")
    assert len(columns["x_m"]) == 72
    assert columns["sigma_up_m"][-1] == pytest.approx(np.hypot(0.5, 0.03))
    assert columns["sigma_up_m"][0] == pytest.approx(0.03)
    assert "sigmas enlarged by 0.5 m" in said


def test_broadcast_days_alone_stay_as_they_are(campaign):
    days(campaign, "WGS84", "WGS84")
    columns, frames, said = framed_positions(open_campaign(campaign), "HV05")
    assert (frames, said, len(columns["x_m"])) == (("WGS84",), (), 48)


def test_a_table_without_a_frame_goes_with_no_other(campaign):
    days(campaign, "IGS20", "not stated")
    opened = open_campaign(campaign)
    assert station_frames(opened, "HV05") == ("IGS20", "not stated")
    with pytest.raises(SettingsError, match="Say the frame of each table"):
        campaign_series(opened, "HV05")


def test_tables_of_two_frames_are_joined_in_one(campaign):
    moved = transform(PLACE, "IGS20", BEGIN_NS + 5 * NS_PER_DAY, "ITRF2008")
    write_bytes(campaign / "0-raw/one.parquet", day(0, "IGS20", hours=72))
    write_bytes(campaign / "0-raw/two.parquet", day(5, "ITRF2008", moved))
    with_settings(campaign, "", ("0-raw/one.parquet", "0-raw/two.parquet"))
    outcome = position_campaign.run(campaign)
    assert not outcome.problems
    assert any(n.startswith("HV05: 1 day in ITRF2008") for n in outcome.notes)
    columns, frames, said = framed_positions(open_campaign(campaign), "HV05")
    assert (frames, said) == (("IGS20",), ())
    assert xyz_of(columns) == pytest.approx(np.tile(PLACE, (96, 1)), abs=2e-5)


def test_names_of_one_realisation_are_one():
    assert frame_plan(["IGS20", "ITRF2020", "IGb20"], [1, 3, 1]).plain
    assert frame_plan(["IGS20", "ITRF2020", "IGb20"], [1, 3, 1]).frame == "ITRF2020"
