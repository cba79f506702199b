"""From a station file to the station's records."""

from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from stakeline.campaign.station_file import StationFile, read_station_file
from stakeline.errors import SettingsError
from stakeline.workflows.plan_description import describe_station

EXAMPLE = Path(str(resources.files("stakeline.campaign").joinpath("templates", "plan_HV01.toml")))


def changed(tmp_path, *pairs):
    """Return the path of the example with texts replaced."""
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new, 1)
    path = tmp_path / "HV01.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_example_becomes_a_station():
    found = describe_station(EXAMPLE)
    design = found.design
    assert design.panel_W == 150.0
    assert design.bank.full_J == pytest.approx(10 * 100 * 12 * 3600.0)
    assert design.mean_W == pytest.approx(3.5 + 0.1 + 0.05)
    assert design.peak_W == 15.0
    assert found.begins_month == 7
    assert len(found.guys) == len(found.holdings) == 6
    assert found.legs_m.shape == (0, 2)
    assert found.design.box_depth_m == 0.8


def test_a_frame_has_its_legs(tmp_path):
    found = describe_station(changed(tmp_path, ("[snow]", "[frame]\nlegs = 5\n\n[snow]")))
    assert found.legs_m.shape == (5, 2)
    assert np.hypot(*found.legs_m.T) == pytest.approx(0.75)


def test_the_bill_holds_every_part_and_the_cargo():
    found = describe_station(EXAMPLE)
    items = {item.name: item for item in found.items}
    assert items["battery"].count == 10
    assert items["battery"].dangerous == "lead-acid, sealed"
    assert items["tools and drill"].mass_kg == 45.0
    assert {"panel south", "turbine", "box", "mast", "guy with anchor", "modem"} <= set(items)


def test_panels_stand_at_their_distance_and_face_out():
    parts = {part.name: part for part in describe_station(EXAMPLE).parts}
    south = parts["panel south"]
    assert np.hypot(*south.position_m[:2]) == pytest.approx(0.3)
    assert south.position_m[1] < 0.0
    assert south.normal[1] < 0.0


def test_a_buried_box_stands_in_no_wind(tmp_path):
    assert "box" not in {part.name for part in describe_station(EXAMPLE).parts}
    found = describe_station(changed(tmp_path, ('place = "snow" ', 'place = "surface" ')))
    assert "box" in {part.name for part in found.parts}
    assert found.design.box_depth_m is None


def test_a_southern_year_begins_in_january(tmp_path):
    path = changed(tmp_path, ("latitude_deg = 79.0412", "latitude_deg = -79.0412"))
    assert describe_station(path).begins_month == 1


def test_a_station_goes_through_json_and_back():
    settings = read_station_file(EXAMPLE)
    assert StationFile.model_validate_json(settings.model_dump_json()) == settings


def test_lithium_is_told_to_the_carrier(tmp_path):
    path = changed(tmp_path, ('chemistry = "lead-acid"', 'chemistry = "lithium iron phosphate"'))
    items = {item.name: item for item in describe_station(path).items}
    assert items["battery"].dangerous == "lithium-ion"


@pytest.mark.parametrize(
    ("pair", "said"),
    [
        (("rated_W = 50", "rated_W = 50\nshort_A = 2.0"), "HV01.toml:22: panel: rated_W 50"),
        (("rated_W = 100", "rated_W = 100\nstop_m_s = 3.0"), "HV01.toml:44: turbine: start_m_s"),
        (("wall_m = 0.005", "wall_m = 0.05"), "HV01.toml:97: tube of 2.5 m"),
        (
            ('kind = "telemetry"', 'kind = "telemetry"\nreport_bytes = 500'),
            "HV01.toml:70: a report of 500 bytes does not fit into a message 'small'",
        ),
        (
            ('kind = "receiver"', 'kind = "receiver"\nmessage = "full"'),
            "HV01.toml:60: load.1: message only of a load of kind telemetry",
        ),
        (
            ("top_m = 2.2", "top_m = 2.7"),
            "HV01.toml:103: guys hold the mast at 2.7 m, but it ends at 2.5 m",
        ),
    ],
)
def test_numbers_that_describe_no_station_are_told_with_their_table(tmp_path, pair, said):
    with pytest.raises(SettingsError) as told:
        describe_station(changed(tmp_path, pair))
    assert said in str(told.value)
