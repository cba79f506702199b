"""Raw files from a store: copied once and whole, never over what is there."""

import fsspec
import pytest

from stakeline import cli
from stakeline.campaign.folders import create
from stakeline.errors import SettingsError
from stakeline.workflows import raw_store


@pytest.fixture
def campaign(tmp_path):
    root = tmp_path / "trial"
    create(root)
    return root


@pytest.fixture
def store():
    """Return a store in memory with two files of one station."""
    held = fsspec.filesystem("memory")
    held.pipe({"/bucket/HV01/a.rnx": b"first day", "/bucket/HV01/2031/b.rnx": b"second"})
    yield held
    held.rm("/bucket", recursive=True)


def test_files_are_copied_under_their_names_and_once(campaign, store):
    done = raw_store.run(campaign, "memory://bucket")
    assert done.problems == ()
    assert "2 copied, 0 were there" in done.text
    assert (campaign / "0-raw/HV01/a.rnx").read_bytes() == b"first day"
    assert (campaign / "0-raw/HV01/2031/b.rnx").read_bytes() == b"second"
    assert "0 copied, 2 were there" in raw_store.run(campaign, "memory://bucket").text


def test_what_is_there_is_never_changed(campaign, store):
    own = campaign / "0-raw" / "HV01" / "a.rnx"
    own.parent.mkdir()
    own.write_bytes(b"mine")
    done = raw_store.run(campaign, "memory://bucket")
    assert own.read_bytes() == b"mine"
    assert done.problems == (
        "0-raw/HV01/a.rnx has 4 bytes, in the store 9: left as it is; put one of them aside",
    )


def test_a_file_that_breaks_off_leaves_nothing_and_the_others_come(campaign, store, monkeypatch):
    whole = type(store).open

    def broken(self, path, *arguments, **named):
        if path.endswith("a.rnx"):
            raise OSError("connection lost")
        return whole(self, path, *arguments, **named)

    monkeypatch.setattr(type(store), "open", broken)
    done = raw_store.run(campaign, "memory://bucket")
    assert [("a.rnx" in line, "connection lost" in line) for line in done.problems] == [
        (True, True)
    ]
    names = [path.name for path in (campaign / "0-raw").rglob("*") if path.is_file()]
    assert names == ["b.rnx"]


def test_a_file_shorter_than_the_store_says_is_not_kept(campaign, store, monkeypatch):
    def found(self, path, **named):
        return {"/bucket/HV01/a.rnx": {"size": 99}}

    monkeypatch.setattr(type(store), "find", found)
    done = raw_store.run(campaign, "memory://bucket")
    assert "9 bytes came of 99" in done.problems[0]
    assert not (campaign / "0-raw/HV01/a.rnx").exists()


def test_a_folder_or_one_file_is_a_store_too(campaign, tmp_path):
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    (shelf / "c.rnx").write_bytes(b"c")
    raw_store.run(campaign, (shelf / "c.rnx").as_uri())
    assert (campaign / "0-raw" / "c.rnx").read_bytes() == b"c"


@pytest.mark.parametrize(
    ("address", "said"),
    [
        ("nosuch://bucket", "cannot be read as a store of files"),
        ("memory://empty", "holds no file"),
    ],
)
def test_a_store_that_is_none_is_said(campaign, address, said):
    with pytest.raises(SettingsError, match=said):
        raw_store.run(campaign, address)


def test_the_command_copies_first_tells_what_went_wrong_and_exits_with_1(campaign, store, capsys):
    own = campaign / "0-raw" / "HV01" / "a.rnx"
    own.parent.mkdir()
    own.write_bytes(b"mine")
    assert cli.run(["intake", str(campaign), "--raw-from", "memory://bucket"]) == 1
    said = capsys.readouterr()
    assert "2 files below memory://bucket: 1 copied, 1 were there" in said.out
    assert "in the store 9: left as it is" in said.err
    assert "b.rnx" in (campaign / "3-intake" / "manifest.csv").read_text("utf-8")
