"""Numbers as people write them: commas, units, feet and inches, and what is none."""

import pytest

from stakeline.errors import SettingsError
from stakeline.station.typed_number import typed_number


@pytest.mark.parametrize(
    ("given", "unit", "value"),
    [
        (12.71, "V", 12.71),
        (12, "V", 12.0),
        ("12,71", "V", 12.71),
        ("12.71 V", "V", 12.71),
        ("12710 mV", "V", 12.71),
        ("-12.7", "V", -12.7),
        ("−12.7V", "V", -12.7),
        ("45 mA", "A", 0.045),
        ("1.2 kΩ", "ohm", 1200.0),
        ("1 kN", "N", 1000.0),
        ("100 kg", "N", 980.665),
        ("1532 mm", "m", 1.532),
        ("5 ft 2 1/4 in", "m", 1.58115),
        ("60 5/16", "in", 60.3125),
        ("1.532 m", "in", 60.31496),
        ("1e6", "ohm", 1e6),
        ("14", "", 14.0),
    ],
)
def test_read(given, unit, value):
    assert typed_number(given, unit) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize(
    ("given", "unit", "sentence"),
    [
        ("about 12", "V", "'about 12' is no number; expected one in V"),
        ("", "V", "is no number"),
        ("12 m", "V", "m is no unit of this reading; units are V, mV, kV"),
        ("1 532", "m", "expected one number in m; a space stands between two"),
        ("1 3/0 in", "in", "is no number"),
        (True, "V", "expected a number in V"),
        ("14 V", "", "V is no unit"),
    ],
)
def test_refused(given, unit, sentence):
    with pytest.raises(SettingsError) as problem:
        typed_number(given, unit)
    assert sentence in str(problem.value)
