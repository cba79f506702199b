"""Weather for plan: four real stations read, and years drawn from what was fitted to them.

    python validation/plan_weather.py

Bars of the drawn years were set before anything had been drawn; of two measures thought of for
long calm (99 % of runs, longest run of a year) the second is used: at 73 runs the first is their
maximum. Exit code 1 where one falls short.
"""

import numpy as np
from _measured import Table, real_data

from stakeline.campaign.station_parts import WeatherPart
from stakeline.formats.plain_table import read_raw_columns
from stakeline.station.weather import draw_weather, season_mean
from stakeline.station.weather_fit import fit_weather
from stakeline.time import from_calendar
from stakeline.workflows.plan_weather import read_weather

PART = WeatherPart.model_validate(
    {"columns": {"temperature_degC": "temp_C", "wind_m_s": "wind_ms", "pressure_hPa": "press_hPa"}}
)
SOURCE = "AMRC quality-controlled hourly data, 2010-2012"
# lowest, mean, highest temperature; mean and highest wind; longest run below 3 m/s [h]; coldest
# mean of 30 days: as counted in the files by somebody else, to their digits
COUNTED = {
    "dc2": (-83.2, -52.0, -10.8, 2.81, 15.2, 236, -70.2),
    "nic": (-76.2, -48.1, -10.2, None, None, None, None),
    "rls": (None, None, None, 7.39, None, None, -61.4),  # the coldest of 2010; 2012 had -62.4
    "d47": (None, None, None, 12.46, 28.8, None, None),
}
DIGITS = (0.051, 0.051, 0.051, 0.0051, 0.051, 0.5, 0.051)
YEARS, CALM_M_S, MONTH_H, YEAR_H = 200, 3.0, 720, 8760


def runs(mask):
    """Return the lengths of the runs of True."""
    edges = np.diff(np.concatenate([[0], mask.astype(int), [0]]))
    return np.flatnonzero(edges == -1) - np.flatnonzero(edges == 1)


def kept(values, lag):
    """Return the autocorrelation at a lag over pairs that are there."""
    apart = values - np.nanmean(values)
    product = apart[:-lag] * apart[lag:]
    return np.nanmean(product) / np.nanvar(values)


def together(first, second):
    """Return the correlation over hours that hold both."""
    both = np.isfinite(first) & np.isfinite(second)
    return np.corrcoef(first[both], second[both])[0, 1]


def coldest_month(values):
    """Return the lowest mean of 30 days of which at most one is missing."""
    window = np.ones(MONTH_H)
    number = np.convolve(np.isfinite(values), window, "valid")
    sums = np.convolve(np.nan_to_num(values), window, "valid")
    return np.min(sums[number >= MONTH_H - 24] / number[number >= MONTH_H - 24])


