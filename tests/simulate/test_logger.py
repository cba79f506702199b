import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.simulate import logger_faults
from stakeline.simulate.chance import stream
from stakeline.simulate.ground import Place
from stakeline.simulate.logger import MISSING, SENSORS, logger_table
from stakeline.simulate.power import Design, make_supply
from stakeline.simulate.weather import make_region, make_weather
from stakeline.time import from_calendar, from_iso, gps_from_utc

START_NS = from_calendar(2030, 5, 1)


@pytest.fixture(scope="module")
def station():
    region = make_region(stream(1, "weather"), START_NS, 400)
    place = Place(np.radians(79.1), np.radians(-22.0), 300.0)
    weather = make_weather(region, stream(1, "HV01", "weather"), place)
    supply = make_supply(None, weather, Design(bank_Ah=300.0, turbine_W=0.0))
    assert supply.outages_s
    return supply, weather


@pytest.fixture(scope="module")
def windy(station):
    _, weather = station
    supply = make_supply(None, weather, Design(bank_Ah=2000.0))
    assert not supply.outages_s
    return logger_table(np.random.default_rng(3), supply, weather)


@pytest.fixture(scope="module")
def table(station):
    return logger_table(np.random.default_rng(2), *station)


def seconds(table):
    utc = np.array([from_iso(text) for text in table["time_utc"]])
    return (gps_from_utc(utc) - START_NS) / 1e9


def test_rows_stand_at_whole_hours_of_utc_and_none_in_an_outage(station, table):
    supply, _ = station
    assert set(table) == {"time_utc", *SENSORS}
    assert {len(column) for column in table.values()} == {len(table["time_utc"])}
    assert all(text.endswith(":00:00Z") for text in table["time_utc"])
    time_s = seconds(table)
    # GPS time is 18 s ahead of UTC since 2017 (IERS Bulletin C 52): midnight UTC is 18 s later
    assert time_s[0] == 18.0
    for begin, end in supply.outages_s:
        assert not np.any((time_s >= begin) & (time_s < end))
    gone = sum(end - begin for begin, end in supply.outages_s) / 3600.0
    assert len(time_s) == pytest.approx(supply.on.size - gone, abs=1 + len(supply.outages_s))


