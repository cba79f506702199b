"""All readings of a station: bands that hold the weather, faults that leave them."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.station.battery import LITHIUM, Bank, rest_V
from stakeline.station.box import Box
from stakeline.station.design import Design, Load, PlacedPanel, Site
from stakeline.station.diode import at, diode_of, open_V, short_A
from stakeline.station.expectation import GOOD, OUTSIDE, judge
from stakeline.station.expected_panels import Conditions, alike_sentence, cable_ohm, slug
from stakeline.station.expected_power import charge_of, charge_table, spread_sentence
from stakeline.station.expected_site import readings_of, tightening_order
from stakeline.station.guys import Guy
from stakeline.station.light_band import CLEAR, CLOUDY, UNKNOWN, Place
from stakeline.station.panel import Panel, cell_degC
from stakeline.station.sky import clear_light, on_panel
from stakeline.station.sunlight import sun_course
from stakeline.station.turbine import Turbine
from stakeline.time import from_iso, gps_from_utc

NOON = int(gps_from_utc(from_iso("2031-05-10T11:00:00")))
AIR, WIND = -18.0, 5.0
GUYS = tuple(
    Guy(f"guy {i}", (0.0, 0.0, 2.0), (2.0 * np.sin(a), 2.0 * np.cos(a), 0.0), 5e5, 1e4, 1000.0)
    for i, a in enumerate(np.radians([0.0, 90.0, 180.0, 270.0]))
)


def design(latitude_deg=79.0, **changes):
    parts = {
        "name": "HV03",
        "site": Site(latitude_deg, 17.0, 200.0),
        "panels": (
            PlacedPanel("panel south", Panel(), 1, 80.0, 180.0),
            PlacedPanel("wall", Panel(), 4, 80.0, 180.0, series=2),
        ),
        "bank": Bank(parallel=4),
        "box": Box(heater_W=5.0),
        "loads": (Load("receiver", "receiver", 3.5), Load("modem", "telemetry", 2.0, 0.05)),
        "turbine": Turbine(),
    }
    return Design(**(parts | changes))


def expected(time_ns=NOON, sky=CLEAR, latitude_deg=79.0, wind=WIND, **changes):
    made = design(latitude_deg, **changes)
    place = Place(time_ns, np.radians(latitude_deg), np.radians(17.0), 200.0, sky)
    return {e.key: e for e in readings_of(made, GUYS, Conditions(place, AIR, wind, AIR))}


@pytest.fixture(scope="module")
def usual():
    return expected()


def true_reading(turbidity, tilt_deg, facing_deg, panel=Panel()):  # noqa: B008 frozen record
    """Return open voltage and short-circuit current of a panel in one possible weather."""
    sun = sun_course(NOON, np.radians(79.0), np.radians(17.0), 200.0)
    light = on_panel(clear_light(sun, 200.0, turbidity), sun, np.radians(tilt_deg),
                     np.radians(facing_deg))  # fmt: skip
    now = at(diode_of(panel), light, cell_degC(AIR, light, WIND))
    return float(open_V(now)[0]), float(short_A(now)[0])


@pytest.mark.parametrize("turbidity", [1.6, 2.0, 3.5])
@pytest.mark.parametrize(("tilt", "facing"), [(80, 180), (76, 172), (84, 189)])
def test_bands_hold_haze_and_a_hand_set_panel(usual, turbidity, tilt, facing):
    volts, amps = true_reading(turbidity, tilt, facing)
    assert usual["panel_south_open_V"].holds(volts)
    assert usual["panel_south_short_A"].holds(amps)
    assert usual["wall_all_open_V"].holds(2.0 * volts)
    assert usual["wall_all_short_A"].holds(2.0 * amps)


def test_a_lost_string_is_outside_of_a_clear_sky_and_named(usual):
    _, amps = true_reading(2.0, 80, 180)
    said = judge(usual["wall_all_short_A"], amps)
    assert said.state == OUTSIDE
    assert "one string is open, shaded or reversed" in said.sentence


def test_a_reversed_panel_in_a_string_is_named(usual):
    assert "no voltage" in judge(usual["wall_all_open_V"], 0.1).sentence
    volts, _ = true_reading(2.0, 80, 180)
    assert "one panel of the string is missing" in judge(usual["wall_all_open_V"], volts).sentence
    assert "polarity is swapped" in judge(usual["wall_all_open_V"], -2.0 * volts).sentence


@pytest.mark.parametrize(
    ("currents", "together", "sentence"),
    [
        ((1.0, 1.02, 0.97, 1.05), 2.0, ""),
        (
            (1.0, 1.02, 0.97, 1.05),
            1.0,
            "1.00 A together, 2.02 A by what the panels give alone: 1 of 2",
        ),
        ((1.0, 1.02, 0.45, 1.05), 2.0, "wall 3 gives 0.45 A, the others in the same light 1.01 A"),
        ((1.0, 1.02), None, ""),
        ((), 1.0, ""),
        ((-1.0, 1.0), 1.0, ""),  # told as swapped polarity where it stands
    ],
)
def test_equal_panels_tell_on_each_other_below_any_sky(currents, together, sentence):
    values = {f"wall_{n}_short_A": amps for n, amps in enumerate(currents, 1)}
    values |= {} if together is None else {"wall_all_short_A": together}
    said = alike_sentence(design().panels[1], values)
    assert sentence in said
    assert bool(said) == bool(sentence)


def test_a_panel_behind_another_is_expected_in_its_shadow():
    front, rear = (
        PlacedPanel(name, Panel(), 1, 90.0, 180.0, width_m=1.5, tall_m=1.0, bottom_m=1.0, out_m=out)
        for name, out in (("front", 1.5), ("rear", 1.0))
    )
    free = expected(panels=(front, replace(rear, shade_loss=0.0)))
    shaded = expected(panels=(front, rear))
    assert shaded["front_short_A"] == free["front_short_A"]
    assert shaded["rear_short_A"].expected < 0.7 * free["rear_short_A"].expected
    assert shaded["rear_short_A"].least < 0.9 * shaded["rear_short_A"].expected
    assert "own shadows are reckoned to take" in shaded["rear_short_A"].low
    assert "shadows" not in free["rear_short_A"].low
    below_cloud = expected(sky=CLOUDY, panels=(front, rear))
    assert below_cloud["rear_short_A"].expected == below_cloud["front_short_A"].expected
    assert "shadows" not in below_cloud["rear_short_A"].low


def test_unknown_sky_is_wider(usual):
    wide = expected(sky=UNKNOWN)["panel_south_short_A"]
    narrow = usual["panel_south_short_A"]
    assert wide.least < narrow.least < narrow.most < wide.most


def test_the_wrong_season_is_dark():
    winter = int(gps_from_utc(from_iso("2031-12-10T11:00:00")))
    north = expected(winter)["panel_south_open_V"]
    south = expected(winter, latitude_deg=-79.0, sky=UNKNOWN)["panel_south_open_V"]
    assert not north.must
    assert "too low for a reading" in north.why_not
    assert south.must
    assert south.expected > 20.0


def test_battery_full_half_and_dead_cell(usual):
    rest = usual["battery_rest_V"]
    bank = Bank(parallel=4)
    assert judge(rest, float(rest_V(bank, 1.0, AIR))).state == GOOD
    half = judge(rest, float(rest_V(bank, 0.5, AIR)) - 0.15)
    assert half.state == OUTSIDE
    assert "half charged (freezes at -35 degC)" in half.sentence
    assert "one cell is dead" in judge(rest, 10.55).sentence
    assert "read in mV" in judge(rest, 12700.0).sentence
    assert "polarity is swapped" in judge(rest, -12.7).sentence


def test_blocks_that_differ():
    bank = Bank(parallel=4)
    assert spread_sentence(bank, 12.66, 12.70) == ""
    assert "blocks 0.25 V apart, expected within 0.10 V" in spread_sentence(bank, 12.45, 12.70)


@pytest.mark.parametrize("chemistry", ["lead-acid", LITHIUM])
def test_charge_from_voltage_and_back(chemistry):
    bank = Bank(chemistry=chemistry)
    for charge, volts, freezes in charge_table(bank, -20.0):
        assert charge_of(bank, volts, -20.0) == pytest.approx(charge, abs=0.01)
        assert np.isnan(freezes) == (chemistry == LITHIUM)


def test_lithium_asks_for_warmth():
    bank = Bank(chemistry=LITHIUM, parallel=4)
    said = judge(expected(bank=bank)["battery_rest_V"], 11.0)
    assert "charge it above 0 degC" in said.sentence


def test_ohms_law(usual):
    assert usual["receiver_A"].expected == pytest.approx(3.5 / 12.6, rel=0.01)
    assert usual["heater_ohm"].expected == pytest.approx(12.0**2 / 5.0)
    assert "a heater for twice the voltage" in judge(usual["heater_ohm"], 115.0).sentence
    # 10 m of 2.5 mm2 at 20 degC, there and back: 0.138 ohm (IEC 60028 by hand)
    assert cable_ohm(10.0, 2.5, 20.0) == pytest.approx(0.13793, abs=1e-5)


def test_turbine_by_the_wind():
    assert expected(wind=8.0)["turbine_open_V"].expected == pytest.approx(24.0)
    calm, storm = expected(wind=1.0)["turbine_open_V"], expected(wind=14.0)["turbine_open_V"]
    assert "too little to turn it" in calm.why_not
    assert "runs away" in storm.why_not
    assert not calm.must
    assert not storm.must


def test_guys_in_newtons_and_in_turn(usual):
    assert judge(usual["guy_1_N"], 1050.0).state == GOOD
    assert "read in kg" in judge(usual["guy_1_N"], 102.0).sentence
    assert "read in kN" in judge(usual["guy_1_N"], 1.0).sentence
    assert "slack" in judge(usual["guy_1_N"], 600.0).sentence
    assert usual["guy_2_N"].what.endswith("toward 90 deg")
    assert tightening_order(4) == (1, 3, 2, 4)
    assert tightening_order(3) == (1, 2, 3)


def test_keys_are_plain_and_single():
    found = expected()
    assert all(key == key.strip() and " " not in key for key in found)
    assert slug("Panel, south #2") == "panel_south_2"
    plain = expected(turbine=None, panels=(), box=Box())
    gone = set(found) - set(plain)
    assert {"turbine_open_V", "controller_out_V", "heater_ohm", "wall_all_open_V"} <= gone
