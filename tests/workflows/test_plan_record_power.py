"""Daily speeds of whole records: the sigma of a response, by the records that there are."""

from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.workflows import plan_record_power as p

pytestmark = pytest.mark.compiled


def station(name, noise_m_d, seed, days=300, speed=0.5):
    """Return a result of motion whose daily speeds are independent."""
    start = np.arange(days) * NS_PER_DAY
    values = speed + noise_m_d * np.random.default_rng(seed).standard_normal(days)
    windows = {
        "window_d": np.ones(days), "axis": np.full(days, "along", object),
        "start_gps": start.view("datetime64[ns]"),
        "end_gps": (start + NS_PER_DAY).view("datetime64[ns]"),
        "velocity_m_d": values, "velocity_sigma_m_d": np.full(days, noise_m_d),
    }  # fmt: skip
    return SimpleNamespace(station=name, moves=True, windows=windows)


def test_independent_days_average_as_the_root_of_their_number():
    name, usual, rows = p.record_sigmas((station("HV02", 0.01, 1),), 15.0, 3)
    assert "HV02" in name
    assert usual == pytest.approx(0.5, abs=0.005)
    sigma = dict(rows)
    # a mean of 3 times 15 d against the days around it, of which a long record has very many;
    # a memory of the noise that is not there is fitted too: a third more at most
    assert 0.01 / np.sqrt(3 * 20.0) < sigma[730.0] < 1.4 * 0.01 / np.sqrt(3 * 15.0)
    assert (np.diff(list(sigma.values())) < 0.0).all()


def test_more_drainages_help_and_ask_for_longer_records():
    results = (station("HV02", 0.01, 1),)
    few, many = (dict(p.record_sigmas(results, 15.0, n)[2]) for n in (2, 8))
    assert many[730.0] == pytest.approx(0.5 * few[730.0], rel=0.15)
    assert min(many) > min(few)


def test_the_station_in_the_middle_counts_and_none_gives_none():
    three = [station(f"HV0{k}", noise, k) for k, noise in ((2, 0.005), (3, 0.02), (4, 0.08))]
    assert p.record_sigmas(three, 15.0, 3)[0].startswith("daily speeds of HV03")
    assert p.record_sigmas((), 15.0, 3) is None
    three[0].windows["window_d"][:] = 7.0
    assert p.record_sigmas(three[:1], 15.0, 3) is None
