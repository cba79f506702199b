"""Errors of hand-written files name file, line and key; the sentences are what is tested."""

import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.located import line_numbers
from stakeline.campaign.settings import read_settings, system_letters
from stakeline.errors import SettingsError


@pytest.fixture
def written(tmp_path):
    def write(text):
        path = tmp_path / "campaign.toml"
        path.write_text(text, encoding="utf-8")
        return path

    return write


def problem(path):
    with pytest.raises(SettingsError) as caught:
        read_settings(path)
    return str(caught.value).replace(str(path), "campaign.toml")


def test_lines_of_keys_tables_and_lists():
    text = (
        '# one\na = 1\n[b.c]\nd = """\nx = 5\n"""\ne = [\n  1,\n]\n[[f]]\ng = 1\n[[f]]\n"g h" = 2\n'
    )
    lines = line_numbers(text)
    assert lines[("a",)] == 2
    assert lines[("b", "c", "d")] == 4
    assert ("b", "c", "x") not in lines  # stands inside a text
    assert lines[("b", "c", "e")] == 7
    assert lines[("f", 0, "g")] == 11
    assert lines[("f", 1, "g h")] == 13


def test_subtable_of_a_list_belongs_to_its_last_entry():
    lines = line_numbers("[[v]]\nt = 1\n[v.h]\nm = 2\n[[v]]\n[v.h]\nm = 3\n")
    assert lines[("v", 0, "h", "m")] == 4
    assert lines[("v", 1, "h", "m")] == 7


def test_hash_and_brackets_inside_text_do_not_open_anything():
    lines = line_numbers('a = "[ # {"  # [ comment\nb = 1\n')
    assert lines == {(): 1, ("a",): 1, ("b",): 2}


def test_unknown_key_with_a_near_name(written):
    said = problem(written('[campaign]\nname = "X"\n\n[[station]]\nname = "HV01"\nrwa = ["a"]\n'))
    assert said == "campaign.toml:6: station.1.rwa: unknown key; did you mean 'raw'?"


def test_unknown_key_without_a_near_name_lists_what_there_is(written):
    said = problem(written('[campaign]\nname = "X"\nzzz = 1\n'))
    assert said == "campaign.toml:3: campaign.zzz: unknown key; known here are name, note"


def test_missing_key_points_at_its_table(written):
    said = problem(written('[campaign]\nname = "X"\n\n[[station]]\nraw = ["a"]\n'))
    assert said == "campaign.toml:4: station.1.name: is missing"


def test_value_out_of_range_shows_what_was_found(written):
    said = problem(written('[campaign]\nname = "X"\n[position]\nmask_deg = 97\n'))
    assert said.startswith("campaign.toml:4: position.mask_deg:")
    assert said.endswith("found 97")


def test_every_mistake_gets_a_line(written):
    said = problem(written('[campaign]\nnmae = "X"\n[position]\nmode = "fast"\n')).splitlines()
    assert len(said) == 3  # name missing, nmae unknown, mode not one of two
    assert all(line.startswith("campaign.toml:") for line in said)


def test_broken_toml_names_the_line(written):
    said = problem(written('[campaign]\nname = "X\n'))
    assert said.startswith("campaign.toml:2: ")


def test_text_that_is_not_utf8(tmp_path):
    path = tmp_path / "campaign.toml"
    path.write_bytes(b'[campaign]\nname = "\xe9"\n')
    assert "campaign.toml:2: found a byte that is not UTF-8" in problem(path)


def test_station_twice(written):
    said = problem(
        written('[campaign]\nname="X"\n[[station]]\nname="HV01"\n' + '[[station]]\nname="HV01"\n')
    )
    assert "station HV01 stands there more than once" in said


def test_unknown_system_lists_the_systems(written):
    said = problem(written('[campaign]\nname = "X"\n[position]\nsystems = "GPS,XYZ"\n'))
    assert "campaign.toml:4: position.systems: 'XYZ' is no system; systems are GPS, GAL" in said


@pytest.mark.parametrize(
    ("text", "letters"), [("GPS,GAL", "GE"), ("glo bds", "RC"), ("GPS,GPS", "G")]
)
def test_system_letters(text, letters):
    assert system_letters(text) == letters


def test_the_template_is_a_valid_campaign(tmp_path):
    create(tmp_path / "halvard")
    campaign = open_campaign(tmp_path / "halvard")
    assert [part.name for part in campaign.settings.station] == ["HV01", "HV02", "HVB0"]
    assert campaign.histories()["HV01"].station == "HV01"
    assert campaign.station_of("0-raw/HV02/x.obs") == "HV02"
    assert campaign.station_of("0-raw/HV022/x.obs") is None


def test_a_campaign_is_never_overwritten(tmp_path):
    create(tmp_path)
    with pytest.raises(SettingsError, match="already holds a campaign"):
        create(tmp_path)
