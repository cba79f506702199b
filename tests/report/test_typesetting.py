"""Sheets: same input same bytes, the numbers stand in them, what cannot be set says why."""

import re
import subprocess

import pytest

from stakeline.errors import StakelineError
from stakeline.report.typesetting import templates, typeset

DRAWING = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="40" height="10">'
    b'<text x="1" y="8" font-family="DejaVu Sans" font-size="8">88.5 W</text></svg>'
)


def words(pdf, tmp_path):
    """Return the text of a PDF as a reader finds it; skips where the program is not there."""
    path = tmp_path / "sheet.pdf"
    path.write_bytes(pdf)
    try:
        done = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, check=True)
    except FileNotFoundError:
        pytest.skip("pdftotext is not installed")
    return done.stdout.decode()


def test_same_input_same_bytes_and_other_input_others():
    data = {"title": "HV01", "paragraphs": ["Mass 412.5 kg at -73 °C, 38.6 m/s."]}
    first = typeset("letter", data)
    assert first.startswith(b"%PDF-1.7")
    assert typeset("letter", data) == first
    assert typeset("letter", {**data, "title": "HV02"}) != first


def test_what_is_given_is_what_is_read(tmp_path):
    data = {"title": "HV01", "subtitle": "79.1 N", "foot": "kept", "paragraphs": ["412.5 kg (α)"]}
    text = words(typeset("letter", data), tmp_path)
    for wanted in ("HV01", "79.1 N", "kept", "412.5 kg (α)", "1/1"):
        assert wanted in text


def test_figures_keep_their_text(tmp_path):
    data = {"title": "HV01", "figures": ["one.svg"]}
    assert "88.5 W" in words(typeset("letter", data, assets={"one.svg": DRAWING}), tmp_path)


def test_markup_in_a_text_is_text(tmp_path):
    text = words(typeset("letter", {"title": "#panic()", "paragraphs": ["*a* $x$ #b"]}), tmp_path)
    assert "#panic()" in text
    assert "*a* $x$ #b" in text


def test_an_unknown_sheet_names_those_there_are():
    with pytest.raises(StakelineError, match=r"no sheet 'nothing'; there are .*letter"):
        typeset("nothing", {})
    assert "look" not in templates()


def test_what_is_missing_is_told():
    with pytest.raises(StakelineError, match=re.escape("sheet 'letter' cannot be set:")) as told:
        typeset("letter", {})
    assert "title" in str(told.value)
    assert "/tmp" not in str(told.value)


def test_what_json_has_not_is_refused():
    with pytest.raises(StakelineError, match="None where there is nothing"):
        typeset("letter", {"title": "HV01", "mass": float("nan")})


@pytest.mark.parametrize("name", ["../a.svg", "data.json", "look.typ", "a/b.svg"])
def test_a_figure_has_a_plain_name_of_its_own(name):
    with pytest.raises(StakelineError, match="plain file name"):
        typeset("letter", {"title": "HV01"}, assets={name: DRAWING})
