"""Storm and snow on a described station: every load counted once, laws, what is too weak is bad."""

from dataclasses import replace

import numpy as np
import pytest

from stakeline.workflows.plan_lines import at_least, at_most, worst_state
from stakeline.workflows.plan_snow import heights_of, snow_of, visit_years
from stakeline.workflows.plan_storm import storm_of, weather_of

from .plan_examples import ON_SURFACE, described, framed_text, guyed_text, station_text


@pytest.fixture
def example(tmp_path):
    return described(tmp_path)


@pytest.fixture
def framed(tmp_path):
    """The example with a frame, its box on the surface."""
    return described(tmp_path, text=framed_text().replace(*ON_SURFACE))


def line(outcome, beginning):
    return next(one for one in outcome.lines if one.name.startswith(beginning))


def test_twice_the_wind_is_four_times_the_pull(tmp_path):
    calm, hard = (
        storm_of(described(tmp_path, text=station_text(wind_m_s=speed).replace(
            "[storm]\nwind_m_s = 38.6", f"[storm]\nwind_m_s = {speed}")))
        for speed in (15.0, 30.0)
    )  # fmt: skip
    assert hard.gust_m_s == pytest.approx(2.0 * calm.gust_m_s)
    assert hard.load.overturning_Nm / calm.load.overturning_Nm == pytest.approx(4.0, rel=0.02)


def test_the_example_stands(example):
    found = storm_of(example)
    assert {one.state for one in found.lines} == {"good"}
    assert {one.state for one in snow_of(example, found).lines} == {"good"}


def test_every_part_is_held_by_something_once(framed):
    found = storm_of(framed)
    assert set(found.load.names) == {one.name for one in framed.parts}
    weather = weather_of(framed)
    mast = [one for one in framed.parts if one.name in ("mast", "antenna")]
    _, alone = weather.on(mast)
    pull = found.guyed.anchor_pull_N.sum(axis=0) - found.guyed.foot_N
    np.testing.assert_allclose(pull[:2], alone.force_N[:2], rtol=1e-6)


def test_without_a_frame_the_mast_carries_the_panels(example, framed):
    without = storm_of(example)
    assert without.leg is None
    assert without.guyed.tensions_N.max() > storm_of(framed).guyed.tensions_N.max()


def test_a_frame_that_only_stands_tips_or_slides_and_the_box_weighs_it_down(tmp_path):
    text = framed_text().replace("legs = 3\nembedded_m = 1.5", "legs = 3\nembedded_m = 0")
    found = storm_of(described(tmp_path, text=text.replace(*ON_SURFACE)))
    assert set(found.standing) == {"frame"}
    assert line(found, "frame: holding").state == "bad"
    assert "ballast" in line(found, "frame: holding").words


def test_a_mast_alone_is_held_by_its_leg(tmp_path):
    text = station_text()
    bare = text[: text.index("[guys]")] + text[text.index("[snow]") :]
    found = storm_of(described(tmp_path, text=bare))
    assert found.guyed is None
    assert found.leg is not None
    assert line(found, "leg: length").needed > 1.5


def test_three_guys_and_a_foot_that_stands_fall_when_one_is_lost(tmp_path):
    text = guyed_text(3)
    text = text.replace("\nembedded_m = 1.5", "\nembedded_m = 0")
    found = storm_of(described(tmp_path, text=text))
    assert found.mast.lost_falls
    assert line(found, "guys whose loss").state == "bad"


def test_a_guy_to_windward_of_four_leaves_the_mast_leaning_beyond_what_holds(tmp_path):
    found = storm_of(described(tmp_path, text=guyed_text(4)))
    assert len(found.mast.lost_falls) == 1
    assert line(found, "guys whose loss").state == "bad"


def test_guys_that_stretch_move_the_antenna_and_the_margin_can_fail(tmp_path, example):
    # a third of the stretch force: three times the turn while all are taut, less the foot
    soft = storm_of(described(tmp_path, text=guyed_text(6).replace("= 1e6", "= 3.333333e5")))
    stiff = storm_of(example)
    ratio = soft.mast.usual.turned_mm / stiff.mast.usual.turned_mm
    assert ratio == pytest.approx(3.0, rel=0.03)
    assert soft.mast.usual.bending.top_mm > 2.0 * stiff.mast.usual.bending.top_mm
    slack = storm_of(described(tmp_path, text=guyed_text(6).replace("= 1e6", "= 3e4")))
    assert line(slack, "antenna aside").state == "bad"
    assert line(slack, "guys: turn").value > 5.0
    assert line(slack, "guys: turn").state == "bad"


def test_a_mast_in_the_way_of_the_wind_sways_within_or_outside_of_it(tmp_path, example):
    inside = line(storm_of(example), "mast shaken")
    assert "within the winds here" in inside.words
    calm = station_text().replace("[storm]\nwind_m_s = 38.6", "[storm]\nwind_m_s = 4")
    outside = line(storm_of(described(tmp_path, text=calm)), "mast shaken")
    assert (outside.value, outside.state) == (0.0, "good")
    assert "outside the winds here" in outside.words
    assert inside.value > 0.0


def test_every_number_somebody_could_be_hurt_by_has_its_caution(framed):
    found = storm_of(framed)
    for one in found.lines:
        assert one.cautions, one.name
        assert any(
            "confirm with licensed practice and local codes" in text for text in one.cautions
        ), one.name
    assert any(text.startswith("Drilling") for text in found.cautions)
    assert any(text.startswith("Guy wires") for text in found.cautions)


def test_snow_without_doubt_is_height_over_rate(tmp_path):
    text = station_text(rate_m_a=0.6, rate_sigma_m_a=0.0, year_sigma_m_a=0.0, drift_m_a=0.0)
    description = described(tmp_path, text=text)
    description = replace(description, snow=replace(description.snow, storm_share=0.0))
    found = snow_of(description, storm_of(description))
    for one in found.passages:
        height = heights_of(description)[one.name]
        assert one.median_a == pytest.approx(min(height / 0.6, np.inf), rel=0.02)


def test_snow_comes_to_the_lowest_part_first_and_a_late_visit_is_bad(framed):
    found = snow_of(framed, storm_of(framed))
    heights = heights_of(framed)
    assert found.passages[0].name == min(heights, key=heights.get)
    assert visit_years(framed) == pytest.approx(0.98, abs=0.01)
    assert line(found, "box").state == "bad"
    assert line(found, "antenna").state == "good"


def test_melt_takes_legs_out(tmp_path):
    text = framed_text().replace("[snow]\nrate_m_a = 0.6", "[snow]\nmelt_m_a = 1.0")
    text = text.replace("drift_m_a = 0.1", "drift_m_a = 0.0").replace('"snow"', '"ice"', 1)
    text = text.replace('kind = "buried plate"', 'kind = "ice screw"')
    description = described(tmp_path, text=text)
    found = snow_of(description, storm_of(description))
    assert {one.name for one in found.melting} == {"legs", "mast", "guy anchors"}
    assert line(found, "mast still held").value == pytest.approx(1.5, rel=0.1)


def test_lines_judge_by_their_bars():
    assert at_least("p", "n", 2.0, 1.0, "").state == "good"
    assert at_least("p", "n", 1.1, 1.0, "", doubt=1.3).state == "doubt"
    assert at_least("p", "n", 0.9, 1.0, "").state == "bad"
    assert at_most("p", "n", np.nan, 1.0, "").state == "open"
    assert worst_state(["good", "open", "doubt"]) == "doubt"
    assert worst_state([]) == "good"