def by_year(values):
    """Return the record's whole years (m, 8760)."""
    return values[: values.size // YEAR_H * YEAR_H].reshape(-1, YEAR_H)


def path_of(name):
    """Return the file of a station."""
    return real_data("ice", "weather", f"{name}_2010-2012_hourly.csv.gz")


def told(table, name, record):
    air = record.temperature_degC
    wind = read_raw_columns(path_of(name))["wind_ms"]  # sensors that stood still and all
    raw_calm = runs(np.nan_to_num(wind, nan=99.0) < CALM_M_S).max()
    found = (np.nanmin(air), np.nanmean(air), np.nanmax(air), np.nanmean(wind), np.nanmax(wind),
             raw_calm, coldest_month(air[:YEAR_H] if name == "rls" else air))  # fmt: skip
    names = ("lowest degC", "mean degC", "highest degC", "mean m/s", "highest m/s",
             "longest run below 3 m/s, h", "coldest 30 days, degC")  # fmt: skip
    for what, value, counted, digit in zip(names, found, COUNTED[name], DIGITS, strict=True):
        if counted is not None:
            table.line(f"{name}: {what} {value:.2f}, apart from {counted}", abs(value - counted),
                       digit, "", f"{SOURCE}, counted apart")  # fmt: skip


def drawn(table, name, record):
    model = fit_weather(record)
    start = from_calendar(2010, 1, 1)
    years = draw_weather(model, start, YEARS, np.random.default_rng(2010))
    season = season_mean(model.season, years.time_ns)
    pairs = {
        "air": (record.temperature_degC, years.temperature_degC),
        "anomaly": (record.temperature_degC - season_mean(model.season, record.time_ns),
                    years.temperature_degC - season),
        "wind": (record.wind_m_s, years.wind_m_s),
    }  # fmt: skip
    for line in (*_moments(pairs), *_memory(pairs), *_spells(pairs)):
        what, measured, ours, bar, unit = line
        off = abs(ours - measured) if unit != "%" else 100.0 * abs(ours / measured - 1.0)
        table.line(f"{name}: {what} {ours:.3g} for {measured:.3g}, apart", off, bar, unit, SOURCE)


def _moments(pairs):
    (air, ours), (wind, our_wind) = pairs["air"], pairs["wind"]
    yield "mean temperature", np.nanmean(air), ours.mean(), 1.0, "K"
    yield "spread of temperature", np.nanstd(air), ours.std(), 10.0, "%"
    yield "mean wind", np.nanmean(wind), our_wind.mean(), 5.0, "%"
    yield "spread of wind", np.nanstd(wind), our_wind.std(), 10.0, "%"
    year = [np.nanmean(by_year(air)[:, k * 730 : (k + 1) * 730]) for k in range(12)]
    ours = [ours[:, k * 730 : (k + 1) * 730].mean() for k in range(12)]
    worst = int(np.argmax(np.abs(np.subtract(year, ours))))
    yield f"mean of month {worst + 1}, the worst", year[worst], ours[worst], 2.0, "K"


def _memory(pairs):
    for what, name, lag, bar in (
        ("temperature", "anomaly", 1, 0.02),
        ("temperature", "anomaly", 24, 0.07),
        ("wind", "wind", 1, 0.03),
        ("wind", "wind", 24, 0.07),
    ):
        measured, ours = pairs[name]
        mean = np.mean([kept(row, lag) for row in ours - ours.mean() + 0.0])
        yield f"{what} {lag} h later", kept(measured, lag), mean, bar, ""
    (anomaly, ours), (wind, our_wind) = pairs["anomaly"], pairs["wind"]
    yield "temperature and wind", together(anomaly, wind), together(
        ours.ravel(), our_wind.ravel()), 0.07, ""  # fmt: skip


def _spells(pairs):
    (air, our_air), (wind, ours) = pairs["air"], pairs["wind"]
    calm, our_calm = np.nan_to_num(wind, nan=99.0) < CALM_M_S, ours < CALM_M_S
    lengths = np.concatenate([runs(row) for row in our_calm])
    yield "mean run below 3 m/s, h", runs(calm).mean(), lengths.mean(), 25.0, "%"
    longest = np.mean([runs(row).max() for row in by_year(calm)])
    yield "longest run below 3 m/s of a year, h", longest, np.mean(
        [runs(row).max() for row in our_calm]), 50.0, "%"  # fmt: skip
    yield "wind of 9 hours a year", np.nanquantile(wind, 0.999), np.quantile(ours, 0.999), 10.0, "%"
    highest = np.nanmean(np.nanmax(by_year(wind), axis=1))
    yield "highest wind of a year", highest, ours.max(axis=1).mean(), 15.0, "%"
    storm = np.nanquantile(wind, 0.95)
    lengths = np.concatenate([runs(row > storm) for row in ours])
    yield "mean run of the windiest 5 %, h", runs(np.nan_to_num(wind) > storm).mean(), \
        lengths.mean(), 25.0, "%"  # fmt: skip
    cold = np.mean([coldest_month(row) for row in by_year(air) if np.isfinite(row).mean() > 0.95])
    yield "coldest 30 days of a year", cold, np.mean(
        [coldest_month(row) for row in our_air[:40]]), 3.0, "K"  # fmt: skip


if __name__ == "__main__":
    TABLE = Table("Weather")
    for NAME in COUNTED:
        RECORD = read_weather(path_of(NAME), PART)
        for NOTE in RECORD.notes:
            TABLE.say(f"{NAME}: {NOTE}")
        told(TABLE, NAME, RECORD)
        drawn(TABLE, NAME, RECORD)
    TABLE.end()
