"""The verbs as functions of the package: on folders, files and arrays; quick to import."""

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import stakeline
from stakeline.campaign.folders import create
from stakeline.cli import VERBS
from stakeline.errors import SettingsError
from stakeline.workflows import array_verbs, motion_xarray, result_datasets
from stakeline.workflows import decide as deciding
from stakeline.workflows.series import side_by_side

xarray = pytest.importorskip("xarray")
sys.path.append(str(Path(__file__).parent / "workflows"))
import decide_campaign as by_hand  # noqa: E402

LISTING = "import sys, stakeline; print(*sorted({n.partition('.')[0] for n in sys.modules}))"
EIGHT = [name for name in VERBS if name not in ("new", "view", "journal", "run", "demo")]
QUICK = {"likelihood_rows": 60, "find_steps": False, "remove_tide": False, "coloured_noises": 0}
QUICK |= {"window_d": (1.0,), "slope_source": "none"}
SETTINGS = {
    "permutations": 499, "lag_step_d": 1.0, "longer_d": (0.0,), "lag_d": (0.0, 3.0),
    "decay_d": (5.0,),
}  # fmt: skip


def hours(count):
    return np.datetime64("2031-05-01", "ns") + np.arange(count) * np.timedelta64(1, "h")


def places(count, speed_m_d=1.0, seed=1):
    """Return latitude, longitude, height: northward at an even speed, noise of 3, 3 and 6 mm."""
    rng = np.random.default_rng(seed)
    metre_deg = 1.0 / 111_660.0  # deg, of latitude near 79 N; ellipsoid GRS 80, from memory
    north = speed_m_d * np.arange(count) / 24.0 + rng.normal(0.0, 0.003, count)
    east = rng.normal(0.0, 0.003, count)
    longitude = 17.3 + east * metre_deg / np.cos(np.radians(79.0))
    return 79.0 + north * metre_deg, longitude, 500.0 + rng.normal(0.0, 0.006, count)


def invented(station="HV01", count=120, **options):
    return stakeline.as_positions(
        station, hours(count), *places(count, **options), (0.003, 0.003, 0.006)
    )


def daily(sizes):
    """Return daily speeds of stations as stakeline.motion gives them."""
    rng = np.random.default_rng(11)
    values = np.array([by_hand.speed(rng, size) for size in sizes.values()])
    start = np.datetime64(by_hand.START, "ns") + np.timedelta64(12, "h")
    days = start + np.arange(by_hand.DAYS) * np.timedelta64(1, "D")
    pair = ("station", "day")
    fields = {"day_speed_m_d": (pair, values),
              "day_speed_sigma_m_d": (pair, np.full(values.shape, 0.006))}  # fmt: skip
    return xarray.Dataset(fields, {"station": list(sizes), "day": days})


def drainings():
    start = np.datetime64(by_hand.START, "ns")
    day = np.timedelta64(86_400_000, "ms")
    return [(start + onset * day, start + (onset + by_hand.LENGTH) * day)
            for onset in by_hand.ONSETS]  # fmt: skip


@pytest.fixture(scope="module")
def campaign(tmp_path_factory):
    root = tmp_path_factory.mktemp("campaign")
    create(root)
    (root / "campaign.toml").write_text('[campaign]\nname = "Trial"\n' + by_hand.SETTINGS)
    rng = np.random.default_rng(11)
    for name in by_hand.RESPONDING:
        by_hand.write_station(root, name, by_hand.speed(rng, 0.06))
    by_hand.write_station(root, "HV01", by_hand.speed(rng))
    by_hand.write_lake(root)
    return root


def test_importing_the_package_loads_nothing_heavy():
    done = subprocess.run([sys.executable, "-c", LISTING], capture_output=True, check=True)
    names = set(done.stdout.decode().split())
    assert "stakeline" in names
    assert not names & {"numpy", "scipy", "numba", "pyarrow", "pydantic", "xarray", "matplotlib"}


