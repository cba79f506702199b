"""Files are whole or absent, whatever the moment of a kill; the ledger believes checksums only."""

import os
import signal
import subprocess
import sys
import time

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from stakeline.campaign.ledger import Ledger, fingerprint
from stakeline.campaign.store import (
    clean_leftovers,
    json_text,
    only_one,
    parquet_bytes,
    read_heading,
    read_table,
    sha256_file,
    sha256_of,
    write_bytes,
)
from stakeline.errors import SettingsError

SIZE = 400_000


WRITER = f"""
import sys
from stakeline.campaign.ledger import Ledger
ledger, number = Ledger(sys.argv[1]), 0
while True:
    number += 1
    name = str(number % 5)
    ledger.finish("days/" + name, str(number), {{"out/" + name: bytes([number % 251]) * {SIZE}}})
"""


@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="the system has no such signal")
def test_a_kill_leaves_whole_files_only(tmp_path):
    rng = np.random.default_rng(20310501)
    for _ in range(6):
        process = subprocess.Popen([sys.executable, "-c", WRITER, str(tmp_path)])
        deadline = time.monotonic() + 20
        while not (tmp_path / "out").exists() and time.monotonic() < deadline:
            time.sleep(0.001)
        time.sleep(rng.uniform(0.0, 0.05))
        process.kill()
        process.wait()
        results = [p for p in (tmp_path / "out").iterdir() if not p.name.startswith(".")]
        for path in results:
            data = path.read_bytes()
            assert len(data) == SIZE
            assert data == data[:1] * SIZE
    clean_leftovers(tmp_path)
    assert not list(tmp_path.rglob(".*.part"))
    assert len(results) > 0


def test_leftovers_are_named_and_removed(tmp_path):
    (tmp_path / "a").mkdir()
    (tmp_path / "a" / ".x.parquet.77.part").write_bytes(b"half")
    (tmp_path / "a" / "x.parquet").write_bytes(b"whole")
    assert clean_leftovers(tmp_path) == [str(tmp_path / "a" / ".x.parquet.77.part")]
    assert [p.name for p in (tmp_path / "a").iterdir()] == ["x.parquet"]


def test_a_failed_write_keeps_what_was_there(tmp_path, monkeypatch):
    write_bytes(tmp_path / "x", b"first")

    def full(handle):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SettingsError, match="x: cannot be written: No space left on device"):
        write_bytes(tmp_path / "x", b"second")
    assert (tmp_path / "x").read_bytes() == b"first"
    assert [p.name for p in tmp_path.iterdir()] == ["x"]


def table():
    times = np.arange(3).astype("datetime64[ns]")
    return {
        "time_gps": times,
        "x_m": np.array([1.5, np.nan, -2.0]),
        "state": np.array(["float"] * 3, object),
    }


def test_parquet_is_the_same_bytes_and_comes_back(tmp_path):
    units = {"x_m": "m"}
    first, second = (parquet_bytes(table(), units, {"frame": "IGS20"}) for _ in range(2))
    assert first == second
    write_bytes(tmp_path / "t.parquet", first)
    columns, metadata = read_table(tmp_path / "t.parquet")
    assert metadata == {"frame": "IGS20"}
    np.testing.assert_array_equal(columns["x_m"], table()["x_m"])
    np.testing.assert_array_equal(columns["time_gps"], table()["time_gps"])


def test_columns_of_every_kind_come_back_as_they_were(tmp_path):
    columns = {
        "time_gps": np.array([5, 2, 9], "datetime64[ns]"),
        "day_gps": np.array(["2031-05-01", "2031-05-02", "2031-05-03"], "datetime64[ms]"),
        "speed_m_d": np.array([np.nan, 1.5, -2.0]),
        "strength": np.array([1.5, 2.5, 3.5], np.float32),
        "satellites": np.array([9, 8, -7], np.int16),
        "count": np.array([1, 2, 2**63], np.uint64),
        "logged": np.array([True, False, True]),
        "station": np.array(["HV02", "", "HV03"], object),
    }
    path = tmp_path / "t.parquet"
    write_bytes(path, parquet_bytes(columns, {}, {}))
    for name, values in read_table(path)[0].items():
        np.testing.assert_array_equal(values, columns[name])
        assert values.dtype == columns[name].dtype, name
    empty = {name: values[:0] for name, values in columns.items() if name != "station"}
    write_bytes(path, parquet_bytes(empty, {}, {}))
    assert {name: len(values) for name, values in read_table(path)[0].items()} == dict.fromkeys(
        empty, 0
    )


