"""How many stations, drainages and days: curves that fall, an inverse that comes back, speeds."""

from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.campaign.network_settings import NetworkPart
from stakeline.inference.power import power_formula
from stakeline.lakes.network_sight import CORRELATION
from stakeline.lakes.whitening import START
from stakeline.report.power_figure import draw_power
from stakeline.workflows import plan_power as p
from stakeline.workflows.plan_network import DEGREES

HELD = {"acceleration_m2_d3": 1e-8, "coloured_sigma_m": [0.005], "coloured_memory_d": [2.0]}
HELD |= {"white_scale": 1.0}
PARTS = [{"acceleration_m2_d3": 1e-8, "from_gps": "2030-05-01T00:00:00"},
         {"acceleration_m2_d3": 65e-8, "from_gps": "2030-06-22T01:00:00"}]  # fmt: skip


def result(name="HV02", parts=PARTS, speed=0.5):
    told = {"axes": {"along": {"noise": HELD | {"parts": parts}}}}
    return SimpleNamespace(station=name, moves=True, told=told, windows={},
                           mean_speed_m_d=(speed, 0.001))  # fmt: skip


def campaign(tmp_path, **part):
    settings = SimpleNamespace(network=NetworkPart(**part), campaign=SimpleNamespace(name="T"))
    return SimpleNamespace(settings=settings, folder=lambda name: tmp_path / name, root=tmp_path)


def place(name, on_rock=False):
    return SimpleNamespace(name=name, latitude_deg=79.0, longitude_deg=-60.0, on_rock=on_rock)


PLACES = (place("HV01"), place("HV02"), place("HV03"), place("HB01", True))


def test_before_anything_is_built_the_speed_is_said(tmp_path):
    found = p.power_of_network(campaign(tmp_path, speed_m_d=0.8), PLACES, ())
    assert (found.stations, found.speed_m_d, found.seasons[0].model) == (3, 0.8, START)
    words = "\n".join(p.power_words(found))
    assert "usual noise: no station has a record yet" in words
    assert "its melt season is not known" in words
    assert "restless season, taken as 64 times the walk: 3 stations and 3 drainages see" in words
    assert "for 2 %:" in words
    unknown = p.power_of_network(campaign(tmp_path), PLACES, ())
    assert np.isnan(unknown.speed_m_d)
    assert "not known: say it in campaign.toml" in "\n".join(p.power_words(unknown))


def test_the_worst_season_is_told_beside_the_usual_one(tmp_path):
    found = p.power_of_network(campaign(tmp_path), PLACES, (result(),))
    assert found.speed_m_d == 0.5
    usual, worst = found.seasons
    assert worst.name == "most restless season (HV02 from 2030-06-22)"
    assert worst.model.acceleration_m2_d3 == pytest.approx(65.0 * usual.model.acceleration_m2_d3)
    even = p.power_of_network(campaign(tmp_path), PLACES, (result(parts=PARTS[:1]),))
    assert len(even.seasons) == 1


def test_curves_fall_and_more_power_asks_for_more(tmp_path):
    found = p.power_of_network(campaign(tmp_path, speed_m_d=1.0), PLACES, (result(),))
    for season in found.seasons:
        for along in ("stations", "drainages", "record_d"):
            low, high = (
                np.array(
                    [r[7] for r in found.rows if (r[0], r[1], r[6]) == (season.name, along, w)]
                )
                for w in p.POWERS
            )
            assert (np.diff(low) < 1e-12).all()
            # sigma known: 3.60 to 2.80 sigmas (Cohen 1988, chapter 2); of 60 degrees a little more
            np.testing.assert_allclose(high / low, 3.605 / 2.802, rtol=0.01)


def test_many_stations_reach_the_floor_that_is_alike_to_all():
    one, many = p.together(1.0, 1, 1), p.together(1.0, 10**6, 1)
    assert many / one == pytest.approx(np.sqrt(CORRELATION), rel=1e-3)  # Kish 1965, section 5.4
    assert p.together(1.0, 4, 9) == pytest.approx(p.together(1.0, 4, 1) / 3.0)


@pytest.mark.parametrize("power", p.POWERS)
@pytest.mark.parametrize("change", [2.0, 3.0, 6.0])
def test_what_is_needed_is_just_enough(power, change):
    stations, events = p.needed(1.0, change, power, 3, 2)
    assert power_formula(change, p.together(1.0, 3, events), DEGREES) >= power - 2e-3
    if events > 1:
        assert power_formula(change, p.together(1.0, 3, events - 1), DEGREES) < power
    if stations is not None:
        assert power_formula(change, p.together(1.0, stations, 2), DEGREES) >= power - 2e-3
        if stations > 1:
            assert power_formula(change, p.together(1.0, stations - 1, 2), DEGREES) < power


def test_alike_noise_cannot_be_met_by_stations():
    floor = p.factor_of(0.8) * np.sqrt(CORRELATION)
    assert p.needed(1.0, 0.9 * floor, 0.8, 3, 1)[0] is None
    assert p.needed(1.0, 1e-3, 0.8, 3, 1) == (None, None)


def test_table_and_figure(tmp_path):
    found = p.power_of_network(campaign(tmp_path, speed_m_d=1.0), PLACES, (result(),))
    files = p.power_files(found, "Halvard Glacier")
    lines = files["power.csv"].decode().splitlines()
    counts = len(p.STATIONS) + len(p.DRAINAGES) + len(p.RECORDS_D)
    assert len(lines) == 1 + 2 * 2 * counts
    assert b"Halvard Glacier" in files["power.svg"]
    curves = p.curves_of(found, "Halvard Glacier")
    assert (curves.unit, curves.wished) == ("%", 2.0)
    axes = draw_power(curves).axes
    assert [axis.get_xlabel() for axis in axes] == [
        "stations", "drainages", "days before and after",
    ]  # fmt: skip
    assert len(axes[0].lines) == 5  # two seasons, two powers, the change that is asked for
