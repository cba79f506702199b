"""Stuck sensors and ends of ranges are told; stuck ones are taken out, each after its own limit."""

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.time import from_iso
from stakeline.workflows.logger_clean import cleaned, floor_remarks, stuck_spans

DAYS = 40
TIMES = from_iso("2030-05-01") + np.arange(24 * DAYS) * (NS_PER_DAY // 24)
AIR = np.round(-10.0 + np.random.default_rng(2).standard_normal(TIMES.size), 2)


def standing(values, days, first=24):
    """Return values of which so many days stand still."""
    out = values.copy()
    out[first : first + 24 * days + 1] = out[first]
    return out


def test_stuck_air_is_taken_out_and_told_with_what_moves(tmp_path):
    stuck = standing(AIR, 5)
    kept, told = cleaned(TIMES, {"air_degC": stuck, "box_degC": AIR + 3.0})
    assert np.isnan(kept["air_degC"][24:145]).all()
    assert np.isfinite(kept["air_degC"][145:]).all()
    (said,) = told
    assert "for 5.0 d" in said
    assert "while box_degC move: 121 readings taken as missing" in said


@pytest.mark.parametrize(
    ("name", "values", "shorter", "longer"),
    [
        ("air_degC", AIR, 2, 3),
        ("battery_V", np.round(12.6 + 0.03 * AIR, 2), 6, 7),
        ("battery_V", np.round(12.6 + 0.1 * AIR, 1), 20, 21),
        ("tilt_deg", np.round(2.0 + 0.01 * AIR, 3), 20, 21),
        ("load_A", np.round(1.0 + 0.01 * AIR, 3), 29, 30),
    ],
)
def test_each_quantity_has_its_limit(name, values, shorter, longer):
    assert len(stuck_spans(name, standing(values, shorter), TIMES)) == 0
    assert stuck_spans(name, standing(values, longer), TIMES).tolist() == [[24, 24 * longer + 24]]


def test_a_full_bank_wet_air_and_calm_stand_rightly():
    bank = np.where(np.arange(TIMES.size) > 100, 14.27, np.round(12.6 + 0.03 * AIR, 2))
    assert len(stuck_spans("battery_V", bank, TIMES)) == 0
    assert len(stuck_spans("battery_V", np.full(TIMES.size, 14.27), TIMES)) == 1
    lower = np.where(np.arange(TIMES.size) < 100, bank + 2.0, bank)  # a limit set lower since
    lower[700:] = np.round(12.6 + 0.03 * AIR, 2)[700:]
    assert len(stuck_spans("battery_V", lower, TIMES)) == 0
    between = np.where(np.arange(TIMES.size) > 700, bank + 0.1, lower)
    between[100:700] = 14.27
    assert len(stuck_spans("battery_V", between, TIMES)) == 1
    assert len(stuck_spans("humidity_percent", np.full(TIMES.size, 100.0), TIMES)) == 0
    assert len(stuck_spans("wind_m_s", np.zeros(TIMES.size), TIMES)) == 0


def test_a_steady_load_is_told_and_kept():
    kept, told = cleaned(TIMES, {"load_A": np.full(TIMES.size, 0.35), "air_degC": AIR})
    assert np.isfinite(kept["load_A"]).all()
    assert "load_A stands still at 0.35" in told[0]
    assert told[0].endswith("kept, as a steady load stands so too")


def test_ends_of_ranges_and_a_changed_unit_are_told():
    many = np.arange(TIMES.size) < 40
    distance = np.where(many, 0.5, 2.0 + 0.01 * AIR)
    (said,) = floor_remarks("snow_distance_m", distance)
    assert "40 of 960 readings stand at the lowest value 0.5" in said
    assert floor_remarks("panel_A", np.where(many, 0.0, distance)) == []
    volts = np.round(12.6 + 0.03 * AIR, 2) * np.where(many, 1.0, 1000.0)
    told = cleaned(TIMES, {"battery_V": volts})[1]
    assert "battery_V is about 1000 times larger from 2030-05-02T16:00:00 on" in told[0]
