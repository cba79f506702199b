"""Tables of finished positions: read strictly, kept beside solved days, read as one."""

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.ledger import Ledger
from stakeline.campaign.store import parquet_bytes, read_table, write_bytes
from stakeline.constants import NS_PER_DAY, NS_PER_S
from stakeline.earth.ellipsoid import xyz_from_geodetic
from stakeline.errors import FormatError
from stakeline.formats.plain_table import write_plain_table
from stakeline.tables import Positions
from stakeline.time import from_iso, gps_from_utc
from stakeline.workflows import position_campaign
from stakeline.workflows.position_tables import (
    import_tables,
    read_position_table,
    station_frames,
    station_positions,
)
from stakeline.workflows.series import UNITS, columns_of, metadata_of

BEGIN_NS = from_iso("2031-05-01")
HOUR_NS = 3600 * NS_PER_S


def positions(first_h=0, hours=48, station="HV05", frame="IGS20", step_h=1, state="float"):
    """Return invented positions at whole hours from 2031-05-01 on."""
    hour = np.arange(first_h, first_h + hours, step_h)
    count = len(hour)
    xyz = xyz_from_geodetic(
        np.full(count, np.radians(79.04)), np.full(count, np.radians(17.36)), 212.0 + hour * 1e-3
    )
    covariance = np.tile(np.diag([0.01, 0.02, 0.03]) ** 2, (count, 1, 1))
    covariance[:, 0, 1] = covariance[:, 1, 0] = 0.5 * 0.01 * 0.02
    return Positions(
        station, frame, BEGIN_NS + hour * HOUR_NS, xyz, covariance,
        np.full(count, 12), np.full(count, state, object),
    )  # fmt: skip


def parquet(found):
    return parquet_bytes(columns_of(found), UNITS, metadata_of([found], [], {}))


def bare(**changes):
    """Return the fewest columns that a table of positions may have; None takes one away."""
    columns = columns_of(positions())
    kept = {"time_gps": columns["time_gps"].view(np.int64)}
    kept |= {k: columns[k] for k in ("x_m", "y_m", "z_m")}
    kept |= {f"sigma_{axis}_m": columns[f"sigma_{axis}_m"] for axis in ("east", "north", "up")}
    return {k: v for k, v in (kept | changes).items() if v is not None}


@pytest.fixture
def write(tmp_path):
    def write(columns, name="table.csv"):
        path = tmp_path / name
        path.write_bytes(write_plain_table(columns, dict.fromkeys(columns, 5)))
        return path

    return write


def test_our_own_table_comes_back(tmp_path):
    path = tmp_path / "HV05.parquet"
    path.write_bytes(parquet(positions()))
    columns, said = read_position_table(path)
    assert said == {"frame": "IGS20", "passed_over": ()}
    for name, values in columns_of(positions()).items():
        np.testing.assert_array_equal(columns[name], values, err_msg=name)


def test_what_a_table_leaves_out_is_zero_or_computed(write):
    columns, said = read_position_table(write(bare()), station="HV05")
    assert said["frame"] == "not stated"
    assert list(columns) == list(UNITS)
    assert not columns["corr_en"].any()
    assert set(columns["state"]) == {"imported"}
    assert set(columns["station"]) == {"HV05"}
    np.testing.assert_allclose(columns["latitude_deg"], 79.04, atol=1e-9)
    np.testing.assert_allclose(columns["sigma_up_m"], 0.03)


def test_utc_becomes_gps_time(write):
    gps = bare()["time_gps"]
    columns, _ = read_position_table(write(bare(time_gps=None, time_utc=gps)), station="HV05")
    np.testing.assert_array_equal(columns["time_gps"].view(np.int64), gps_from_utc(gps))


def test_columns_without_a_use_are_told(write):
    _, said = read_position_table(write(bare(snow_m=np.ones(48))), station="HV05")
    assert said["passed_over"] == ("snow_m",)


