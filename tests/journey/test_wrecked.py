"""Everything goes wrong that can: the run reaches its end and says what it found."""

import csv

import pytest

from stakeline.workflows import demo
from stakeline.workflows.invent import Order
from stakeline.workflows.plant import found_by_intake

pytestmark = [pytest.mark.journey, pytest.mark.compiled, pytest.mark.slow]


@pytest.fixture(scope="module")
def wreck(tmp_path_factory):
    """The scenario in full: folder, exit code, what was said."""
    folder, said = tmp_path_factory.mktemp("wrecked") / "campaign", []
    code = demo.run(folder, Order(scenario="wrecked"), say=said.append)
    return folder, code, "".join(said)


def planted(folder):
    with (folder / "truth" / "planted.csv").open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_the_run_reaches_its_end(wreck):
    _, code, said = wreck
    assert code == 0
    assert "Planted mistakes" in said


def test_every_case_of_the_catalogue_is_planted(wreck):
    cases = {int(row["case"]) for row in planted(wreck[0])}
    assert cases == set(range(1, 46))


def test_intake_finds_what_it_can_find(wreck):
    wanted, found = found_by_intake(wreck[0])
    assert len(wanted) > 15
    assert all(row["sign"] for row in wanted)
    assert found == wanted
