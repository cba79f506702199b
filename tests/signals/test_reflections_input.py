"""Which strengths are taken: civil channels first, two bands of a system, decibels only."""

import numpy as np
import pytest

from stakeline.constants import FREQUENCY_HZ, GLONASS_STEP_HZ, SPEED_OF_LIGHT_M_S
from stakeline.signals.reflections_input import signal_strengths
from stakeline.tables import ObservationHeader, Observations, satellite_id


def observations(satellites, codes, value, **header):
    """Return one epoch of rows."""
    count = len(satellites)
    value = np.asarray(value, float)
    return Observations(
        header=ObservationHeader(**header),
        time_ns=np.array([0], np.int64),
        flag=np.zeros(1, np.uint8),
        clock_offset_s=np.full(1, np.nan),
        row_start=np.array([0, count]),
        satellite=np.array([satellite_id(name) for name in satellites], np.int16),
        value=value,
        lock=np.zeros(value.shape, np.uint8),
        strength=np.zeros(value.shape, np.uint8),
        codes=codes,
    )


def taken(data, systems="GREC"):
    found, notes = signal_strengths(data, np.arange(len(data.satellite)), systems)
    return {signal.name: signal for signal in found}, notes


def test_civil_channel_wins_where_half_of_the_satellites_have_it():
    codes = {"G": ("S2W", "S2L", "S1C")}
    names = ["G01", "G02", "G03", "G04"]
    value = [[20, 40, 45], [20, 40, 45], [20, np.nan, 45], [20, 0.0, 45]]
    found, _ = taken(observations(names, codes, value))
    assert list(found) == ["GS1C", "GS2L"]
    assert np.isnan(found["GS2L"].strength_dB_Hz).tolist() == [False, False, True, True]
    value[1][1] = np.nan
    assert list(taken(observations(names, codes, value))[0]) == ["GS1C", "GS2W"]


def test_two_bands_of_a_system_and_systems_asked_for():
    codes = {"G": ("S1C", "S2L", "S5Q"), "E": ("S1C", "S7Q", "S8Q")}
    data = observations(["G01", "E01"], codes, [[40, 41, 42], [43, 44, 45]])
    assert list(taken(data)[0]) == ["GS1C", "GS2L", "ES1C", "ES7Q"]
    assert list(taken(data, "E")[0]) == ["ES1C", "ES7Q"]
    assert taken(data)[0]["ES7Q"].rows.tolist() == [1]


def test_wavelengths_are_those_of_the_carrier():
    codes = {"G": ("S5Q",), "R": ("S1C",)}
    data = observations(
        ["G01", "R07", "R08"], codes, [[40], [41], [42]],
        glonass_channels={satellite_id("R07"): -4},
    )  # fmt: skip
    found, _ = taken(data)
    assert found["GS5Q"].wavelength_m == pytest.approx(SPEED_OF_LIGHT_M_S / FREQUENCY_HZ["G5"])
    frequency = FREQUENCY_HZ["R1"] + np.array([-4, 0]) * GLONASS_STEP_HZ["R1"]
    assert found["RS1C"].wavelength_m == pytest.approx(SPEED_OF_LIGHT_M_S / frequency)


def test_strengths_in_a_unit_of_the_receiver_are_refused_in_words():
    data = observations(["G01", "G02"], {"G": ("S1", "S2")}, [[180, 40], [220, 41]])
    found, notes = taken(data)
    assert list(found) == ["GS2"]
    assert notes == ["strengths GS1 are no dB-Hz: half of them above 200"]


def test_without_strengths_there_is_nothing():
    data = observations(["G01"], {"G": ("C1C", "S1C")}, [[2e7, np.nan]])
    assert taken(data) == ({}, [])
