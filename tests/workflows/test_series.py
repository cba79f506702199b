"""The table's columns, their text and their round trip."""

import csv
import io
import json
from dataclasses import replace

import numpy as np
import pytest

from stakeline.campaign.store import read_table
from stakeline.errors import SettingsError
from stakeline.tables import Positions
from stakeline.time import from_iso
from stakeline.workflows.series import (
    columns_of,
    csv_text,
    metadata_of,
    positions_of,
    summary_of,
    table_bytes,
)

HEADER = (
    "time_gps,station,x_m,y_m,z_m,latitude_deg,longitude_deg,height_m,sigma_east_m,sigma_north_m,"
    "sigma_up_m,corr_en,corr_eu,corr_nu,satellites,state"
)


@pytest.fixture
def positions():
    covariance = np.array([[[4.0, 1.0, 0.0], [1.0, 9.0, -3.0], [0.0, -3.0, 16.0]]]) * 1e-6
    return Positions(
        station="HV01",
        frame="IGS20",
        time_ns=np.array(
            [from_iso("2031-05-01T00:00:00.188"), from_iso("2031-05-01T00:00:30.188")]
        ),
        position_m=np.array([[6378137.0, 0.0, 0.0], [np.nan] * 3]),
        covariance_m2=np.concatenate([covariance, np.full((1, 3, 3), np.nan)]),
        satellites=np.array([11, 0]),
        state=np.array(["float", "no solution"]),
        summary={"mode": "kinematic", "warnings": ["w"], "seconds": {"model": 1.0}},
    )


def rows(positions):
    return list(csv.DictReader(io.StringIO(csv_text(columns_of(positions)))))


def test_the_header_line_is_what_was_agreed(positions):
    assert csv_text(columns_of(positions)).splitlines()[0] == HEADER


def test_a_point_on_the_equator(positions):
    row = rows(positions)[0]
    # WGS84 semi-major axis 6378137 m on the x axis: latitude, longitude, height 0 by definition
    assert (row["latitude_deg"], row["longitude_deg"], row["height_m"]) == (
        "0.0000000000",
        "0.0000000000",
        "0.00000",
    )
    assert row["time_gps"] == "2031-05-01T00:00:00.188"
    assert (row["sigma_east_m"], row["sigma_north_m"], row["sigma_up_m"]) == (
        "0.00200",
        "0.00300",
        "0.00400",
    )
    # 1/(2*3), 0/(2*4), -3/(3*4); by hand
    assert (row["corr_en"], row["corr_eu"], row["corr_nu"]) == ("0.16667", "0.00000", "-0.25000")


def test_missing_is_empty(positions):
    row = rows(positions)[1]
    assert (row["x_m"], row["sigma_up_m"], row["satellites"], row["state"]) == (
        "",
        "",
        "0",
        "no solution",
    )


def test_parquet_keeps_all_digits_units_and_frame(positions, tmp_path):
    path = tmp_path / "t.parquet"
    path.write_bytes(table_bytes(path, columns_of(positions), metadata_of([positions], [], {})))
    columns, metadata = read_table(path)
    assert ",".join(columns) == HEADER
    assert metadata["frames"] == {"HV01": "IGS20"}
    assert metadata["time_scale"] == "GPS"
    back = positions_of(columns, "IGS20")
    np.testing.assert_array_equal(back.time_ns, positions.time_ns)
    np.testing.assert_array_equal(back.position_m, positions.position_m)
    np.testing.assert_allclose(back.covariance_m2, positions.covariance_m2, rtol=1e-12)


def test_another_ending_is_refused(positions):
    with pytest.raises(SettingsError, match=r"a table ends in \.csv or \.parquet"):
        table_bytes("x.txt", columns_of(positions), {})


def test_summary_counts_and_leaves_the_clock_out_where_asked(positions):
    summary = summary_of(positions, with_seconds=False)
    assert summary["rows_by_state"] == {"float": 1, "no solution": 1}
    assert summary["epoch_year"] == pytest.approx(2031 + 120 / 365, abs=1e-5)  # day 121 begins
    assert "seconds" not in summary
    assert "seconds" in summary_of(positions)
    json.dumps(summary)


def test_a_static_summary_states_both_points_with_frame_and_epoch(positions):
    static = replace(
        positions,
        time_ns=positions.time_ns[:1],
        position_m=positions.position_m[:1],
        covariance_m2=positions.covariance_m2[:1],
        satellites=positions.satellites[:1],
        state=positions.state[:1],
        summary={"mode": "static", "antenna reference point m": [6378138.532, 0.0, 0.0]},
    )
    marker, reference = summary_of(static)["coordinates"]
    assert (marker["point"], marker["frame"], marker["x_m"]) == ("marker", "IGS20", 6378137.0)
    assert reference["point"] == "antenna reference point"
    # on the equator's x axis height is x less the semi-major axis of WGS84
    assert reference["height_m"] == pytest.approx(1.532, abs=1e-6)
    assert reference["epoch_year"] == marker["epoch_year"]
