"""The energy study of a described station, and the fast answer for a page."""

from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest

from stakeline.workflows.plan_description import describe_settings, describe_station
from stakeline.workflows.plan_survival import masses_of, plan_answer, study_energy, years_around

pytestmark = pytest.mark.compiled

EXAMPLE = Path(str(resources.files("stakeline.campaign").joinpath("templates", "plan_HV01.toml")))
YEARS = 10


@pytest.fixture(scope="module")
def told():
    return describe_station(EXAMPLE)


def test_the_masses_sum_to_the_bill(told):
    masses, design = masses_of(told), told.design
    panels = sum(group.count * group.mass_kg for group in design.panels)
    bill = sum(item.count * item.mass_kg for item in told.items)
    whole = masses.rest_kg + 10 * masses.string_kg + masses.turbine_kg + panels
    assert whole == pytest.approx(bill)


def test_the_answer_is_that_of_the_study(told):
    said = []
    study = study_energy(told, years=YEARS, progress=said.append)
    answer = plan_answer(told, YEARS)
    assert answer.chance == study.survival.chance
    assert answer.charge_band.shape == (5, 365)
    assert answer.lived.shape == (12,)
    assert answer.months[0] == 7
    assert len(said) == 5
    assert {one.words for one in study.hangs_on} >= {"the turbine dead from the first day"}
    assert study.sizing.front


def test_the_same_seed_gives_the_same_answer_and_parts_keep_the_weather(told):
    first, again = plan_answer(told, YEARS), plan_answer(told, YEARS)
    assert (first.charge_band == again.charge_band).all()
    battery = told.settings.battery.model_copy(update={"parallel": 2})
    small = describe_settings(told.settings.model_copy(update={"battery": battery}), told.path)
    assert years_around(small, YEARS) is years_around(told, YEARS)
    assert plan_answer(small, YEARS).charge_band.min() < first.charge_band.min()


def test_another_seed_is_other_weather(told):
    aim = told.settings.aim.model_copy(update={"seed": 2})
    other = describe_settings(told.settings.model_copy(update={"aim": aim}), told.path)
    assert (plan_answer(other, YEARS).charge_band != plan_answer(told, YEARS).charge_band).any()


def test_without_turbine_the_night_empties_the_bank(told):
    """Nor does the receiver save, as the example's does; then it lives without."""
    hungry = tuple(replace(load, saves_below=0.0) for load in told.design.loads)
    dark = replace(told, design=replace(told.design, turbine=None, loads=hungry))
    answer = plan_answer(dark, YEARS)
    assert answer.chance < 0.5
    assert answer.limiting_month in (12, 1, 2)
    assert "turbine" not in answer.mean_W
    first, again = answer.sentences
    assert first.startswith("Of the ")
    assert "dark years" in again
