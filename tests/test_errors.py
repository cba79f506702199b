"""Errors carry what a person needs, survive a trip between processes, and read as sentences."""

import pickle

import pytest

from stakeline import errors


def test_format_error_says_where_what_and_what_to_do():
    error = errors.FormatError("HV01.rnx", 17, "'x.yz'", "a number in columns 4-17", "repair it")
    assert str(error) == ("HV01.rnx:17: found 'x.yz'; expected a number in columns 4-17; repair it")
    assert (error.file, error.line) == ("HV01.rnx", 17)


def test_format_error_of_a_whole_file_has_no_line():
    error = errors.FormatError("HV01.rnx", None, "an empty file", "a header")
    assert str(error) == "HV01.rnx: found an empty file; expected a header"


def test_format_error_travels_between_processes():
    error = errors.FormatError("HV01.rnx", 17, "a", "b", "c")
    twin = pickle.loads(pickle.dumps(error))
    assert type(twin) is errors.FormatError
    assert str(twin) == str(error)
    assert (twin.file, twin.line, twin.remedy) == ("HV01.rnx", 17, "c")


@pytest.mark.parametrize("name", ["SettingsError", "ProductError", "SolutionError", "TimeError"])
def test_all_are_caught_as_one(name):
    with pytest.raises(errors.StakelineError, match="what to do"):
        raise getattr(errors, name)("what to do")


def test_exit_codes():
    # 1: the input's fault, 2: wrong use; common practice of command lines, no source
    assert errors.SettingsError("").exit_code == 2
    for other in (errors.ProductError, errors.SolutionError, errors.TimeError):
        assert other("").exit_code == 1
