"""Quality of receiver files against orbits: columns, clocks, days that stand out, the calendar."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.constants import FREQUENCY_HZ, NS_PER_DAY, NS_PER_S, SPEED_OF_LIGHT_M_S
from stakeline.signals.receiver_clock import FREE, STEERED
from stakeline.tables import Products
from stakeline.workflows.intake_results import calendar_file, quality_lines
from stakeline.workflows.quality import QUALITY_COLUMNS, file_quality, quality_row


@pytest.fixture(scope="module")
def products(sky):
    return Products(orbits=sky.orbits(-1, 3))


def with_drift(observations, drift):
    """Return the observations of a clock that gains: codes [m] and phases [cycles] alike."""
    seconds = (observations.time_ns - observations.time_ns[0]) / NS_PER_S
    more = SPEED_OF_LIGHT_M_S * np.repeat(drift * seconds, np.diff(observations.row_start))
    per_metre = [1.0, FREQUENCY_HZ["G1"] / SPEED_OF_LIGHT_M_S]
    per_metre += [1.0, FREQUENCY_HZ["G2"] / SPEED_OF_LIGHT_M_S]
    return replace(observations, value=observations.value + more[:, None] * per_metre)


@pytest.mark.parametrize(("drift", "kind"), [(0.0, STEERED), (2e-9, FREE), (-2e-9, FREE)])
def test_the_clock_of_the_codes_is_the_clock_put_in(sky, products, drift, kind):
    made = with_drift(sky.observations(sky.times(0, 21_600)), drift)
    record = file_quality(made, products, sky.site)
    assert record["clock"] == kind
    assert record["clock_drift_ns_s"] == pytest.approx(drift * 1e9, abs=1e-3)
    assert record["clock_noise_ns"] < 5.0  # codes of 0.5 m by two frequencies: 1.5 m, 5 ns


def test_without_orbits_the_clock_is_not_known(sky):
    record = file_quality(sky.observations(sky.times(0, 21_600)), None, sky.site)
    assert record["clock"] == "no orbits"
    assert record["clock_drift_ns_s"] is None


def test_a_row_has_each_column(sky, products):
    record = file_quality(sky.observations(sky.times(0, 21_600)), products, sky.site)
    row = quality_row("HV01", "2031-05-01", "a.rnx", record)
    assert set(row) == set(QUALITY_COLUMNS)
    assert row["slips_per_arc"] == pytest.approx(row["slips"] / row["arcs"], abs=1e-5)


def files(sky, products, swings):
    """Return stand-ins for files of one day each, of given swings and rising strengths."""
    record = file_quality(sky.observations(sky.times(0, 21_600)), products, sky.site)
    record["strength_by_step"] = [[40.0, 42.0, 44.0, 46.0, 48.0], [39.0, 41.0, 43.0, 45.0, 47.0]]
    return [
        SimpleNamespace(
            station="HV01",
            usable=True,
            span_ns=(sky.day + k * NS_PER_DAY, sky.day + k * NS_PER_DAY),
            raw=SimpleNamespace(path=f"{k}.rnx", quality=record | {"swing": swing}),
        )
        for k, swing in enumerate(swings)
    ]


@pytest.mark.parametrize(
    ("swings", "told"),
    [((0.05, 0.05, 0.09), 0), ((0.05, 0.05, 0.11), 1), ((0.2, 0.2, 0.31), 1), ((None,) * 3, 0)],
)
def test_days_of_scintillation_stand_out(sky, products, swings, told):
    made = files(sky, products, swings)
    lines = [line for line in quality_lines(made) if "received power swings" in line]
    assert len(lines) == told
    assert all("2.rnx" in line for line in lines)


@pytest.mark.parametrize(("noise_ns", "words"), [(14.4, "14.4 ns"), (643_086.0, "643 us")])
def test_the_clock_is_told_in_words(sky, products, noise_ns, words):
    made = files(sky, products, (0.05, 0.05))
    for file in made:
        file.raw.quality.update(clock=FREE, clock_drift_ns_s=323.3, clock_noise_ns=noise_ns)
    assert quality_lines(made)[0].endswith(f"clock free (2 files), +323 ns/s, {words} about a line")


def test_all_steps_of_strength_and_the_swing_reach_the_user(sky, products, monkeypatch):
    made = files(sky, products, (0.05, 0.2))
    row = quality_row("HV01", "2031-05-01", "a.rnx", made[0].raw.quality)
    steps = [f"strength_2_{name}_dB_Hz" for name in ("low", "20_30", "30_45", "high", "60_90")]
    assert [row[name] for name in steps] == [39.0, 41.0, 43.0, 45.0, 47.0]
    drawn = []
    monkeypatch.setattr("stakeline.workflows.intake_results.svg_bytes", lambda _: b"")
    monkeypatch.setattr("stakeline.workflows.intake_results.draw_calendar", drawn.append)
    calendar_file(made)
    np.testing.assert_array_equal(drawn[0].grids["power_swing"], [[0.05, 0.2]])
