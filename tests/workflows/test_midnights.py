"""What overlapping arcs say differently about midnight, by station."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.constants import NS_PER_S
from stakeline.earth.ellipsoid import enu_axes, xyz_from_geodetic
from stakeline.formats.plain_table import read_plain_table
from stakeline.tables import Positions
from stakeline.time import from_iso
from stakeline.workflows.midnights import midnight_between, midnight_table

DAY = from_iso("2031-05-02")
RAMP = 3 * 3600 * NS_PER_S
PLACE = np.radians(79.04), np.radians(17.36)
APART = np.array([0.004, -0.006, 0.02])


def arc(first_h, last_h, enu_m, sigma_m=(0.003, 0.004, 0.01)):
    time_ns = DAY + np.arange(first_h * 60, last_h * 60, 5, dtype=np.int64) * 60 * NS_PER_S
    n = len(time_ns)
    axes = enu_axes(*PLACE)
    xyz = xyz_from_geodetic(*PLACE, 212.0) + enu_m @ axes
    covariance = np.tile(np.diag(np.square(sigma_m)), (n, 1, 1))
    return Positions("HV05", "IGS20", time_ns, np.tile(xyz, (n, 1)), covariance,
                     np.full(n, 12), np.full(n, "float"))  # fmt: skip


def test_the_difference_is_what_the_arcs_were_made_with():
    found = midnight_between(arc(-30, 6, np.zeros(3)), arc(-6, 30, APART), DAY, RAMP)
    sigma = np.sqrt(2.0) * np.array([0.003, 0.004, 0.01])
    for k, axis in enumerate(("east", "north", "up")):
        assert found[f"{axis}_m"] == pytest.approx(APART[k], abs=1e-8)
        assert found[f"{axis}_sigmas"] == pytest.approx(APART[k] / sigma[k], rel=1e-5)
    assert found["gps"] == "2031-05-02T00:00:00"


def test_arcs_that_share_nothing_about_midnight_say_nothing():
    assert midnight_between(arc(-30, -4, APART), arc(-6, 30, APART), DAY, RAMP) is None
    other = replace(arc(-30, 6, APART), frame="WGS84")
    assert midnight_between(other, arc(-6, 30, APART), DAY, RAMP) is None


def test_the_table_has_rms_and_largest_and_remarks_on_what_is_large(tmp_path):
    quiet = midnight_between(arc(-30, 6, np.zeros(3)), arc(-6, 30, 0.1 * APART), DAY, RAMP)
    loud = midnight_between(arc(-30, 6, np.zeros(3)), arc(-6, 30, 5.0 * APART), DAY, RAMP)
    loud |= {"gps": "2031-05-03T00:00:00"}
    data, notes = midnight_table({"HV05": [quiet, quiet, loud], "HV02": [quiet] * 4, "HV03": []})
    path = tmp_path / "midnights.csv"
    path.write_bytes(data)
    table = read_plain_table(path)
    assert list(table.column("station")) == ["HV02", "HV05"]
    assert table.column("midnights") == pytest.approx([4, 3])
    rms = np.sqrt((2 * 0.1**2 + 5.0**2) / 3.0) * 0.02
    assert table.column("rms_up_m")[1] == pytest.approx(rms, abs=1e-5)
    largest = max(abs(loud[f"{axis}_sigmas"]) for axis in ("east", "north", "up"))
    assert table.column("largest_sigmas")[1] == pytest.approx(largest, abs=0.01)
    (note,) = notes
    assert note.startswith("HV05: days disagree about midnight by 3.3 sigmas (rms of 3;")
    assert "most at 2031-05-03T00:00:00" in note
