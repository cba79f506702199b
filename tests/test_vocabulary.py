"""One word for one thing: the vocabulary page, and what must not stand in the sources."""

import dataclasses
import re
import subprocess
from pathlib import Path

import pytest

from stakeline import tables

ROOT = Path(__file__).parents[1]
VOCABULARY = ROOT / "docs" / "vocabulary.md"

NO_PLACE_OF_ONE_MACHINE = re.compile(
    r"(?<![\w.$}{])/(work|root|home|tmp|Users|mnt)/|[A-Z]:\\\\Users"
)
NO_PACKAGE_REGISTRY = re.compile(
    r"py[p]i\.(org|io)|pythonhoste[d]\.|anacond[a]\.(org|com)|npmj[s]\.|crate[s]\.io|"
    r"--(extra-)?inde[x]-url"
)
NO_EMPTY_NAME = re.compile(r"(^|/)(utils?|core|common|misc|helpers?)(\.py)?(/|$)")
UNIT_SUFFIX = re.compile(
    r"_(m|s|ns|deg|rad|Hz|hPa|Pa|K|degC|m2|m_s|m_a|m_d|m_s05|m_s15|gps|utc|rad_s|cycles|d)$"
)


def own_files():
    """Return the text files of the project that are kept, or about to be, in version control."""
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        ).stdout.split("\0")
    except (OSError, subprocess.CalledProcessError):  # an unpacked archive
        folders = ("src", "tests", "properties", "docs", "validation", "benchmarks", "design")
        listed = [p.relative_to(ROOT).as_posix() for f in folders for p in (ROOT / f).rglob("*")]
    suffixes = {".py", ".md", ".toml", ".cff", ".cfg", ".txt", ".css", ".html", ""}
    paths = [ROOT / name for name in listed if name and "_build" not in name]
    return [p for p in paths if p.suffix in suffixes and p.is_file() and p != Path(__file__)]


def places(pattern):
    """Return 'file:line: text' wherever the pattern stands in the project's own files."""
    found = []
    for path in own_files():
        for number, line in enumerate(path.read_text("utf-8", "replace").splitlines(), 1):
            if pattern.search(line):
                found.append(f"{path.relative_to(ROOT)}:{number}: {line.strip()[:100]}")
    return found


def terms():
    """Return (term, meaning) of the rows of the tables on the vocabulary page."""
    rows = re.findall(r"^\| (.+?) \| (.+?) \|$", VOCABULARY.read_text("utf-8"), re.MULTILINE)
    return [(a, b) for a, b in rows if a != "word" and not a.startswith("-")]


def test_own_files_are_found():
    names = {path.relative_to(ROOT).as_posix() for path in own_files()}
    assert {"src/stakeline/tables.py", "docs/vocabulary.md", "README.md", "Makefile"} <= names


@pytest.mark.parametrize(
    "pattern", [NO_PLACE_OF_ONE_MACHINE, NO_PACKAGE_REGISTRY], ids=["machine", "registry"]
)
def test_what_must_not_stand_anywhere(pattern):
    found = places(pattern)
    assert not found, "\n" + "\n".join(found)


@pytest.mark.parametrize(
    ("line", "pattern", "seen"),
    [
        ("open('/home/x')", NO_PLACE_OF_ONE_MACHINE, True),
        ("see /tmp/x", NO_PLACE_OF_ONE_MACHINE, True),
        ("tmp_path / 'x'", NO_PLACE_OF_ONE_MACHINE, False),
        ("docs/work/x", NO_PLACE_OF_ONE_MACHINE, False),
        ("src/stakeline/utils.py", NO_EMPTY_NAME, True),
        ("src/stakeline/common/x.py", NO_EMPTY_NAME, True),
        ("src/stakeline/commission.py", NO_EMPTY_NAME, False),
    ],
)
def test_patterns_see_what_they_should(line, pattern, seen):
    assert bool(pattern.search(line)) is seen


def test_no_module_without_a_meaning():
    names = [path.relative_to(ROOT).as_posix() for path in own_files() if path.suffix == ".py"]
    assert [name for name in names if NO_EMPTY_NAME.search(name)] == []


def test_terms_are_explained_once_and_in_order():
    words = [term.lower() for term, _ in terms()]
    assert len(words) > 40
    assert len(set(words)) == len(words)
    sections = VOCABULARY.read_text("utf-8").split("\n## ")[1:]
    assert len(sections) >= 3
    for section in sections:
        rows = [r for r in re.findall(r"^\| (.+?) \|", section, re.MULTILINE) if r[0] != "-"]
        inside = [row.lower() for row in rows if row != "word"]
        if "in the order of the work" not in section:
            assert inside == sorted(inside), "put the words in alphabetical order"


def test_the_eight_verbs_are_explained():
    verbs = ["plan", "commission", "intake", "position", "motion", "lakes", "decide", "report"]
    assert [term for term, _ in terms() if term in verbs] == verbs


def test_every_setting_is_explained():
    page = (ROOT / "docs" / "reference" / "settings.md").read_text("utf-8")
    missing = [f.name for f in dataclasses.fields(tables.Settings) if f"`{f.name}`" not in page]
    assert not missing, f"explain these on docs/reference/settings.md: {missing}"


def test_defaults_on_the_page_are_those_of_the_code():
    page = (ROOT / "docs" / "reference" / "settings.md").read_text("utf-8")
    rows = dict(re.findall(r"^\| `(\w+)` \| (.+?) \|", page, re.MULTILINE))
    for field in dataclasses.fields(tables.Settings):
        if isinstance(field.default, float):
            assert float(rows[field.name]) == field.default, field.name
        elif field.default:
            assert rows[field.name].strip("`") == str(field.default), field.name


def test_numbers_in_the_records_say_their_unit():
    without = []
    for name in ("Settings", "ObservationHeader", "Clocks", "Orbits"):
        for field in dataclasses.fields(getattr(tables, name)):
            number = field.type in (float, "float")
            if number and not UNIT_SUFFIX.search(field.name) and field.name != "version":
                without.append(f"{name}.{field.name}")
    assert without == []