def test_every_verb_is_a_function_of_the_package():
    assert len(EIGHT) == 8
    assert all(callable(getattr(stakeline, name)) for name in (*EIGHT, "run", "table"))
    assert set(stakeline.__all__) <= set(dir(stakeline))
    with pytest.raises(AttributeError, match="has no attribute 'positon'"):
        stakeline.positon  # noqa: B018


def test_a_package_that_bears_a_verbs_name_does_the_verb():
    with pytest.raises(SettingsError, match="nowhere: holds no campaign"):
        stakeline.motion("nowhere")
    assert stakeline.motion.__name__ == "stakeline.motion"


@pytest.mark.compiled
def test_deciding_on_a_folder_gives_its_table_with_units(campaign, monkeypatch):
    monkeypatch.setattr(deciding, "decide_figures", lambda *_: {})  # drawn in tests of their own
    found = stakeline.decide(campaign)
    assert found.attrs["sentence"].startswith("Faster")
    assert found.change_percent.attrs["units"] == "%"
    assert found.usual_speed_m_d.attrs["units"] == "m/d"
    rows = (campaign / "7-decide" / "effects.csv").read_text().splitlines()
    column = rows[0].split(",").index("change_percent")
    np.testing.assert_array_equal(
        found.change_percent, [float(row.split(",")[column]) for row in rows[1:]]
    )


@pytest.mark.compiled
def test_deciding_on_arrays_finds_what_was_put_in():
    motion = daily({"HV05": 0.06, "HV06": 0.06, "HV01": 0.0})
    found = stakeline.decide(motion, drainings(), beside=["HV01"], settings=SETTINGS)
    assert found.attrs["outcome"] == "faster"
    assert found.attrs["p"] < 0.05
    pooled = found.isel(effect=found.event.values == "all")
    assert set(pooled.station.values) == {"HV05", "HV06"}
    assert ((pooled.change_low_percent < 6.0) & (pooled.change_high_percent > 6.0)).all()
    named = set(found.event.values) - {"all"}
    assert named == {"lake 2031-06-15 drain", "lake 2031-07-21 drain", "lake 2031-10-06 drain"}


def test_deciding_refuses_what_is_not_there():
    motion = daily({"HV05": 0.0})
    with pytest.raises(SettingsError, match="there is no station HV09; stations are HV05"):
        stakeline.decide(motion, drainings(), responding=["HV09"])
    with pytest.raises(SettingsError, match="no draining was given"):
        stakeline.decide(motion, [])
    with pytest.raises(SettingsError, match="lag_step_d"):
        stakeline.decide(motion, drainings(), settings={"lag_step_d": -1.0})


def test_positions_of_arrays_come_back_as_they_were():
    data = invented(count=5)
    (own,) = result_datasets.station_positions_of(data)
    again = result_datasets.positions_dataset([own])
    for name in data:
        np.testing.assert_array_equal(again[name], data[name])
    assert data.height_m.attrs["units"] == "m"
    assert data.latitude_deg.attrs["units"] == "degree"
    np.testing.assert_allclose(data.latitude_deg.values[0], places(5)[0], rtol=0.0, atol=1e-12)


def test_positions_refuse_shapes_that_do_not_fit():
    with pytest.raises(SettingsError, match=r"HV01: times \(3,\), places"):
        stakeline.as_positions("HV01", hours(3), *places(4), (0.01, 0.01, 0.02))
    with pytest.raises(SettingsError, match="positions without x_m"):
        stakeline.motion(xarray.Dataset({"y_m": 1.0}))


