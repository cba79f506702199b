"""The plan that a demonstration writes is that of the station which it invents."""

import pytest

from stakeline.simulate.campaign import Invented
from stakeline.simulate.scenario import scenario_of
from stakeline.workflows.invented_histories import plan_text
from stakeline.workflows.plan_description import describe_station


@pytest.fixture(scope="module")
def world():
    return Invented(2031, scenario_of("flood-fast"), 3, 14)


@pytest.fixture(scope="module", params=["with a turbine", "without"])
def pair(request, world, tmp_path_factory):
    """Return (invented design, plan read back) of a station of each kind."""
    windy = request.param == "with a turbine"
    designs = {name: world.supply(name).design for name in world.sites}
    name = next(n for n, design in designs.items() if bool(design.turbine_W) == windy)
    path = tmp_path_factory.mktemp("plans") / f"{name}.toml"
    path.write_text(plan_text(world, name), encoding="utf-8")
    return designs[name], describe_station(path).design


def test_parts_are_those_of_the_invention(pair):
    invented, planned = pair
    assert (planned.turbine is not None) == bool(invented.turbine_W)
    assert planned.bank.capacity_Ah == pytest.approx(invented.bank_Ah)
    azimuths = [panel.azimuth_deg for panel in planned.panels]
    assert azimuths == pytest.approx([57.29578 * f for f in invented.panel_facing_rad], abs=0.5)


def test_loads_take_as_much(pair):
    invented, planned = pair
    modem_W = invented.modem_W * invented.modem_share / 24.0
    taken = sum(load.power_W * load.duty for load in planned.loads)
    assert taken == pytest.approx(invented.receiver_W + invented.logger_W + modem_W, abs=0.02)
    assert not any(load.saves_below for load in planned.loads)
