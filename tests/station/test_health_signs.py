"""Signs in a logger's hours: each planted by hand, told in its own words; none in calm data."""

import numpy as np
import pytest

from stakeline.station.health_signs import (
    CLAMP,
    COLLAPSE,
    HIGH,
    LEAN,
    MUTE,
    PULSE,
    RIPPLE,
    TRIP,
    WET,
    scale_of,
    signs_of,
    snow_outlook,
)

from .health_example import telemetry

DAYS = 60
HOURS = 24 * DAYS
DAY, CLOCK = np.arange(HOURS) // 24, np.arange(HOURS) % 24
RNG = np.random.default_rng(3)
CHARGE_A = np.where((CLOCK > 8) & (CLOCK < 18), 0.5, 0.0)


def calm(**columns):
    """Return hours of a sound station in the sun."""
    volts = 12.6 + 0.9 * (CHARGE_A > 0) + 0.01 * RNG.standard_normal(HOURS)
    more = {"battery_V": volts, "panel_A": CHARGE_A} | columns
    return telemetry(DAYS, **more)[0]


def kinds(hours, **more):
    return {f.kind: f for f in signs_of(hours, **more)}


def test_a_sound_station_shows_none():
    assert signs_of(calm()) == ()


def ripple(hours):
    charging = (hours.panel_A > 0.1) & (DAY > 20)
    hours.columns["battery_V"][charging] += 0.5 * RNG.standard_normal(charging.sum())


def pulse(hours):
    hours.low_V[(CLOCK == 3) & (DAY > 20)] = 10.4


def storm(hours):
    hours.columns["battery_V"][500:510] = 17.2


def clamp(hours):
    hours.columns["battery_V"][:] = np.minimum(hours.battery_V, 12.9)


def wet(hours):
    hours.columns["humidity_percent"][DAY > 40] = 100.0


def trip(hours):
    silent = (DAY > 30) & (DAY < 40)
    hours.rows[silent] = 0
    hours.columns["battery_V"][silent] = np.nan


def lean(hours):
    hours.columns["tilt_deg"][:] = np.where(DAY > 30, 14.0, 1.0)


@pytest.mark.parametrize(
    ("plant", "kind", "begins", "words"),
    [
        (ripple, RIPPLE, 21, "a regulator's ripple"),
        (pulse, PULSE, 25, "down to 10.4 V of 12 in the hour from 03:00"),
        (storm, HIGH, 20, "up to 17.2 V"),
        (clamp, CLAMP, 19, "charge stops at 12.90 V"),
        (wet, WET, 41, "water in the box"),
        (trip, TRIP, 31, "not empty, so breaker"),
        (lean, LEAN, 31, "14.0 deg from the vertical"),
    ],
)
def test_each_sign_is_told_alone_with_its_figures(plant, kind, begins, words):
    hours = calm(tilt_deg=np.full(HOURS, 1.0))
    plant(hours)
    found = kinds(hours)
    assert set(found) == {kind}
    assert abs(found[kind].begins - begins) <= 1
    assert words in found[kind].why


def test_a_bank_that_collapses_in_the_cold():
    box = -18.0 - 12.0 * (np.sin(np.arange(HOURS) / 40.0) > 0.3) + RNG.standard_normal(HOURS)
    hours = calm(panel_A=np.zeros(HOURS), battery_V=np.minimum(12.3, 12.3 + 0.15 * (box + 20.0)))
    hours.columns["box_degC"][:] = box
    assert set(kinds(hours)) == {COLLAPSE}
    assert "less for each degree of cold" in kinds(hours)[COLLAPSE].why


def test_awake_but_recording_nothing_only_between_days_with_files():
    hours = calm()
    assert set(kinds(hours, recorded_days={*range(10), *range(20, 30)})) == {MUTE}
    found = kinds(hours, recorded_days={*range(10), *range(20, 30)})[MUTE]
    assert (found.begins, found.last) == (10, 19)
    assert kinds(hours, recorded_days=set(range(12, 20))) == {}


def test_nominal_voltage_is_told_from_readings():
    assert [scale_of(v * np.ones(3)) for v in (12.3, 25.1, 51.0)] == [1.0, 2.0, 4.0]
    assert scale_of(np.full(3, np.nan)) == 1.0


def test_snow_that_rises_evenly_buries_a_part_when_it_should():
    days = 200
    height = 2.5 - 1.2 * np.arange(24 * days) / 24.0 / 365.25
    hours, _ = telemetry(days, snow_distance_m=height)
    found = snow_outlook(hours, {"panel": 1.2}, np.random.default_rng(1))
    assert found.rate_m_a == pytest.approx(1.2, abs=0.02)
    (panel,) = found.passages
    left_a = (1.2 - found.rise_m) / 1.2
    assert panel.early_a < left_a < panel.late_a
    assert panel.median_a == pytest.approx(left_a, rel=0.15)
    assert snow_outlook(hours.until(30), {"panel": 1.2}, np.random.default_rng(1)) is None
