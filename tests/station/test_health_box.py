"""A box above the limit for hours on two days is told, with its reason; a warm hour is not."""

import numpy as np

from stakeline.station.health_box import HOT_DEGC, WARM_BOX, warm_box

from .health_example import telemetry

DAYS = 10
HOUR = np.arange(24 * DAYS)
NOON = (HOUR % 24 >= 10) & (HOUR % 24 < 14)


def hours_of_box(box_degC):
    hours, _ = telemetry(DAYS)
    hours.columns["box_degC"] = box_degC
    hours.columns["air_degC"] = np.full(HOUR.size, 5.0)
    return hours


def test_hot_noons_are_told_on_the_second_and_the_sun_is_named():
    hours = hours_of_box(np.where(NOON & (HOUR // 24 >= 4), HOT_DEGC + 5.0, 20.0))
    (found,) = warm_box(hours, np.where(NOON, 600.0, 100.0))
    assert (found.kind, found.begins, found.told, found.last) == (WARM_BOX, 4, 5, DAYS - 1)
    assert "40 K over the air: the Sun on it" in found.why
    assert "not the Sun" in warm_box(hours, np.zeros(HOUR.size))[0].why
    assert "sun on it, a heater" in warm_box(hours)[0].why


def test_one_hot_day_and_hours_without_a_sensor_are_not():
    assert warm_box(hours_of_box(np.where(HOUR // 24 == 4, HOT_DEGC + 5.0, 20.0))) == []
    assert warm_box(hours_of_box(np.where(HOUR % 24 == 4, HOT_DEGC + 5.0, 20.0))) == []
    assert warm_box(hours_of_box(np.full(HOUR.size, np.nan))) == []
