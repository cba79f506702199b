"""Spans of time in the settings of motion: pairs in order, or a complaint with its line."""

import pytest

from stakeline.campaign.settings import read_settings
from stakeline.errors import SettingsError

PAIR = ("2031-05-02T00:00:00Z", "2031-05-03T01:00:00Z")


def written(tmp_path, spans):
    path = tmp_path / "campaign.toml"
    text = f'[campaign]\nname = "Trial"\n[motion]\nprotect = {spans}\n'
    text += f'[[motion.station]]\nname = "HV01"\nprotect = {spans}\n'
    path.write_text(text, encoding="utf-8")
    return path


def test_pairs_of_times_are_read_for_all_and_for_a_station(tmp_path):
    path = written(tmp_path, f'[["{PAIR[0]}", "{PAIR[1]}"]]')
    motion = read_settings(path).motion
    assert motion.protect == (PAIR,)
    assert motion.of("HV01").protect == (PAIR,)
    assert motion.of("HV02").protect == ()


@pytest.mark.parametrize(
    ("spans", "said"),
    [
        ('[["2031-05-02", "2031-05-01"]]', r"campaign.toml:4: motion.protect.1: begins at 2031"),
        ('[["yesterday", "2031-05-01"]]', r"campaign.toml:4: .*'yesterday' is no ISO 8601 time"),
        ('["2031-05-01", "2031-05-02"]', r"campaign.toml:4: motion.protect.1: expected a list"),
    ],
)
def test_what_is_no_pair_in_order_is_told_with_its_line(tmp_path, spans, said):
    with pytest.raises(SettingsError, match=said):
        read_settings(written(tmp_path, spans))