def _set(row, value, name="x_m"):
    values = bare()[name].copy()
    values[row] = value
    return {name: values}


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"z_m": None}, "found no column z_m; expected z_m, in metres"),
        ({"z_m": None, "z_km": bare()["z_m"] / 1e3}, "found column z_km; expected z_m, in metres"),
        ({"time_gps": None}, "found no time column without a scale"),
        ({"time_gps": None, "time": np.full(48, "2031-05-01")}, "the time column time without"),
        ({"time_gps": bare()["time_gps"][::-1]}, "in row 2, not after the row above it"),
        (_set(7, bare()["time_gps"][6], "time_gps"), "in row 8, not after the row above it"),
        (_set(4, np.nan), "nan in column x_m in row 5"),
        (_set(4, 1.0), "m from the Earth's centre in row 5"),
        (_set(0, 0.0, "sigma_up_m"), "found 0 m of sigma_up_m in row 1; expected a positive"),
        (_set(0, np.nan, "sigma_up_m"), "nan in column sigma_up_m in row 1"),
        ({"x_m": np.full(48, "far", object)}, "text in column x_m"),
        ({"corr_en": np.full(48, 1.5)}, "1.5 of corr_en in row 1; expected a correlation"),
        ({"satellites": np.full(48, 4.5)}, "4.5 satellites in row 1; expected a count"),
        ({"height_m": np.full(48, 200.0)}, "200 m of height_m in row 1; expected the ellipsoidal"),
        ({"station": np.array(["HV05"] * 47 + ["HV06"], object)}, "station HV06 in row 48"),
    ],
)
def test_a_broken_table_is_refused_in_words(write, changes, sentence):
    with pytest.raises(FormatError) as told:
        read_position_table(write(bare(**changes)), "0-raw/HV05.csv", "HV05")
    assert str(told.value).startswith("0-raw/HV05.csv: ")
    assert sentence in str(told.value)


def test_units_of_parquet_columns_are_believed(tmp_path):
    path = tmp_path / "HV05.parquet"
    path.write_bytes(parquet_bytes(columns_of(positions()), UNITS | {"sigma_up_m": "mm"}, {}))
    with pytest.raises(FormatError, match="sigma_up_m in mm; expected sigma_up_m in m"):
        read_position_table(path)


def test_empty_nameless_and_no_table(write, tmp_path):
    with pytest.raises(FormatError, match="found no column station"):
        read_position_table(write(bare()))
    with pytest.raises(FormatError, match="found names and no row"):
        read_position_table(write({k: v[:0] for k, v in bare().items()}))
    with pytest.raises(FormatError, match="no readable file"):
        read_position_table(tmp_path / "missing.csv")


@pytest.fixture
def campaign(tmp_path):
    """A campaign in which HV05 has one table; ``campaign.toml`` may be written anew."""
    root = tmp_path / "trial"
    create(root)
    (root / "stations" / "HV01.toml").unlink()
    _settings(root, "0-raw/positions/HV05.parquet")
    write_bytes(root / "0-raw/positions/HV05.parquet", parquet(positions()))
    return root


def _settings(root, *tables):
    listed = ", ".join(f'"{name}"' for name in tables)
    text = f'[campaign]\nname = "Trial"\n[[station]]\nname = "HV05"\npositions = [{listed}]\n'
    (root / "campaign.toml").write_text(text, encoding="utf-8")


def test_position_takes_a_table_in_once(campaign):
    first = position_campaign.run(campaign)
    assert first.problems == ()
    assert "positions of tables: 1 taken in, 0 up to date, 0 failed" in first.text
    columns, metadata = read_table(campaign / "4-position/HV05/HV05_imported.parquet")
    assert set(columns["state"]) == {"imported"}
    np.testing.assert_allclose(columns["corr_en"], 0.5)
    assert metadata["frames"] == {"HV05": "IGS20"}
    assert metadata["inputs"][0]["file"] == "0-raw/positions/HV05.parquet"
    assert len(metadata["inputs"][0]["sha256"]) == 64
    again = position_campaign.run(campaign)
    assert "0 taken in, 1 up to date" in again.text


