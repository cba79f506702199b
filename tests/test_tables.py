"""The records: satellites' small integers, sentences, and that nothing can be changed."""

import dataclasses
import inspect

import numpy as np
import pytest

from stakeline import tables


def test_satellite_numbers_follow_the_order_of_the_systems():
    assert tables.SYSTEMS == "GRECJSI"
    assert [tables.satellite_id(name) for name in ("G05", "R24", "E 1", "C60")] == [
        5,
        124,
        201,
        360,
    ]


def test_every_satellite_has_one_number_and_back():
    names = [f"{system}{number:02d}" for system in tables.SYSTEMS for number in range(1, 100)]
    identifiers = [tables.satellite_id(name) for name in names]
    assert len(set(identifiers)) == len(names)
    assert [tables.satellite_name(identifier) for identifier in identifiers] == names
    assert max(identifiers) <= np.iinfo(np.int16).max


@pytest.mark.parametrize("name", ["", "G", "G5", "X05", "g05", "G005"])
def test_what_is_no_satellite_is_refused(name):
    with pytest.raises(ValueError, match=f"'{name}' is no satellite such as G05"):
        tables.satellite_id(name)


def test_a_satellite_number_outside_the_range_is_refused():
    with pytest.raises(ValueError, match="satellite number in 'G00' is outside 1-99"):
        tables.satellite_id("G00")


def test_what_was_passed_over_reads_as_a_line():
    assert str(tables.PassedOver("HV01.rnx", 8, "blank epoch")) == "HV01.rnx:8: blank epoch"
    twice = tables.PassedOver("HV01.rnx", 8, "blank epoch", 2)
    assert str(twice) == "HV01.rnx:8: blank epoch (2 times)"


RECORDS = [record for _, record in inspect.getmembers(tables, dataclasses.is_dataclass)]


@pytest.mark.parametrize("record", RECORDS, ids=lambda record: record.__name__)
def test_records_are_frozen_and_explained(record):
    assert record.__dataclass_params__.frozen
    assert record.__doc__
    assert not record.__doc__.startswith(f"{record.__name__}(")  # not the generated one


def test_a_record_cannot_be_changed():
    settings = tables.Settings()
    with pytest.raises(dataclasses.FrozenInstanceError):
        settings.mask_deg = 10.0
    assert dataclasses.replace(settings, mask_deg=10.0).mask_deg == 10.0


def test_observations_count_their_epochs():
    none = np.zeros((0, 4))
    observations = tables.Observations(
        header=tables.ObservationHeader(),
        time_ns=np.arange(3),
        flag=np.zeros(3, np.uint8),
        clock_offset_s=np.full(3, np.nan),
        row_start=np.zeros(4, np.int64),
        satellite=np.zeros(0, np.int16),
        value=none,
        lock=none,
        strength=none,
        codes={"G": ("C1C", "L1C", "C2W", "L2W")},
    )
    assert len(observations) == 3


def test_an_absent_approximate_position_is_missing_and_no_number():
    assert np.isnan(tables.ObservationHeader().approximate_position_m).all()


def test_the_defaults_are_safe_for_moving_ice():
    settings = tables.Settings()
    assert settings.mode == "kinematic"
    # Study on real data with motion added: a velocity walk of 1e-7 to 3e-7 m/s per sqrt(s), or a
    # position walk of 3e-4 m per sqrt(s), loses nothing; much stiffer ones throw data away
    assert settings.acceleration_m_s15 >= 1e-7 or settings.position_walk_m_s05 >= 3e-4
