"""Photographs in a release: carried as frozen, told where not, and laid back where they lay."""

import csv
import io

import pytest

from stakeline.campaign.folders import create, open_campaign
from stakeline.campaign.visit_record import amend, freeze
from stakeline.errors import SettingsError
from stakeline.workflows.commission_record import photo_rows
from stakeline.workflows.release_photographs import FOLDER, TABLE, photographs, put_back

VISIT = "2025-04-28T143000Z"
RECORDS = f"2-commission/HV03/visits/{VISIT}"


@pytest.fixture
def root(tmp_path):
    """Return a campaign with one frozen visit of three photographs, one of them not in it."""
    root = tmp_path / "campaign"
    create(root)
    away = tmp_path / "card" / "box.jpg"
    own = root / "2-commission/HV03/photos"
    photos = {"photo_north": own / "north.JPG", "photo_mast": own / "mast.png", "photo_box": away}
    for key, path in photos.items():
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(key.encode())
    rows, gone = photo_rows({k: str(p) for k, p in photos.items()}, root, root)
    assert not gone
    freeze(root / RECORDS, {"taken": {"photos": rows}})
    return root


def carried(root):
    """Return ({name: bytes}, {what: row of the table})."""
    files = {name: data for name, data, _ in photographs(open_campaign(root))}
    table = csv.DictReader(io.StringIO(files.pop(TABLE).decode()))
    return files, {row["what"]: row for row in table}


def test_photographs_come_along_by_visit(root):
    files, rows = carried(root)
    assert files == {f"{FOLDER}/HV03/{VISIT}/photo_mast.png": b"photo_mast",
                     f"{FOLDER}/HV03/{VISIT}/photo_north.jpg": b"photo_north"}  # fmt: skip
    assert rows["photo_north"]["state"] == "is as it was frozen"
    assert rows["photo_box"]["state"] == "lies outside of the campaign"
    assert rows["photo_box"]["campaign_file"] == ""  # no path of a machine


def test_what_is_gone_or_changed_is_told_and_not_carried(root):
    (root / "2-commission/HV03/photos/north.JPG").unlink()
    (root / "2-commission/HV03/photos/mast.png").write_bytes(b"another")
    files, rows = carried(root)
    assert files == {}
    assert rows["photo_north"]["state"] == "is gone"
    assert rows["photo_mast"]["state"] == "is not what it was when it was frozen"
    assert len(rows["photo_mast"]["sha256"]) == 64


def test_an_amended_photograph_stands_for_the_first(root):
    new = root / "2-commission/HV03/photos/north_again.jpg"
    new.write_bytes(b"sharper")
    rows, _ = photo_rows({"photo_north": str(new)}, root, root)
    amend(root / RECORDS, {"why": "blurred", "changes": {"photograph": ["", ""]}, "photos": rows})
    files, _ = carried(root)
    assert files[f"{FOLDER}/HV03/{VISIT}/photo_north.jpg"] == b"sharper"


def test_a_changed_record_and_the_settings(root):
    settings = (root / "campaign.toml").read_text()
    (root / "campaign.toml").write_text(settings + "\n[release]\nphotographs = false\n")
    files, rows = carried(root)
    assert files == {}
    assert rows["photo_north"]["state"] == "is left out by the settings"
    (root / RECORDS / "record.json").write_text("{}")
    files, rows = carried(root)
    assert files == {}
    assert f"{RECORDS}/record.json: was changed after it was frozen" in rows[""]["state"]


def test_laid_back_where_they_lay_and_nowhere_else(root, tmp_path):
    release = tmp_path / "release"
    for name, data, _ in photographs(open_campaign(root)):
        (release / name).parent.mkdir(parents=True, exist_ok=True)
        (release / name).write_bytes(data)
    put_back(tmp_path / "again", release)
    assert (tmp_path / "again/2-commission/HV03/photos/north.JPG").read_bytes() == b"photo_north"
    table = release / TABLE
    table.write_text(table.read_text().replace("2-commission/HV03/photos/mast", "../mast"))
    with pytest.raises(SettingsError, match="outside of the campaign"):
        put_back(tmp_path / "third", release)
