"""The whole journey, small: a campaign is invented, all verbs are done, and the truth compared."""

import shutil

import numpy as np
import pytest

from stakeline.campaign.store import read_table
from stakeline.workflows import demo
from stakeline.workflows import run as journey_run
from stakeline.workflows.demo_compare import RECEIVER, TABLE, compared
from stakeline.workflows.invent import Order, build

pytestmark = [pytest.mark.journey, pytest.mark.compiled]
RUN = journey_run.run
SMALL = Order(days=150, stations=2, raw_days=1, raw_stations=1)


def blind_run(campaign, **settings):
    """Run all verbs while nothing that lies in the truth's folder can be read as what it was."""
    truth, aside = campaign / "truth", campaign.parent / "truth"
    shutil.move(truth, aside)
    for path in aside.rglob("*"):
        if path.is_file():
            spoilt = truth / path.relative_to(aside)
            spoilt.parent.mkdir(parents=True, exist_ok=True)
            spoilt.write_bytes(b"not the truth")
    report = RUN(campaign, **settings)
    shutil.rmtree(truth)
    shutil.move(aside, truth)
    return report


@pytest.fixture(scope="module")
def journey(tmp_path_factory):
    """Two stations for 150 days, one day from receiver files: folder, exit code, text, steps."""
    folder, said, told = tmp_path_factory.mktemp("demo") / "small", [], []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(demo.journey, "run", blind_run)
        code = demo.run(
            folder,
            SMALL,
            workers=1,
            progress=lambda *step: told.append(step),
            say=said.append,
        )
    return folder, code, "".join(said), told


def test_the_motion_is_found_again(journey):
    folder, code, _, _ = journey
    assert code == 0
    comparisons = compared(folder, SMALL, SMALL.invented())
    raw = {c.station: c for c in comparisons if c.source == RECEIVER}
    assert set(raw) == {"HV02", "HB01"}
    for comparison in raw.values():
        assert comparison.count > 2800
        # 8 cm: the bar of the demonstration; 15 mm rms level, 30 mm up: twice what real still
        # antennas scatter by (common practice, no source)
        assert comparison.largest_m.max() < demo.LARGEST_M
        assert (comparison.rms_m < [0.015, 0.015, 0.03]).all()
    assert np.ptp(raw["HV02"].true_m[:, 0]) > 0.4, "the ice moved half a metre that day"


def test_tables_hold_the_noise_they_say(journey):
    folder = journey[0]
    tables = [c for c in compared(folder, SMALL, SMALL.invented()) if c.source == TABLE]
    assert [c.station for c in tables] == ["HV02", "HV07", "HB01"]
    for comparison in tables:
        assert comparison.count > 100 * 24
        # intervals that hold between 85 and 99 %: the bar of positions from real receiver files
        assert 0.85 < comparison.cover.mean() < 0.99


def test_a_person_is_told(journey):
    folder, _, said, told = journey
    assert "From receiver files: 1 day from 2030-09" in said
    assert "no receiver file behind them" in said
    assert "Upper Halvard  from 2030-09-12" in said
    assert str(folder) in said
    assert told[-1][0] == told[-1][1], "the last step is the last of all"


def test_a_second_run_has_nothing_to_do(journey):
    report = journey_run.run(journey[0])
    assert report.verdict == "all is up to date"


def test_no_verb_reads_the_truth(journey):
    # all that was found was found while the truth was spoilt; here it is whole again
    folder = journey[0]
    assert b"not the truth" not in (folder / "truth" / "hourly" / "HV02.parquet").read_bytes()
    made = {path.relative_to(folder).parts[0] for path in folder.glob("[3-9]-*/*")}
    assert {"4-position", "5-motion", "6-lakes"} <= made
    assert "failed" not in (folder / "run.txt").read_text(encoding="utf-8")


def test_the_same_order_gives_the_same_bytes(journey, tmp_path):
    order = Order(days=150, stations=2, raw_days=0)
    build(tmp_path / "first", order)
    build(tmp_path / "again", order, workers=2)
    build(tmp_path / "other", Order(seed=7, days=150, stations=2, raw_days=0))
    first, again, other = (
        {p.relative_to(root): p.read_bytes() for p in root.rglob("*") if p.is_file()}
        for root in (tmp_path / "first", tmp_path / "again", tmp_path / "other")
    )
    assert first == again
    assert first.keys() == other.keys()
    constant = {name for name in first if first[name] == other[name]}
    # what chance does not touch: maps, the datum of the passes, places
    still = ("maps", "truth", "campaign.toml")
    assert all(name.parts[0] in still or name.name == "passes.toml" for name in constant), constant


def test_truth_is_of_one_piece(journey):
    folder = journey[0]
    hourly, _ = read_table(folder / "truth" / "hourly" / "HV02.parquet")
    exact, _ = read_table(folder / "truth" / "receiver" / "HV02.parquet")
    _, at, row = np.intersect1d(hourly["time_gps"], exact["time_gps"], return_indices=True)
    assert len(at) > 20
    for axis in "xyz":
        # the receiver's clock, under half a millisecond, moves the ice by less than a micrometre
        np.testing.assert_allclose(hourly[f"{axis}_m"][at], exact[f"{axis}_m"][row], atol=1e-6)
    parts = [name for name in hourly if name.endswith("_along_m")]
    assert {"flow_along_m", "tide_along_m", "response_along_m"} <= set(parts)
