"""The index of rime: from bare to thick, grown by damp cold wind, taken off by sun and storm."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.station.rime import rime_index

HOURS = 400


def index(air=-8.0, wind=6.0, damp=95.0, light=0.0):
    parts = (np.broadcast_to(v, HOURS).astype(float) for v in (air, wind, damp, light))
    return rime_index(*parts)


def test_grows_in_damp_cold_wind_and_stays_within_bounds():
    grown = index()
    assert (np.diff(grown) >= 0.0).all()
    assert 0.8 < grown[-1] < 1.0


@pytest.mark.parametrize("change", [{"damp": 60.0}, {"air": 3.0}, {"air": -40.0}, {"wind": 25.0}])
def test_does_not_grow_in_dry_warm_very_cold_or_stormy_air(change):
    assert index(**change).max() == 0.0


def test_sun_storm_and_thaw_take_it_off_faster_than_the_dark():
    first = np.arange(HOURS) < 200
    left = {
        name: index(**{"damp": np.where(first, 95.0, 50.0)} | change)[-1]
        for name, change in {
            "dark": {},
            "sun": {"light": np.where(first, 0.0, 200.0)},
            "storm": {"wind": np.where(first, 6.0, 25.0)},
            "thaw": {"air": np.where(first, -8.0, 2.0)},
        }.items()
    }
    assert left["dark"] > 0.4
    assert max(left["sun"], left["storm"], left["thaw"]) < 0.1


def test_what_is_not_known_leaves_it_and_years_are_apart():
    damp = np.where(np.arange(HOURS) < 200, 95.0, np.nan)
    known = index(damp=damp)
    assert (known[200:] == known[199]).all()
    both = rime_index(*(np.stack([np.full(HOURS, v)] * 2) for v in (-8.0, 6.0, 95.0, 0.0)))
    np.testing.assert_array_equal(both[0], both[1])
    np.testing.assert_array_equal(both[0], index())
    with pytest.raises(SettingsError, match="one shape"):
        rime_index(np.zeros(3), np.zeros(3), np.zeros(3), np.zeros(4))
