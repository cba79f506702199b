"""Plain tables: times, numbers, missing values."""

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.plain_table import write_plain_table
from stakeline.time import from_calendar


def test_a_table_is_text_with_times_and_missing_codes():
    start = from_calendar(2030, 5, 1)
    columns = {
        "time_utc": np.array([start, start + 3_600_000_000_000]),
        "battery_V": np.array([12.6543, np.nan]),
        "count": np.array([1, 2]),
        "note": np.array(["dug out", "snow, wind"]),
    }
    text = write_plain_table(columns, {"battery_V": 2}, missing="-6999").decode()
    assert text.splitlines() == [
        "time_utc,battery_V,count,note",
        "2030-05-01T00:00:00Z,12.65,1,dug out",
        '2030-05-01T01:00:00Z,-6999,2,"snow, wind"',
    ]


def test_columns_of_one_length():
    with pytest.raises(FormatError, match="one length"):
        write_plain_table({"a": np.zeros(2), "b": np.zeros(3)})
