"""Hourly weather of foreign files: CSV and NetCDF, names by the station file, what is refused."""

import gzip

import numpy as np
import pytest
from scipy.io import netcdf_file

from stakeline.campaign.station_parts import WeatherPart
from stakeline.errors import FormatError
from stakeline.workflows.plan_description import describe_station
from stakeline.workflows.plan_weather import read_weather, weather_model

LEAST = """name = "HV02"
[site]
latitude_deg = -79.1
longitude_deg = 17.2
elevation_m = 800
[weather]
file = "hours.csv"
[weather.time]
column = "when"
scale = "UTC"
[weather.columns]
temperature_degC = "T"
wind_m_s = "v"
[battery]
parallel = 6
[[load]]
name = "receiver"
power_W = 3
"""
NAMES = {
    "time": {"column": "when", "scale": "UTC"},
    "columns": {"temperature_degC": "T", "wind_m_s": "v"},
    "missing": [-999.0],
}
HOURS = 8784


def table(count=HOURS):
    rng = np.random.default_rng(6)
    season = np.cos(2.0 * np.pi * np.arange(count) / HOURS)
    air = -20.0 + 12.0 * season + rng.normal(0.0, 3.0, count)
    return air.round(2), np.abs(rng.normal(6.0, 2.0, count)).round(2)


def write_csv(path, air, wind):
    when = np.datetime64("2032-01-01T00:00") + np.arange(air.size).astype("timedelta64[h]")
    rows = "".join(f"{t},{a},{w}\n" for t, a, w in zip(when, air, wind, strict=True))
    text = "when,T,v\n" + rows
    data = gzip.compress(text.encode()) if path.suffix == ".gz" else text.encode()
    path.write_bytes(data)
    return path


@pytest.mark.parametrize("name", ["hours.csv", "hours.csv.gz"])
def test_a_table_is_read_by_its_names(tmp_path, name):
    air, wind = table(200)
    air[50] = -999.0
    found = read_weather(write_csv(tmp_path / name, air, wind), WeatherPart.model_validate(NAMES))
    assert np.isnan(found.temperature_degC[50])
    np.testing.assert_allclose(found.wind_m_s, wind)


def test_netcdf_is_read_by_its_names(tmp_path):
    air, wind = table(200)
    path = tmp_path / "hours.nc"
    with netcdf_file(path, "w") as file:
        file.createDimension("row", air.size)
        for name, values in (("when", np.arange(200.0)), ("T", air), ("v", wind)):
            variable = file.createVariable(name, "d", ("row",))
            variable[:] = values
    time = {"column": "when", "scale": "UTC", "written": "hours", "since": "2032-01-01T00:00:00"}
    part = WeatherPart.model_validate({**NAMES, "time": time})
    found = read_weather(path, part)
    np.testing.assert_allclose(found.temperature_degC, air)
    assert found.start_ns == read_weather(
        write_csv(tmp_path / "hours.csv", air, wind), WeatherPart.model_validate(NAMES)
    ).start_ns  # fmt: skip


def test_a_model_is_fitted_to_the_file_beside_the_station(tmp_path):
    write_csv(tmp_path / "hours.csv", *table())
    path = tmp_path / "HV02.toml"
    path.write_text(LEAST, encoding="utf-8")
    found = weather_model(describe_station(path))
    assert found.season[0] == pytest.approx(-20.0, abs=0.3)
    assert found.pressure_hPa == pytest.approx(909.0, abs=5.0)  # of 800 m at -20 degC
    assert weather_model(describe_station(path)) is found
    assert any("wind_m_s: 0.0 % of 8784 hours missing" in note for note in found.notes)


def test_cloud_and_humidity_are_columns_too(tmp_path):
    air, wind = table(200)
    path = write_csv(tmp_path / "hours.csv", air, wind)
    rows = path.read_text().splitlines()
    extra = [f"{row},{k % 9 / 8},{80 + k % 30}" for k, row in enumerate(rows[1:])]
    path.write_text("\n".join([rows[0] + ",N,rh", *extra]) + "\n")
    columns = NAMES["columns"] | {"cloud": "N", "humidity_percent": "rh"}
    found = read_weather(path, WeatherPart.model_validate({**NAMES, "columns": columns}))
    np.testing.assert_allclose(found.cloud, np.arange(200) % 9 / 8)
    np.testing.assert_allclose(found.humidity_percent, 80.0 + np.arange(200) % 30)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"columns": {"temperature_degC": "air", "wind_m_s": "v"}}, "no column air"),
        ({"time": {"column": "hour", "scale": "UTC"}}, "no column hour"),
        ({"columns": {"temperature_degC": "when", "wind_m_s": "v"}}, "text in column when"),
    ],
)
def test_names_that_are_not_there_are_told(tmp_path, change, said):
    path = write_csv(tmp_path / "hours.csv", *table(50))
    with pytest.raises(FormatError, match=said):
        read_weather(path, WeatherPart.model_validate({**NAMES, **change}))


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(FormatError, match="no such file"):
        read_weather(tmp_path / "none.csv", WeatherPart.model_validate(NAMES))
