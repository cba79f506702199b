"""Coordinates of a station file as numbers or as text; what a text can mean besides is told."""

import pytest

from stakeline.campaign.folders import create
from stakeline.campaign.history_text import toml_value
from stakeline.errors import SettingsError
from stakeline.station.field_coordinates import FORMS, written
from stakeline.workflows.plan_description import describe_station
from stakeline.workflows.plan_words import typed_sentences
from stakeline.workflows.typed_place import read_plan

NUMBERS = "latitude_deg = 79.0412                  # north positive\nlongitude_deg = 17.3580\n"


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    root = tmp_path_factory.mktemp("typed") / "campaign"
    create(root)
    return root / "plans" / "HV01.toml"


@pytest.fixture
def typed(plan):
    """Return a function that writes the site's coordinates otherwise and gives the path."""
    before = plan.read_text("utf-8")
    assert NUMBERS in before

    def write(lines):
        plan.write_text(before.replace(NUMBERS, lines + "\n"), "utf-8")
        return plan

    yield write
    plan.write_text(before, "utf-8")


@pytest.mark.parametrize("apart", [True, False])
@pytest.mark.parametrize("form", FORMS)
def test_all_notations_give_the_same_place(typed, form, apart):
    north, east = written(79.0412, "latitude", form), written(17.358, "longitude", form)
    lines = f"place = {toml_value(f'{north}, {east}')}"
    if apart:
        lines = f"latitude_deg = {toml_value(north)}\nlongitude_deg = {toml_value(east)}"
    described = describe_station(typed(lines))
    site = described.design.site
    assert (site.latitude_deg, site.longitude_deg) == pytest.approx((79.0412, 17.358), abs=2e-6)
    assert described.settings.site.latitude_deg == site.latitude_deg
    assert described.typed.form == form
    assert described.typed.sentences == ()


def test_numbers_are_degrees_and_in_no_doubt(plan):
    described = describe_station(plan)
    assert described.typed is None
    assert typed_sentences(described) == ()


def test_what_a_text_can_mean_besides_is_told_with_its_distance(typed):
    described = describe_station(typed('place = "79 02.47 N, 17 21.48 E"'))
    (said,) = described.typed.sentences
    # seconds in place of decimals of a minute: 47 s against 28.2 s, along the meridian
    apart_m = (47.0 - 28.2) * 1852.0 / 60.0
    assert "taken as degrees and minutes" in said
    told_m = float(said.split("latitude as degrees, minutes and seconds: ")[1].split(" m")[0])
    assert told_m == pytest.approx(apart_m, rel=0.01)
    shown = typed_sentences(described)
    assert shown[0] == "Place typed in degrees and minutes: 79 02.47 N, 17 21.48 E."


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ('place = "79 72.0 N, 17 21 E"', r"HV01.toml:8: .*is no angle"),
        ('latitude_deg = "79 02.472 N"\nlongitude_deg = 17.358', r"HV01.toml:8: .*both as num"),
        ('place = "79 N, 17 E"\nlatitude_deg = 79.0', r"HV01.toml:8: site: .*one of the two"),
        ("latitude_deg = 79.0", r"HV01.toml:8: site: .*longitude_deg is missing"),
        ("latitude_deg = 97.0\nlongitude_deg = 17.0", r"HV01.toml:9: .*less than or equal to 90"),
    ],
)
def test_mistakes_are_told_with_file_and_line(typed, lines, said):
    path = typed(lines)
    for read in (describe_station, read_plan):
        with pytest.raises(SettingsError, match=said):
            read(path)
