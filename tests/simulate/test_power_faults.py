"""Planted faults change what they name, from their day on, and nothing before."""

import numpy as np
import pytest

from stakeline.errors import SettingsError
from stakeline.simulate.chance import stream
from stakeline.simulate.ground import Place
from stakeline.simulate.power import Design, make_supply
from stakeline.simulate.power_faults import AGED_SHARE, AGEING_S, FAULTS, planted
from stakeline.simulate.weather import make_region, make_weather
from stakeline.time import from_calendar

BEGIN_S, DAY = 20 * 86400.0, 20 * 24


@pytest.fixture(scope="module")
def weather():
    region = make_region(stream(1, "weather"), from_calendar(2030, 8, 15), 60)
    return make_weather(region, stream(1, "HV01"), Place(np.radians(79.0), 0.0, 100.0))


def supply(weather, fault=None):
    change = None if fault is None else planted(fault, BEGIN_S)
    return make_supply(stream(1, "power"), weather, Design(), fault=change)


@pytest.mark.parametrize("fault", FAULTS)
def test_nothing_changes_before_its_day(weather, fault):
    sound, ill = supply(weather), supply(weather, fault)
    for name in ("panel_W", "turbine_W", "load_W", "stored_J", "battery_V"):
        np.testing.assert_array_equal(getattr(ill, name)[:DAY], getattr(sound, name)[:DAY])


def test_each_fault_changes_its_own_part(weather):
    sound = supply(weather)
    ill = {fault: supply(weather, fault) for fault in FAULTS}
    assert ill["panels lost"].panel_W[DAY:].max() == 0.0
    one = ill["one panel lost"].panel_W[DAY:]
    lit = sound.panel_W[DAY:] > 0.0
    assert ((one[lit] > 0.0) & (one[lit] < sound.panel_W[DAY:][lit])).all()
    assert ill["turbine dead"].turbine_W[DAY:].max() == 0.0
    more = ill["load doubled"].load_W[DAY] - sound.load_W[DAY]
    assert more == pytest.approx(sound.design.receiver_W)


def test_an_ageing_bank_loses_what_was_in_it(weather):
    ill = supply(weather, "bank ageing")
    after = DAY + int(AGEING_S // 3600.0) + 2
    assert ill.stored_J[after:].max() <= AGED_SHARE * ill.design.full_J * (1.0 + 1e-12)


def test_other_faults_are_refused_with_the_list():
    with pytest.raises(SettingsError, match="no fault 'rust'; there are panels lost"):
        planted("rust", 0.0)
