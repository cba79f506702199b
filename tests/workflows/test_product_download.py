"""One file from an archive: answers that fail, cut connections, archives that come back."""

import io
import socket
import sys
from pathlib import Path

import pytest

from stakeline.workflows.product_download import (
    NoAnswerError,
    NotThereError,
    Patience,
    fetch_into,
    fetch_text,
)

sys.path.insert(0, str(Path(__file__).parent))
from archive_server import Answer, archive

WHOLE = bytes(range(256)) * 40


@pytest.fixture(scope="module")
def served():
    with archive() as running:
        yield running


@pytest.fixture(autouse=True)
def clean(served):
    served.files.clear()
    served.asked.clear()


@pytest.fixture
def pauses():
    return []


@pytest.fixture
def fetch(served, pauses):
    def fetched(path="/a.sp3", attempts=3):
        file = io.BytesIO()
        fetch_into(file, served.address + path, Patience(5.0, attempts, pauses.append))
        return file.getvalue()

    return fetched


@pytest.mark.parametrize("chunked", [False, True])
def test_a_file_comes_whole(served, fetch, pauses, chunked):
    served.files["/a.sp3"] = Answer(WHOLE, chunked=chunked)
    assert fetch() == WHOLE
    assert pauses == []


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (404, "has no such file"),
        (410, "has no such file"),
        (401, "asks for a login"),
        (403, "asks for a login or forbids"),
        (418, "refuses it"),
    ],
)
def test_what_is_not_there_is_not_asked_for_again(served, fetch, code, said):
    served.files["/a.sp3"] = Answer(code=code)
    with pytest.raises(NotThereError, match=f"{said}.*{code}"):
        fetch()
    assert len(served.asked) == 1


def test_a_cut_connection_is_gone_on_with(served, fetch):
    served.files["/a.sp3"] = [Answer(WHOLE, cut_after=1000), Answer(WHOLE, cut_after=70), WHOLE]
    assert fetch() == WHOLE
    assert [asked for _, asked in served.asked] == [None, "bytes=1000-", "bytes=1070-"]


@pytest.mark.parametrize("chunked", [False, True])
def test_without_a_sign_that_it_is_the_same_it_begins_anew(served, fetch, chunked):
    cut = Answer(WHOLE, cut_after=1000, tag="", chunked=chunked)
    served.files["/a.sp3"] = [cut, Answer(WHOLE, tag="")]
    assert fetch() == WHOLE
    assert [asked for _, asked in served.asked] == [None, None]


def test_a_file_that_changed_meanwhile_is_the_new_one(served, fetch):
    new = WHOLE[::-1][:5000]
    served.files["/a.sp3"] = [Answer(WHOLE, cut_after=1000), Answer(new, tag='"two"')]
    assert fetch() == new


def test_what_is_longer_here_than_there_begins_anew(served, fetch):
    cut = Answer(WHOLE, cut_after=1000)
    served.files["/a.sp3"] = [cut, Answer(code=416), Answer(WHOLE[:500], tag='"two"')]
    assert fetch() == WHOLE[:500]


def test_an_archive_that_comes_back(served, fetch, pauses):
    busy = Answer(code=503, more={"Retry-After": "7"})
    served.files["/a.sp3"] = [Answer(code=500), busy, WHOLE]
    assert fetch() == WHOLE
    assert pauses == [1.0, 7.0]


def test_pauses_double_and_have_an_end(served, fetch, pauses):
    served.files["/a.sp3"] = Answer(code=429, more={"Retry-After": "Thu, 01 May 2098 00:00:00 GMT"})
    with pytest.raises(NoAnswerError, match="busy"):
        fetch(attempts=2)
    served.files["/a.sp3"] = Answer(code=502, more={"Retry-After": "soon"})
    with pytest.raises(NoAnswerError, match=r"busy or in repair \(it answers 502\); asked 9 times"):
        fetch(attempts=9)
    assert pauses == [60.0, 1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 60.0, 60.0]


def test_a_connection_that_is_always_cut_is_given_up(served, fetch):
    served.files["/a.sp3"] = Answer(WHOLE, cut_after=10, tag="")
    with pytest.raises(NoAnswerError, match=r"was cut after 10 of 10240 bytes; asked 3 times"):
        fetch()


def test_where_nobody_listens_it_is_said(pauses):
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{unused.getsockname()[1]}/a.sp3"
        with pytest.raises(NoAnswerError, match=r"cannot be reached \(.+\); asked 2 times"):
            fetch_into(io.BytesIO(), address, Patience(5.0, 2, pauses.append))
    assert pauses == [1.0]


def test_an_archive_that_never_answers_is_not_waited_for(pauses):
    with socket.socket() as silent:
        silent.bind(("127.0.0.1", 0))
        silent.listen()
        address = f"http://127.0.0.1:{silent.getsockname()[1]}/a.sp3"
        with pytest.raises(NoAnswerError, match=r"did not answer within 0.1 s"):
            fetch_into(io.BytesIO(), address, Patience(0.1, 2, pauses.append))


def test_a_folder_of_another_disk_is_an_archive_too(tmp_path, pauses):
    (tmp_path / "a.sp3").write_bytes(WHOLE)
    file, patience = io.BytesIO(), Patience(pause=pauses.append)
    fetch_into(file, (tmp_path / "a.sp3").as_uri(), patience)
    assert file.getvalue() == WHOLE
    with pytest.raises(NotThereError, match="no such file"):
        fetch_into(file, (tmp_path / "b.sp3").as_uri(), patience)


def test_a_small_text_is_read(served, pauses):
    served.files["/sums"] = b"0123  a.sp3\n"
    assert fetch_text(served.address + "/sums", Patience(pause=pauses.append)) == "0123  a.sp3\n"
