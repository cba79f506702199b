"""Speeds of satellites beside those of stations: invented speeds, maps and gaps."""

import numpy as np
import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.store import write_bytes
from stakeline.constants import DAYS_PER_YEAR, NS_PER_DAY
from stakeline.earth.projection import projection
from stakeline.errors import SettingsError
from stakeline.formats.grids.netcdf import write_grids
from stakeline.formats.grids.record import Grids
from stakeline.formats.plain_table import read_plain_table
from stakeline.time import from_iso, gps_from_utc
from stakeline.workflows.motion_satellite import compared, satellite_csv, satellite_words

BEGIN_NS = int(gps_from_utc(from_iso("2031-05-01")))
SPEED_M_A = 255.0
PLACE = {"latitude_deg": 79.04, "longitude_deg": 17.36}
SPAN = '[[motion.satellite]]\nbegin = "2031-05-03"\nend = "2031-05-15"\nsigma_m_a = 4.0\n'


def table(days=30, gap=()):
    """Return (columns, metadata) of an hourly station of even speed."""
    time_ns = BEGIN_NS + np.arange(days * 24) * (NS_PER_DAY // 24)
    along = SPEED_M_A / DAYS_PER_YEAR * (time_ns - BEGIN_NS) / NS_PER_DAY
    if gap:
        along[gap[0] * 24 : gap[1] * 24] = np.nan
    times = time_ns.view("datetime64[ns]")
    return {"time_gps": times, "along_m": along, "along_sigma_m": np.full(len(along), 0.02)}, PLACE


def campaign(root, text):
    create(root)
    stations = '[[station]]\nname = "HV01"\n[[station]]\nname = "HV02"\n'
    head = '[campaign]\nname = "Trial"\n'
    (root / "campaign.toml").write_text(head + stations + text, encoding="utf-8")
    return open_campaign(root)


def speed_map(root, fields, units):
    """Write a map that holds a square of 20 km around the station."""
    chart = projection(3413)
    east, north = chart.forward(np.radians(79.04), np.radians(17.36))
    axis = np.linspace(-1e4, 1e4, 21)
    grids = Grids(axis + east, axis + north, 3413, fields(axis), units)
    write_bytes(root / "maps/speed.nc", write_grids(grids))


def test_numbers_by_station_are_compared_over_the_same_span(tmp_path):
    opened = campaign(tmp_path, SPAN + "speed_m_a = { HV01 = 262.0, HV02 = 250.0 }\n")
    rows = compared(opened, {"HV01": table(), "HV02": table(gap=(1, 4)), "HV03": table()})
    assert [row.station for row in rows] == ["HV01", "HV02"]
    years = 12.0 / DAYS_PER_YEAR
    own = 0.02 * np.sqrt(2.0) / years
    assert rows[0].numbers == pytest.approx(
        (262.0, 4.0, SPEED_M_A, own, 7.0, np.hypot(4.0, own)), rel=1e-6
    )
    # 2031-05-03 in UTC is 18 s later in GPS time
    assert rows[1].why == "no position of the station at 2031-05-03T00:00:18"
    path = tmp_path / "satellite.csv"
    path.write_bytes(satellite_csv(rows))
    told = read_plain_table(path)
    assert told.column("difference_m_a")[0] == pytest.approx(7.0, abs=1e-4)
    (line,) = satellite_words(rows)
    assert "1 spans: mean +7.00 m/a" in line
    assert "1 without a station's speed" in line


@pytest.mark.parametrize("unit", ["m/a", "m/d"])
def test_a_map_is_read_at_the_station(tmp_path, unit):
    opened = campaign(tmp_path, SPAN + 'map = "maps/speed.nc"\n')
    factor = {"m/a": 1.0, "m/d": 1.0 / DAYS_PER_YEAR}[unit]

    def fields(axis):
        x = np.tile(axis, (len(axis), 1))
        return {"vx": factor * (150.0 + 1e-3 * x), "vy": factor * (200.0 + 0.0 * x)}

    speed_map(tmp_path, fields, {"vx": unit, "vy": unit})
    (row,) = compared(opened, {"HV01": table()})
    assert row.satellite[0] == pytest.approx(250.0, rel=1e-5)
    assert row.numbers[4] == pytest.approx(250.0 - SPEED_M_A, abs=0.01)
    far = table()[0], {"latitude_deg": 70.0, "longitude_deg": 0.0}
    (row,) = compared(opened, {"HV01": far})
    assert row.why == "not on the map"
    assert satellite_words([row]) == ["  satellite speeds: none of 1 can be compared"]


def test_a_map_without_a_speed_is_told(tmp_path):
    opened = campaign(tmp_path, SPAN + 'map = "maps/speed.nc"\n')
    speed_map(tmp_path, lambda axis: {"thickness": np.ones((21, 21))}, {"thickness": "m"})
    with pytest.raises(SettingsError, match=r"maps/speed.nc gives no speed; expected a file in"):
        compared(opened, {"HV01": table()})


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (SPAN, "needs either map"),
        (SPAN + 'map = "a.nc"\nspeed_m_a = { HV01 = 1.0 }\n', "needs either map"),
        (SPAN.replace("05-15", "05-02") + 'map = "a.nc"\n', "expected .begin, end., UTC"),
    ],
)
def test_impossible_settings_have_a_line(tmp_path, text, said):
    with pytest.raises(SettingsError, match=f"campaign.toml:7: .*{said}"):
        campaign(tmp_path, text)
