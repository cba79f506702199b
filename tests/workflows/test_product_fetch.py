"""Products of a campaign's days from an archive: checked, kept, carried; what lacks is told."""

import gzip
import hashlib
import sys
import zipfile
from pathlib import Path

import pytest

from stakeline import cli
from stakeline.errors import SettingsError
from stakeline.workflows.product_download import Patience
from stakeline.workflows.product_fetch import run
from stakeline.workflows.product_words import spans

sys.path.insert(0, str(Path(__file__).parent))
from archive_server import Answer, archive

DAYS = "[days]\nfirst = 2031-05-01\nlast = 2031-05-03\n"
NAMES = [f"HVL0OPSFIN_2031{doy}0000_01D_15M_ORB.SP3.gz" for doy in (121, 122, 123)]
ADDRESS = "/{gps_week}/" + NAMES[0].replace("121", "{doy}")


@pytest.fixture
def served():
    with archive() as running:
        yield running


@pytest.fixture(scope="module")
def orbits(sky, tmp_path_factory):
    """Orbit files of three days, packed."""
    path = tmp_path_factory.mktemp("orbits") / "day.sp3"
    found = []
    for day in range(3):
        sky.write_orbits(path, day, 1, step_s=7200)
        found.append(gzip.compress(path.read_bytes(), mtime=0))
    return found


@pytest.fixture
def place(tmp_path):
    """An empty campaign."""
    (tmp_path / "halvard" / "0-raw").mkdir(parents=True)
    text = '[campaign]\nname = "Halvard"\n[[station]]\nname = "HV01"\nraw = ["0-raw/HV01"]\n'
    (tmp_path / "halvard" / "campaign.toml").write_text(text, encoding="utf-8")
    return tmp_path / "halvard"


@pytest.fixture
def listed(place, served):
    """Write a centre list of orbits; further lines belong to that product."""

    def write(more="", days=DAYS, address=ADDRESS):
        path = place / "centres.toml"
        first = f'name = "orbits"\naddress = ["{served.address}{address}"]\n'
        path.write_text(f"{days}[[product]]\n{first}{more}", encoding="utf-8")
        return path

    return write


@pytest.fixture
def full(served, orbits):
    served.files |= {
        f"/2677/{name}": data for name, data in zip(NAMES, orbits, strict=True)
    }  # the week of 2031-05-01: 18743 days after 1980-01-06
    return served


PATIENCE = Patience(5.0, 2, lambda _: None)


def fetched(place, source, **more):
    return run(place, source, patience=PATIENCE, **more)


def kept(place):
    return sorted(path.name for path in (place / "products").iterdir())


def test_days_are_fetched_once_and_their_checksums_kept(place, listed, full, orbits):
    said = fetched(place, listed())
    assert said.problems == ()
    assert kept(place) == [*NAMES, "SHA256SUMS"]
    for name, data in zip(NAMES, orbits, strict=True):
        assert (place / "products" / name).read_bytes() == data
        row = f"{hashlib.sha256(data).hexdigest()}  {name}\n"
        assert row in (place / "products" / "SHA256SUMS").read_text()
    assert "orbits: 3 fetched" in said.text
    full.asked.clear()
    assert "orbits: 3 were there\n" in fetched(place, listed()).text
    assert full.asked == []


def test_a_damaged_file_is_fetched_anew(place, listed, full, orbits):
    fetched(place, listed())
    (place / "products" / NAMES[1]).write_bytes(orbits[1][:100])
    full.asked.clear()
    assert "orbits: 1 fetched" in fetched(place, listed()).text
    assert len(full.asked) == 1
    assert (place / "products" / NAMES[1]).read_bytes() == orbits[1]


def test_a_missing_day_is_told_and_the_rest_goes_on(place, listed, full):
    del full.files[f"/2677/{NAMES[1]}"]
    (problem,) = fetched(place, listed()).problems
    assert "orbits: missing 2031-05-02: the archive has no such file (it answers 404)" in problem
    assert kept(place) == [NAMES[0], NAMES[2], "SHA256SUMS"]