@pytest.mark.compiled
@pytest.mark.filterwarnings("ignore:HV01")
def test_motion_of_arrays_has_the_speed_put_in():
    found = stakeline.motion(invented(), settings=QUICK)
    speed, sigma = (found[name].sel(station="HV01") for name in ("speed_m_d", "speed_sigma_m_d"))
    middle = slice(24, 96)
    assert (abs(speed - 1.0) < 4.0 * sigma)[middle].all()
    assert found.speed_m_d.attrs["units"] == "m day-1"
    days = found.day_speed_m_d.sel(station="HV01")
    assert days.sizes["day"] == 5
    assert (abs(days - 1.0) < 4.0 * found.day_speed_sigma_m_d.sel(station="HV01")).all()
    assert found.day.values[0] == np.datetime64("2031-05-01T12:00")


def test_motion_refuses_settings_it_does_not_know(campaign):
    with pytest.raises(SettingsError, match="no_such"):
        stakeline.motion(invented(count=12), settings={"no_such": 1})
    with pytest.raises(SettingsError, match="settings of a campaign stand in its"):
        stakeline.motion(campaign, settings=QUICK)


def test_lakes_of_arrays_hands_stations_on_and_returns_their_events(monkeypatch):
    time = hours(48)
    up = np.random.default_rng(2).normal(0.0, 0.01, (2, 48))
    motion = xarray.Dataset({"residual_up_unsmoothed_m": (("station", "time"), up)},
                            {"station": ["HV02", "HV05"], "time": time})  # fmt: skip
    seen = []

    class Event:
        def row(self):
            return {"lake": "Upper", "kind": "drain", "onset_median_ns": 5, "end_median_ns": 9}

    class History:
        events, notes = (Event(),), ("a note",)

    def find(lake, stations, rng, settings):
        seen.extend(stations)
        return History()

    monkeypatch.setattr(array_verbs, "find_events", find)
    found = stakeline.lakes(motion, lake="Upper", over=["HV02"], beside=["HV05"])
    assert [(one.station, one.control) for one in seen] == [("HV02", False), ("HV05", True)]
    np.testing.assert_array_equal(seen[1].up_m, up[1])
    assert found.attrs["notes"] == "a note"
    assert found.onset_median_gps.values[0] == np.datetime64(5, "ns")
    with pytest.raises(SettingsError, match="there is no station HV09"):
        stakeline.lakes(motion, lake="Upper", over=["HV09"])


def test_a_table_says_its_units_and_what_is_not_there(campaign):
    routes = stakeline.table(campaign, "6-lakes/routes.csv")
    assert routes.along_m.attrs["units"] == "m"
    assert np.isnan(routes.along_m.values[0])
    assert routes.target.values[2] == "HV05"
    windows = stakeline.table(campaign, "5-motion/HV05/HV05_windows.parquet")
    assert windows.start_gps.dtype == "datetime64[ns]"
    assert windows.start_gps.attrs["time_scale"] == "GPS time"
    with pytest.raises(SettingsError, match="is not there; run the verb that makes it"):
        stakeline.table(campaign, "6-lakes/volumes.csv")


def test_units_are_told_by_names():
    names = ("volume_m3_low", "change_percent", "speed_m_d", "mean_m3_s_median", "state")
    assert [result_datasets.unit_of(name) for name in names] == ["m3", "%", "m/d", "m3/s", ""]


def test_stations_stand_side_by_side_with_gaps():
    first = {"time_gps": hours(2), "x": np.array([1.0, 2.0])}
    second = {"time_gps": hours(3)[1:], "x": np.array([3.0, 4.0])}
    time_ns, values = side_by_side([first, second], ("x",))
    np.testing.assert_array_equal(time_ns.view("datetime64[ns]"), hours(3))
    np.testing.assert_array_equal(values["x"], [[1.0, 2.0, np.nan], [np.nan, 3.0, 4.0]])


def test_without_xarray_it_is_said_what_to_install(monkeypatch, campaign):
    monkeypatch.setattr(motion_xarray, "xarray", None)
    with pytest.raises(SettingsError, match=r"pip install 'stakeline\[xarray\]'"):
        stakeline.table(campaign, "6-lakes/routes.csv")
