"""The handbook: builds without a warning, asks nothing of the network, and tells the truth."""

import html.parser
import importlib.util
import re
import subprocess
import sys
from pathlib import Path

import pytest

from stakeline.workflows import series

ROOT = Path(__file__).parents[1]
DOCS = ROOT / "docs"
LOADS = {
    "script": "src",
    "img": "src",
    "iframe": "src",
    "source": "src",
    "embed": "src",
    "object": "data",
    "use": "href",
    "image": "href",
}


class Loads(html.parser.HTMLParser):
    """Gathers what a page loads by itself; plain links to follow are left aside."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        if tag in LOADS and attributes.get(LOADS[tag]):
            self.found.append(attributes[LOADS[tag]])
        loaded = {"stylesheet", "icon", "preload", "preconnect", "dns-prefetch", "modulepreload"}
        if tag == "link" and loaded & set((attributes.get("rel") or "").split()):
            self.found.append(attributes.get("href") or "")


def outside(text):
    """Return the addresses beyond the folder that a page would load."""
    page = Loads()
    page.feed(text)
    return [address for address in page.found if re.match(r"(?i)(https?:)?//", address)]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ('<script src="https://example.org/x.js"></script>', ["https://example.org/x.js"]),
        ('<link rel="stylesheet" href="//example.org/x.css">', ["//example.org/x.css"]),
        ('<img src="_static/x.svg"><a href="https://example.org">', []),
        ('<link rel="next" href="https://example.org">', []),
    ],
)
def test_loads_from_outside_are_seen(text, expected):
    assert outside(text) == expected


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Folder of the handbook, built anew; any warning is an error."""
    pytest.importorskip("furo")
    folder = tmp_path_factory.mktemp("handbook")
    command = [sys.executable, "-m", "sphinx", "-q", "-W", "--keep-going", "-b", "html"]
    command += ["-d", str(folder / "doctrees"), str(DOCS), str(folder / "html")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return folder / "html"


@pytest.mark.slow
def test_pages_load_nothing_from_outside(built):
    pages = sorted(built.rglob("*.html"))
    assert len(pages) >= 12
    found = {p.name: outside(p.read_text(encoding="utf-8")) for p in pages}
    assert {name: addresses for name, addresses in found.items() if addresses} == {}


@pytest.mark.slow
def test_style_sheets_load_nothing_from_outside(built):
    loads = re.compile(r"""(?:url\(|@import)\s*['"]?(?:https?:)?//""")
    sheets = sorted(built.rglob("*.css"))
    assert sheets
    assert [p.name for p in sheets if loads.search(p.read_text(encoding="utf-8"))] == []


@pytest.mark.slow
def test_every_format_is_on_the_page(built):
    page = (built / "formats.html").read_text(encoding="utf-8")
    specifications = sorted((ROOT / "src" / "stakeline" / "formats").glob("*/SPEC.md"))
    titles = [p.read_text(encoding="utf-8").splitlines()[0].lstrip("# ") for p in specifications]
    assert titles
    plain = html.unescape(re.sub(r"<[^>]+>", "", page))
    assert [title for title in titles if title.replace("`", "") not in plain] == []


def test_a_formula_becomes_a_drawing_without_background():
    place = DOCS / "_extensions" / "drawn_math.py"
    specification = importlib.util.spec_from_file_location("drawn_math", place)
    drawn_math = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(drawn_math)
    svg, depth = drawn_math.drawing(r"\frac{a < b}{2}")
    assert svg.startswith('<svg role="img" aria-label="\\frac{a &lt; b}{2}"')
    assert depth > 0
    assert "currentColor" in svg
    assert "#ffffff" not in svg
    assert "<style" not in svg


def test_every_format_has_a_specification():
    formats = ROOT / "src" / "stakeline" / "formats"
    folders = {p.parent for p in formats.glob("*/__init__.py")}
    assert [f.name for f in sorted(folders) if not (f / "SPEC.md").is_file()] == []


def options_of(*verb):
    """Return the long options that ``stakeline VERB --help`` names."""
    command = [sys.executable, "-m", "stakeline", *verb, "--help"]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    return set(re.findall(r"(?<![\w-])--[a-z]+", done.stdout)), done.stdout


def test_options_on_the_page_are_those_of_the_command():
    page = (DOCS / "reference" / "command-line.md").read_text(encoding="utf-8")
    documented = set(re.findall(r"^\| `(--[a-z]+)` \|", page, re.MULTILINE))
    offered, _ = options_of("position")
    assert documented == offered - {"--help", "--campaign"}


def test_verbs_and_exit_codes_on_the_page_are_those_of_the_command():
    page = (DOCS / "reference" / "command-line.md").read_text(encoding="utf-8")
    _, text = options_of()
    verbs = re.findall(r"^\| `([a-z]+) ", page, re.MULTILINE)
    assert verbs == re.findall(r"^  ([a-z]+)  +[A-Z]", text, re.MULTILINE)
    codes = re.findall(r"^\| (\d) \| ", page, re.MULTILINE)
    assert codes == re.findall(r"^ +(\d)  \w", text, re.MULTILINE)


def test_columns_on_the_page_are_those_of_the_table():
    page = (DOCS / "reference" / "results.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`.+?) \| (.*?) \|", page, re.MULTILINE)
    documented = [name for cell, _ in rows for name in re.findall(r"`(\w+)`", cell)]
    assert documented == list(series.UNITS)


def test_words_of_the_states_are_on_the_page_and_in_the_vocabulary():
    for page in ("reference/results.md", "vocabulary.md"):
        text = (DOCS / page).read_text(encoding="utf-8")
        for state in ("float", "integer-fixed", "code only", "no solution"):
            assert state in text, (page, state)
