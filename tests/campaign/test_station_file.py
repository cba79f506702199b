"""Station files: each mistake is told with its line; what is left out has a default."""

from importlib import resources

import pytest

from stakeline.campaign.station_file import read_station_file
from stakeline.errors import SettingsError

LEAST = """name = "HV02"
[site]
latitude_deg = 79.1
longitude_deg = 17.2
elevation_m = 300
[[panel]]
rated_W = 50
tilt_deg = 80
azimuth_deg = 180
[battery]
parallel = 6
[[load]]
name = "receiver"
kind = "receiver"
power_W = 3
"""


def read(tmp_path, text):
    path = tmp_path / "HV02.toml"
    path.write_text(text, encoding="utf-8")
    return read_station_file(path)


def test_the_least_that_must_stand_there_is_enough(tmp_path):
    found = read(tmp_path, LEAST)
    assert found.battery.parallel == 6
    assert found.turbine is None
    assert found.storm.wind_m_s == 38.6


def test_the_example_is_read():
    path = resources.files("stakeline.campaign").joinpath("templates", "plan_HV01.toml")
    found = read_station_file(path)
    assert sum(panel.rated_W * panel.count for panel in found.panel) == 150.0
    assert found.aim.built.year == 2031


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("latitude_deg = 79.1", "latitude_deg = 95", ":3: site.latitude_deg: should be less than"),
        ("tilt_deg = 80", "tilt_deg = 100", ":8: panel.1.tilt_deg: faces down; expected 0"),
        ("rated_W = 50", 'rated_W = "50 W"', ":7: panel.1.rated_W: should be a valid number"),
        ("rated_W = 50", "rated_kW = 0.05", ":7: panel.1.rated_kW: unknown key; did you mean"),
        ("elevation_m = 300", "elevation_ft = 900", "did you mean 'elevation_m'?"),
        ("rated_W = 50", "rated_W = 50\nmass_kg = -3", ":8: panel.1.mass_kg: should be greater"),
        ("[battery]\nparallel = 6\n", "", ":1: battery: is missing"),
        ("parallel = 6", "parallel = 0", ":11: battery.parallel: should be greater than"),
        ("power_W = 3", "power_W = -3", ":15: load.1.power_W: should be greater than 0"),
        ("power_W = 3", "power_W = 3\n[site2]", ":16: site2: unknown key; did you mean 'site'?"),
        ("rated_W = 50", "rated_W = 50\ncount = 3\nseries = 2", "make no whole strings of 2"),
        (
            "parallel = 6",
            "parallel = 6\n[controller]\ndisconnect_V = 12.6\nreconnect_V = 11.5",
            ":12: controller: reconnect_V 11.5 is not above disconnect_V 12.6",
        ),
        ("power_W = 3", "power_W = 3\n[guys]\ncount = 4", "guys need [anchors]"),
        (
            "elevation_m = 300",
            "elevation_m = 300\nhorizon_deg = [[90, 3], [10, 2]]",
            ":6: site.horizon_deg: give pairs",
        ),
        (
            "power_W = 3",
            "power_W = 3\n[heater]\npower_W = 5\non_degC = -20\noff_degC = -30",
            ":16: heater: off_degC must be warmer",
        ),
        (
            "power_W = 3",
            "power_W = 3\n[weather]\nmean_degC = 248",
            ":17: weather.mean_degC: should be less than or equal to 60; found 248",
        ),
        (
            "power_W = 3",
            "power_W = 3\n[aim]\nbuilt = 2031-05-01\nvisit = 2030-05-01",
            "is not after built",
        ),
    ],
)
def test_a_mistake_is_told_with_its_line(tmp_path, old, new, said):
    assert old in LEAST
    with pytest.raises(SettingsError) as told:
        read(tmp_path, LEAST.replace(old, new))
    assert said in str(told.value)
    assert "HV02.toml:" in str(told.value)


def test_two_loads_of_one_name_are_refused(tmp_path):
    with pytest.raises(SettingsError, match="receiver stands there more than once"):
        read(tmp_path, LEAST + '[[load]]\nname = "receiver"\npower_W = 2\n')