def test_numbers_that_are_missing_are_nan(tmp_path):
    path = tmp_path / "t.parquet"
    table = pa.table({"x_m": pa.array([1.0, None, 3.0]), "name": pa.array(["a", None, "c"])})
    pq.write_table(table, path)
    columns = read_table(path)[0]
    np.testing.assert_array_equal(columns["x_m"], [1.0, np.nan, 3.0])
    assert columns["name"].tolist() == ["a", None, "c"]


def test_a_heading_tells_the_ends_without_the_values(tmp_path):
    path = tmp_path / "t.parquet"
    columns = {
        "time_gps": np.array([5, 2, 9], "datetime64[ns]"),
        "speed_m_d": np.array([np.nan, 1.5, -2.0]),
        "tide_up_m": np.full(3, np.nan),
        "station": np.array(["HV02"] * 3, object),
    }
    write_bytes(path, parquet_bytes(columns, {}, {"inputs": ["a"]}))
    ends, metadata = read_heading(path)
    assert ends == {"time_gps": (2, 9), "speed_m_d": (-2.0, 1.5), "tide_up_m": None,
                    "station": None}  # fmt: skip
    assert metadata == read_table(path)[1]
    some, _ = read_table(path, ("speed_m_d", "no such"))
    assert list(some) == ["speed_m_d"]


def test_a_file_that_is_no_parquet(tmp_path):
    (tmp_path / "t.parquet").write_bytes(b"PAR1")
    with pytest.raises(SettingsError, match=r"t.parquet: is no readable Parquet file"):
        read_table(tmp_path / "t.parquet")


def test_json_holds_no_nan_and_keeps_its_order():
    text = json_text({"b": float("nan"), "a": np.float64(1.5), "c": (np.int16(3), "x")})
    assert text == '{\n  "a": 1.5,\n  "b": null,\n  "c": [\n    3,\n    "x"\n  ]\n}\n'


def test_sha256_of_the_standard_example(tmp_path):
    # FIPS 180-2, appendix B.1: the message "abc"
    expected = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    (tmp_path / "abc").write_bytes(b"abc")
    assert sha256_of(b"abc") == expected
    assert sha256_file(tmp_path / "abc") == (3, expected)


@pytest.fixture
def ledger(tmp_path):
    ledger = Ledger(tmp_path)
    ledger.finish("days/HV01", "key", {"4-position/a": b"one", "4-position/b": b"two"}, seconds=1.0)
    return ledger


def test_a_finished_task_is_up_to_date(ledger):
    assert ledger.up_to_date("days/HV01", "key")
    assert ledger.tasks("days") == ["days/HV01"]


def test_another_key_is_not(ledger):
    assert not ledger.up_to_date("days/HV01", "other")
    assert not ledger.up_to_date("days/HV02", "key")


def test_a_changed_or_missing_file_is_noticed(ledger, tmp_path):
    (tmp_path / "4-position" / "a").write_bytes(b"One")
    assert not ledger.up_to_date("days/HV01", "key")
    (tmp_path / "4-position" / "a").unlink()
    assert not ledger.up_to_date("days/HV01", "key")


def test_a_damaged_record_is_no_record(ledger, tmp_path):
    (tmp_path / "ledger" / "days" / "HV01.json").write_text('{"key": "k', encoding="utf-8")
    assert ledger.read("days/HV01") is None
    assert not ledger.up_to_date("days/HV01", "key")


def test_forgetting_removes_the_files(ledger, tmp_path):
    ledger.forget("days/HV01")
    assert not list((tmp_path / "4-position").iterdir())
    assert ledger.tasks("days") == []


def test_fingerprints_differ_where_anything_does():
    one = fingerprint({"files": ["a"], "settings": {"mask": 7}})
    assert one == fingerprint({"settings": {"mask": 7}, "files": ["a"]})
    assert one != fingerprint({"files": ["a"], "settings": {"mask": 8}})


def test_one_run_at_a_time(tmp_path):
    lock = tmp_path / "ledger" / "lock"
    with (
        only_one(lock),
        pytest.raises(SettingsError, match="another run is working"),
        only_one(lock),
    ):
        pass
    with only_one(lock):
        pass
