"""Hydrogen in a box: Faraday's law, the share of the limit, what is not asked for."""

from dataclasses import replace

import pytest

from stakeline.station.battery import LITHIUM, Bank
from stakeline.station.box import Box
from stakeline.station.cautions import ESTIMATE
from stakeline.station.design import Design, Load, PlacedPanel, Site
from stakeline.station.gas import (
    EXPLODES,
    GAS,
    KEPT_BELOW,
    air_loss_W_K,
    highest_current_A,
    ventilation,
)
from stakeline.station.panel import Panel
from stakeline.station.turbine import Turbine

GROUP = PlacedPanel("panel", Panel(), 2, 90.0, 180.0)
DESIGN = Design("HV01", Site(79.0, 17.0, 200.0), (GROUP,), Bank(), Box(),
                (Load("receiver", "receiver", 5.0),), turbine=Turbine(rated_W=130.0))  # fmt: skip


def test_the_current_is_all_that_the_sources_give():
    assert highest_current_A(DESIGN) == pytest.approx(2 * 5.3 + 10.0)
    in_series = replace(GROUP, series=2)
    assert highest_current_A(replace(DESIGN, panels=(in_series,))) == pytest.approx(5.3 + 10.0)
    seeking = replace(GROUP, panel=Panel(tracking=True))
    assert highest_current_A(replace(DESIGN, panels=(seeking,))) == pytest.approx(
        2 * 85.0 / 13.0 + 10.0
    )
    assert highest_current_A(replace(DESIGN, panels=(), turbine=None)) == 0.0


def test_gas_is_faradays_and_the_air_keeps_its_share():
    found = ventilation(DESIGN)
    # one molecule for two electrons: 22.414 l / (2 x 26.80 A h) an ampere hour and cell
    litres = 6 * 20.6 * 24 * 22.414 / (2 * 26.80)
    assert 1e3 * found.hydrogen_m3_d == pytest.approx(litres, rel=0.01)
    share = found.hydrogen_m3_d / (found.hydrogen_m3_d + 24.0 * found.air_m3_h)
    assert share == pytest.approx(KEPT_BELOW * EXPLODES)
    # 1.3 kg/m3 x 1006 J/(kg K)
    assert found.loss_W_K == pytest.approx(1.30 * 1006.0 * found.air_m3_h / 3600.0, rel=3e-3)
    assert {GAS, ESTIMATE} <= set(found.cautions)


def test_twice_the_current_asks_for_twice_of_all():
    one = ventilation(replace(DESIGN, turbine=None))
    two = ventilation(replace(DESIGN, turbine=None, panels=(replace(GROUP, count=4),)))
    for name in ("current_A", "hydrogen_m3_d", "air_m3_h", "opening_cm2", "loss_W_K"):
        assert getattr(two, name) == pytest.approx(2.0 * getattr(one, name))
    assert air_loss_W_K(0.0) == 0.0


def test_lithium_asks_for_none():
    found = ventilation(replace(DESIGN, bank=Bank(chemistry=LITHIUM)))
    assert found.hydrogen_m3_d == found.air_m3_h == found.opening_cm2 == found.loss_W_K == 0.0
