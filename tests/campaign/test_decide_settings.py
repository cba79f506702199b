"""``[decide]``: the page tells every setting; nonsense is refused with its line."""

import re
from pathlib import Path

import pytest

from stakeline.campaign.decide_settings import DecidePart
from stakeline.campaign.folders import create, open_campaign
from stakeline.errors import SettingsError

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "decide.md"


def test_the_page_has_every_setting_with_its_default():
    section = PAGE.read_text("utf-8").split("## Settings")[1].split("\n## ")[0]
    rows = dict(re.findall(r"^\| `(\w+)` \| (.+?) \|", section, re.MULTILINE))
    written = {True: "true", False: "false"}  # as TOML has it
    assert rows == {
        name: written[f.default] if isinstance(f.default, bool) else str(f.default)
        for name, f in DecidePart.model_fields.items()
    }


@pytest.mark.parametrize(
    ("line", "match"),
    [
        ("lag_d = [5.0, 0.0]", "ends before it begins"),
        ("longer_d = []", r"has no length of a response \(longer_d\)"),
        ("decay_d = []", r"has no length of a response \(decay_d\)"),
        ("rise_d = []", r"has no length of a response \(rise_d\)"),
        ("before_d = 0", "greater than 0"),
        ("permutations = 9", "greater than or equal to 99"),
        ('stations = ["HV01"]\nplacebo_stations = ["HV01"]', "must respond and must not respond"),
        ("befor_d = 3", "befor_d"),
    ],
)
def test_nonsense_is_refused_with_its_line(tmp_path, line, match):
    create(tmp_path)
    path = tmp_path / "campaign.toml"
    path.write_text(f"{path.read_text()}\n[decide]\n{line}\n")
    with pytest.raises(SettingsError, match=match) as caught:
        open_campaign(tmp_path)
    assert re.search(r"campaign\.toml:\d+: decide", str(caught.value))
