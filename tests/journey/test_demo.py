"""The whole journey, small: receiver files are invented, read, positioned and compared."""

import numpy as np
import pytest

from stakeline.campaign.store import read_table
from stakeline.workflows import demo

pytestmark = [pytest.mark.journey, pytest.mark.compiled]


@pytest.fixture(scope="module")
def journey(tmp_path_factory):
    """One station for six hours: the folder, the exit code, what was said, the steps told."""
    folder, said, told = tmp_path_factory.mktemp("demo"), [], []
    code = demo.run(
        folder,
        seed=2031,
        progress=lambda *step: told.append(step),
        days=0.25,
        names=("HV01",),
        say=said.append,
    )
    return folder, code, "".join(said), told


def test_the_motion_is_found_again(journey):
    folder, code, _, _ = journey
    assert code == 0
    found, _ = read_table(folder / "positions.parquet")
    true, _ = read_table(folder / "truth" / "HV01.parquet")
    assert len(found["time_gps"]) == 720
    np.testing.assert_array_equal(found["time_gps"], true["time_gps"])
    error = np.stack([found[f"{axis}_m"] - true[f"{axis}_m"] for axis in "xyz"], axis=1)
    # 6 cm: the bar of the demonstration; 25 mm rms for a short arc, common practice, no source
    assert np.linalg.norm(error, axis=1).max() < 0.1
    assert np.sqrt((error**2).sum(axis=1).mean()) < 0.025
    assert np.ptp(true["up_m"]) > 0.3


def test_a_person_is_told(journey):
    folder, _, said, told = journey
    assert "HV01     east" in said
    assert "95 % interval holds" in said
    assert str(folder) in said
    assert [step[0] for step in told] == list(range(1, len(told) + 1))
    assert told[-1][0] == told[-1][1], "the last step is the last of all"


def test_everything_is_on_disk(journey):
    folder = journey[0]
    names = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}
    assert {"positions.parquet", "positions.json", "recovered.svg"} <= names
    assert "receivers/HV01/HV0100XXX_R_20311930000_01D_30S_MO.crx.gz" in names
    assert {"truth/HV01.parquet", "truth/HV01_slips.csv", "products/antennas.atx"} <= names
    assert sum(name.endswith("ORB.SP3.gz") for name in names) == 3
    figure = (folder / "recovered.svg").read_text("utf-8")
    assert "HV01: 1.1 m/d" in figure


def test_the_same_seed_gives_the_same_files(journey, tmp_path):
    again = demo._invent(tmp_path, 2031, 0.25, ("HV01",), lambda text: None)[0]
    for paths in again.values():
        for path in paths:
            first = journey[0] / path.relative_to(tmp_path)
            assert path.read_bytes() == first.read_bytes(), path.name
    other = demo._invent(tmp_path / "other", 2032, 0.25, ("HV01",), lambda text: None)[0]
    for old, new in zip(again["observations"], other["observations"], strict=True):
        assert old.read_bytes() != new.read_bytes()