def test_a_changed_table_is_taken_anew_and_a_broken_one_is_dropped(campaign):
    position_campaign.run(campaign)
    table = campaign / "0-raw/positions/HV05.parquet"
    write_bytes(table, parquet(positions(hours=24)))
    assert "1 taken in" in position_campaign.run(campaign).text
    table.write_bytes(table.read_bytes()[:-20])
    outcome = position_campaign.run(campaign)
    (said,) = [p for p in outcome.problems if p.startswith("HV05")]
    assert said.startswith("HV05: ")
    assert "damaged Parquet data" in said
    assert not (campaign / "4-position/HV05/HV05_imported.parquet").exists()
    table.unlink()
    assert "no such file" in position_campaign.run(campaign).problems[0]


def test_several_tables_are_joined_in_order(campaign):
    write_bytes(campaign / "0-raw/late.parquet", parquet(positions(first_h=48)))
    _settings(campaign, "0-raw/late.parquet", "0-raw/positions/HV05.parquet")
    assert position_campaign.run(campaign).problems == ()
    times = station_positions(open_campaign(campaign), "HV05")["time_gps"].view(np.int64)
    np.testing.assert_array_equal(times, BEGIN_NS + np.arange(96) * HOUR_NS)


def test_tables_that_overlap_or_say_no_frame_are_refused(campaign):
    write_bytes(campaign / "0-raw/late.parquet", parquet(positions(first_h=47)))
    _settings(campaign, "0-raw/positions/HV05.parquet", "0-raw/late.parquet")
    assert "2031-05-02T23:00:00 in two tables" in position_campaign.run(campaign).problems[0]
    for frame in ("not stated", "WGS84"):
        write_bytes(campaign / "0-raw/late.parquet", parquet(positions(first_h=48, frame=frame)))
        assert "frames IGS20 in 0-raw/positions" in position_campaign.run(campaign).problems[0]


def test_remarks_on_a_table_are_said_again(campaign):
    table = bare(station=np.full(48, "HV05", object), snow_m=np.ones(48))
    write_bytes(campaign / "0-raw/a.csv", write_plain_table(table, dict.fromkeys(table, 5)))
    _settings(campaign, "0-raw/a.csv")
    first = position_campaign.run(campaign)
    assert first.notes == (
        "0-raw/a.csv: columns without a use: snow_m",
        "0-raw/a.csv: says no frame of its coordinates",
    )
    assert position_campaign.run(campaign).notes == first.notes


def test_days_solved_from_receiver_files_win(campaign):
    opened = open_campaign(campaign)
    import_tables(opened, Ledger(campaign))
    day = positions(first_h=24, hours=12, step_h=2, state="code only")
    write_bytes(campaign / "4-position/HV05/HV05_2031-05-02.parquet", parquet(day))
    both = station_positions(opened, "HV05")
    hours = (both["time_gps"].view(np.int64) - BEGIN_NS) // HOUR_NS
    # 24 to 34 h are the day's; before and after, those of the table
    assert hours.tolist() == [*range(24), *range(24, 36, 2), *range(35, 48)]
    own = np.isin(hours, range(24, 36, 2))
    assert set(both["state"][own]) == {"code only"}
    assert set(both["state"][~own]) == {"imported"}
    assert station_frames(opened, "HV05") == ("IGS20",)


def test_one_position_a_day_stands_for_the_whole_day(campaign):
    opened = open_campaign(campaign)
    import_tables(opened, Ledger(campaign))
    day = positions(first_h=36, hours=1)
    write_bytes(campaign / "4-position/HV05/HV05_2031-05-02.parquet", parquet(day))
    times = station_positions(opened, "HV05")["time_gps"].view(np.int64)
    assert ((times >= BEGIN_NS + NS_PER_DAY) & (times < BEGIN_NS + 2 * NS_PER_DAY)).sum() == 1


def test_no_positions_are_no_rows(campaign):
    columns = station_positions(open_campaign(campaign), "HV05")
    assert list(columns) == list(UNITS)
    assert len(columns["x_m"]) == 0