def test_the_second_address_is_asked_where_the_first_has_it_not(place, listed, full, orbits):
    other = "HVL0OPSRAP_20311220000_01D_15M_ORB.SP3.gz"
    del full.files[f"/2677/{NAMES[1]}"]
    full.files[f"/rapid/{other}"] = orbits[1]
    path = listed()
    text = path.read_text().replace(
        'gz"]', f'gz", "{full.address}/rapid/{other.replace("122", "{doy}")}"]'
    )
    path.write_text(text)
    assert fetched(place, path).problems == ()
    assert other in kept(place)
    full.asked.clear()
    fetched(place, path)
    assert full.asked == []


@pytest.mark.parametrize("algorithm", ["md5", "sha1", "sha256", "sha512"])
def test_a_checksum_that_differs_throws_the_file_away(place, listed, full, orbits, algorithm):
    sums = [hashlib.new(algorithm, data).hexdigest() for data in orbits]
    wrong = sums[2][::-1]
    rows = [f"{a} *{b}\n" for a, b in zip([sums[0], sums[1], wrong], NAMES, strict=True)]
    full.files["/2677/SUMS"] = "".join(rows).encode()
    more = f'checksums = "{full.address}/{{gps_week}}/SUMS"\n'
    (problem,) = fetched(place, listed(more)).problems
    assert "missing 2031-05-03: its checksum is not the one expected; it was thrown" in problem
    assert kept(place) == [*NAMES[:2], "SHA256SUMS"]
    assert [path for path, _ in full.asked].count("/2677/SUMS") == 1


def test_a_list_of_checksums_that_is_not_there_is_told(place, listed, full, orbits):
    sums = hashlib.sha256(orbits[0]).hexdigest()
    full.files[f"/{NAMES[0]}.sum"] = f"{sums}\n".encode()  # a sum alone, for one file
    full.files[f"/{NAMES[1]}.sum"] = f"{sums}  other.gz\n".encode()
    more = f'checksums = "{full.address}/{{file}}.sum"\n'
    second, first = sorted(fetched(place, listed(more)).problems)
    assert "missing 2031-05-03: its list of checksums: the archive has no such file" in first
    assert "missing 2031-05-02: the archive's list of checksums does not name it" in second
    assert kept(place) == [NAMES[0], "SHA256SUMS"]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"<html><body>log in</body></html>", "what came is no product (found: "),
        (b"", "what came is no product"),
        (gzip.compress(b"x" * 5000, 0)[:-20], "its packed data end early"),
        (gzip.compress(b"x" * 5000)[:-20], "it cannot be unpacked (found damaged packed data)"),
    ],
    ids=["login", "empty", "short", "damaged"],
)
def test_what_is_no_product_is_not_kept(place, listed, full, content, said):
    full.files[f"/2677/{NAMES[0]}"] = content
    (problem,) = fetched(place, listed()).problems
    assert f"missing 2031-05-01: {said}" in problem
    assert NAMES[0] not in kept(place)


def test_never_half_a_file(place, listed, full, orbits):
    full.files[f"/2677/{NAMES[0]}"] = Answer(orbits[0], cut_after=50, tag="")
    (problem,) = fetched(place, listed()).problems
    assert "was cut after 50 of" in problem
    assert kept(place) == [*NAMES[1:], "SHA256SUMS"]


def test_an_archive_that_is_silent_is_left_alone(place, listed, full):
    for name in NAMES:
        full.files[f"/2677/{name}"] = Answer(code=503)
    days = DAYS.replace("05-03", "05-09")
    said = fetched(place, listed(days=days)).problems
    assert "missing 2031-05-01 to 2031-05-03: the archive is busy" in said[0]
    assert len(said) == 2  # the next days answer 404, of week 2678 too: no longer asked
    assert "2031-05-04 to 2031-05-09: the archive localhost" in said[1]
    assert len(full.asked) == 3 * PATIENCE.attempts


def test_one_file_for_all_days(place, listed, full, orbits):
    full.files["/all.sp3.gz"] = orbits[0]
    good, bad = hashlib.sha256(orbits[0]).hexdigest(), "0" * 64
    (problem,) = fetched(place, listed(f'sha256 = "{bad}"', "", "/all.sp3.gz")).problems
    assert "orbits: missing the file: its checksum is not" in problem
    assert fetched(place, listed(f'sha256 = "{good}"', "", "/all.sp3.gz")).problems == ()
    assert kept(place) == ["SHA256SUMS", "all.sp3.gz"]


