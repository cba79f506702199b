"""One station, two stations: from memory."""

from stakeline.workflows.plural import counted


def test_only_one_has_no_s():
    assert [counted(n, "station") for n in (0, 1, 2)] == ["0 stations", "1 station", "2 stations"]