def test_readings_are_the_truth_within_noise_and_step(station, table):
    supply, weather = station
    time_s = seconds(table)
    step = (time_s // 3600).astype(int)
    truth = {"battery_V": supply.battery_V[step], "box_degC": supply.box_degC[step]}
    truth["air_degC"] = weather.at("temperature_degC", time_s)
    truth["snow_distance_m"] = 2.5 - weather.snow_surface_m(time_s)
    for name, value in truth.items():
        sigma, size = SENSORS[name]
        good = table[name] != MISSING
        off = (table[name] - value)[good]
        assert np.abs(off).max() < 6.0 * sigma + size
        # Noise and an even error of the step together: sigma^2 + step^2 / 12
        assert off.std() == pytest.approx(np.hypot(sigma, size / np.sqrt(12)), rel=0.05)


@pytest.mark.parametrize("name", list(SENSORS))
def test_readings_come_in_the_converters_steps(table, name):
    good = table[name][table[name] != MISSING] / SENSORS[name][1]
    assert good == pytest.approx(np.round(good), abs=1e-6)


def test_failed_readings(station, table):
    _, weather = station
    share = np.mean(table["air_degC"] == MISSING)
    assert share == pytest.approx(5e-4, abs=7e-4)
    storm = weather.at("wind_m_s", seconds(table)) > 22.0
    lost = table["snow_distance_m"] == MISSING
    assert lost[storm].mean() > 5 * lost[~storm].mean()


def test_a_buried_ranger_sees_nothing(station):
    supply, weather = station
    buried = logger_table(np.random.default_rng(1), supply, weather, boom_m=lambda t: 0.0 * t)
    assert np.mean(buried["snow_distance_m"] == MISSING) > 0.6


def test_one_seed_repeats_and_two_differ(station):
    one, same, other = (
        logger_table(np.random.default_rng(seed), *station, step_s=1800) for seed in (1, 1, 2)
    )
    for name, column in one.items():
        assert np.array_equal(column, same[name])
    assert not np.array_equal(one["battery_V"], other["battery_V"])
    assert np.array_equal(one["time_utc"], other["time_utc"])


def test_a_step_must_be_positive(station):
    with pytest.raises(SettingsError, match="must be positive"):
        logger_table(np.random.default_rng(1), *station, step_s=0)


JULY = ("2030-07-01T00:00:00Z", "2030-07-08T00:00:00Z")
WINTER = ("2030-12-01T00:00:00Z", "2031-03-01T00:00:00Z")


def outside(table, span):
    return (table["time_utc"] < span[0]) | (table["time_utc"] >= span[1])


def faulty(windy):
    rng = np.random.default_rng(9)
    return {
        "battery_V": [
            (WINTER, logger_faults.over_voltage(windy, *WINTER)),
            (WINTER, logger_faults.cold_collapse(windy, *WINTER)),
            (JULY, logger_faults.ripple(rng, windy, *JULY)),
        ],
        "panel_A": [(JULY, logger_faults.no_charge_in_sun(windy, *JULY))],
        "turbine_A": [(WINTER, logger_faults.no_turbine_in_wind(windy, *WINTER))],
        "box_degC": [(JULY, logger_faults.stuck_sensor(windy, "box_degC", *JULY))],
    }


def test_mistakes_change_their_column_in_their_span_and_count_their_rows(windy):
    before = {name: column.copy() for name, column in windy.items()}
    for column, cases in faulty(windy).items():
        for span, (wrong, rows) in cases:
            assert rows == np.sum(wrong[column] != windy[column]) > 0
            assert np.array_equal(
                wrong[column][outside(windy, span)], before[column][outside(windy, span)]
            )
            for name in windy:
                if name != column:
                    assert np.array_equal(wrong[name], before[name])
    for name, column in windy.items():  # the table given stays
        assert np.array_equal(column, before[name])


def test_what_the_mistakes_look_like(windy):
    cases = faulty(windy)
    july, winter = ~outside(windy, JULY), ~outside(windy, WINTER)
    assert np.all(cases["panel_A"][0][1][0]["panel_A"][july] <= 0.0)
    assert np.all(cases["turbine_A"][0][1][0]["turbine_A"][winter] <= 0.0)
    assert np.unique(cases["box_degC"][0][1][0]["box_degC"][july]).size == 1
    over, _ = cases["battery_V"][0][1]
    assert np.all(over["battery_V"][winter & (windy["wind_m_s"] > 15.0)] == 17.2)
    weak, _ = cases["battery_V"][1][1]
    assert weak["battery_V"][weak["battery_V"] != MISSING].min() >= 8.0
    shaken, _ = cases["battery_V"][2][1]
    change = (shaken["battery_V"] - windy["battery_V"])[july]
    # A sine sampled at even phases has the asked root mean square, here 1 V
    assert np.sqrt(np.mean(change[change != 0.0] ** 2)) == pytest.approx(1.0, rel=0.15)


def test_a_clock_that_is_wrong(windy):
    wrong, rows = logger_faults.shifted_clock(windy, 3600)
    assert rows == len(windy["time_utc"])
    assert wrong["time_utc"][0] == "2030-05-01T01:00:00Z"
    later, some = logger_faults.shifted_clock(windy, -120, *JULY)
    assert some == np.sum(~outside(windy, JULY))
    assert later["time_utc"][0] == windy["time_utc"][0]


def test_a_column_that_is_not_there(windy):
    with pytest.raises(SettingsError, match="there are battery_V"):
        logger_faults.stuck_sensor(windy, "volts", *JULY)