def test_receiver_files_say_the_days(place, listed, full, sky):
    sky.write_receiver_file(place / "0-raw" / "HV01" / "a.rnx", sky.times(86400, 2 * 86400, 3600))
    del full.files[f"/2677/{NAMES[2]}"]
    said = fetched(place, listed(days=""))
    assert said.problems == ()  # missed beside the data only
    assert "for 1 days and 2 beside them" in said.text
    assert "missing 2031-05-03: the archive has no such file" in said.text
    assert "only the ends of a day need it" in said.text
    assert kept(place) == [*NAMES[:2], "SHA256SUMS"]


def test_where_nothing_says_the_days_they_are_asked_for(place, listed):
    with pytest.raises(SettingsError, match=r"name them in the list: \[days\]"):
        fetched(place, listed(days=""))


def test_two_files_of_one_name_are_refused(place, listed):
    with pytest.raises(SettingsError, match=r"both become all\.sp3"):
        fetched(place, listed(address="/{doy}/all.sp3"))
    with pytest.raises(SettingsError, match="does not end in a plain file name"):
        fetched(place, listed(address="/{doy}/"))


def test_a_bundle_brings_all_where_no_archive_is(place, listed, full, tmp_path):
    bundle = tmp_path / "field.zip"
    assert "field.zip: 3 files" in fetched(place, listed(), bundle=bundle).text
    first = bundle.read_bytes()
    fetched(place, listed(), bundle=bundle)
    assert bundle.read_bytes() == first
    full.asked.clear()
    before = {name: (place / "products" / name).read_bytes() for name in kept(place)}
    (place / "products" / NAMES[0]).unlink()
    (place / "products" / NAMES[1]).write_bytes(b"half")
    said = fetched(place, bundle)
    assert (said.problems, full.asked) == ((), [])
    assert "2 files brought in, 1 were there" in said.text
    assert {name: (place / "products" / name).read_bytes() for name in kept(place)} == before


def test_a_bundle_brings_in_nothing_damaged_and_overwrites_nothing(place, listed, full, tmp_path):
    bundle = tmp_path / "field.zip"
    fetched(place, listed(), bundle=bundle)
    data = bytearray(bundle.read_bytes())
    data[200] ^= 1  # inside the first member
    bundle.write_bytes(data)
    for name in kept(place):
        (place / "products" / name).unlink()
    (place / "products" / NAMES[1]).write_bytes(b"mine")
    damaged, other = fetched(place, bundle).problems
    assert f"{NAMES[0]} is damaged or missing; copy the bundle once more" in damaged
    assert f"{NAMES[1]} is there with other content" in other
    assert (place / "products" / NAMES[1]).read_bytes() == b"mine"
    assert NAMES[0] not in kept(place)


def test_another_archive_is_no_bundle(place, tmp_path):
    path = tmp_path / "other.zip"
    with zipfile.ZipFile(path, "w") as other:
        other.writestr("a.txt", "Halvard")
    with pytest.raises(SettingsError, match="holds no SHA256SUMS; give a bundle written with"):
        fetched(place, path)
    with pytest.raises(SettingsError, match="is a bundle already"):
        fetched(place, path, bundle=tmp_path / "b.zip")


def test_intake_fetches_first_and_says_what_is_missing(place, listed, full, capsys):
    del full.files[f"/2677/{NAMES[1]}"]
    source = str(listed())
    assert cli.run(["intake", str(place), "--products", source]) == 1
    out, err = capsys.readouterr()
    assert "stakeline: orbits: missing 2031-05-02" in err
    assert "sp3: 2 files" in out
    assert cli.run(["intake", str(place), "--bundle", "x"]) == 2
    assert "--bundle goes with --products LIST" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("days", "said"),
    [
        ([], ""),
        (["2031-05-01"], "2031-05-01"),
        (["2031-05-03", "2031-05-01", "2031-05-02"], "2031-05-01 to 2031-05-03"),
        (["2031-04-30", "2031-05-01", "2031-05-03"], "2031-04-30 to 2031-05-01, 2031-05-03"),
    ],
)
def test_days_are_told_as_spans(days, said):
    assert spans(days) == said


def test_of_many_spans_the_rest_is_counted():
    days = [f"20{year}-01-01" for year in range(10, 35)]
    assert spans(days).endswith("2029-01-01 and 5 more spans")
