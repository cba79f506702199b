"""``[lakes.routes]`` and ``[lakes.placement]``: the page tells them all; nonsense is refused."""

import re
from pathlib import Path

import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.water_settings import PlacementPart, RoutesPart
from stakeline.errors import SettingsError

PAGE = Path(__file__).parents[2] / "docs" / "reference" / "water-routes.md"


@pytest.mark.parametrize(("part", "name"), [(RoutesPart, "routes"), (PlacementPart, "placement")])
def test_the_page_has_every_setting_with_its_default(part, name):
    section = PAGE.read_text("utf-8").split(f"## `[lakes.{name}]`")[1].split("\n## ")[0]
    rows = dict(re.findall(r"^\| `(\w+)` \| (.+?) \|", section, re.MULTILINE))
    assert set(rows) == set(part.model_fields)
    for name, field in part.model_fields.items():
        expected = "(none)" if field.default == "" else str(field.default)
        assert rows[name].strip("`") == expected, name


@pytest.mark.parametrize(
    ("lines", "match"),
    [
        ("[lakes.routes]\nflotation = [1.0, 0.8]", "give the least first"),
        ("[lakes.routes]\nflotation = [0.8, 1.2]", "less than or equal to 1"),
        ("[lakes.routes]\nwater_speed_m_s = []", "give one speed or more"),
        ("[lakes.routes]\nwater_speed_m_s = [0.0]", "greater than 0"),
        ('[lakes.routes]\nwhat_if_m = 1.0\nwhat_if_grid = "a.nc"', "choose one"),
        ("[lakes.placement]\nstay_d = -1", "greater than or equal to 0"),
    ],
)
def test_nonsense_is_refused_with_its_line(tmp_path, lines, match):
    create(tmp_path)
    path = tmp_path / "campaign.toml"
    path.write_text(f"{path.read_text()}\n{lines}\n")
    with pytest.raises(SettingsError, match=match) as caught:
        open_campaign(tmp_path)
    assert re.search(r"campaign\.toml:\d+: lakes\.(routes|placement)", str(caught.value))
