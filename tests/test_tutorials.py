"""The tutorials: every block runs, and prints what stands on the page."""

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
_specification = importlib.util.spec_from_file_location(
    "tutorials_builder", ROOT / "builders" / "tutorials.py"
)
builder = importlib.util.module_from_spec(_specification)
_specification.loader.exec_module(builder)
PAGES = [page for page in sorted(builder.PAGES.glob("*.md")) if page.stem != "index"]


def test_there_are_three_and_the_index_names_them():
    index = (builder.PAGES / "index.md").read_text(encoding="utf-8")
    assert len(PAGES) == 3
    assert all(f"\n{page.stem}\n" in index for page in PAGES)


@pytest.mark.compiled
@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_a_page_prints_what_it_says(page, tmp_path):
    pytest.importorskip("xarray")
    text = page.read_text(encoding="utf-8")
    assert builder.executed(text, tmp_path) == text
    drawn = {path.name for path in tmp_path.glob("*.svg")}
    assert drawn == set(re.findall(r"_static/tutorials/([\w.-]+)", text))
    assert all((builder.FIGURES / name).is_file() for name in drawn)


def test_what_a_block_prints_is_put_below_it_in_place_of_what_stood_there(tmp_path):
    page = "```python\na = 1\n```\n\n```python\nprint(a)\n```\n\n```text\nold\n```\nend\n"
    found = builder.executed(page, tmp_path)
    assert found == page.replace("old", "1")
    assert builder.executed(found, tmp_path) == found


def test_a_block_that_fails_is_not_passed_over(tmp_path):
    with pytest.raises(NameError):
        builder.executed("```python\nno_such_name\n```\n", tmp_path)


def test_the_gallery_shows_figures_that_are_there_and_says_their_names():
    text = (ROOT / "docs" / "gallery.md").read_text(encoding="utf-8")
    shown = re.findall(r"\(_static/gallery/([\w-]+)\.svg\)", text)
    named = re.findall(r"^`(\w+/[\w/]+)`: ", text, re.MULTILINE)
    assert [name.replace("/", "_") for name in named] == shown
    assert len(shown) >= 10
    kept = {path.stem for path in (ROOT / "docs" / "_static" / "gallery").glob("*.svg")}
    assert kept == set(shown)
