"""Figures by name: listed, drawn as wide as a column, refused where they would not be read."""

import functools
import io
import re

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from stakeline.campaign.folders import create, open_campaign
from stakeline.cli import stakeline
from stakeline.errors import SettingsError, StakelineError
from stakeline.report import style
from stakeline.report.typesetting import picture
from stakeline.workflows import paper_figures
from stakeline.workflows.paper_figures import draw_figure, figure_names, list_figures


@style.styled
def drawn(width_in=9.0, label="speed (m/d)", note="Grey: gaps."):
    figure = style.new_figure(width_in, 4.0, "HV05: speed")
    axis = figure.subplots()
    axis.plot([0.0, 1.0], [0.7, 0.8], color=style.DEEP)
    axis.set_xlabel(label)
    style.footnote(figure, note)
    return figure


@functools.cache
def drawing():
    return style.svg_bytes(drawn())


@pytest.fixture
def campaign(tmp_path, monkeypatch):
    create(tmp_path / "campaign")
    root = tmp_path / "campaign"
    for name in ("5-motion/figures/HV05_speed", "6-lakes/figures/routes", "1-plan/HV02/year"):
        path = root / f"{name}.svg"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(drawing())
    monkeypatch.setitem(paper_figures.DRAWN, "5-motion", lambda *_: {"HV05_speed": drawn()})
    monkeypatch.setitem(paper_figures.DRAWN, "6-lakes", lambda *_: {})
    return root


def width_pt(svg):
    return float(re.search(r'width="([\d.]+)pt"', svg.decode())[1])


def test_figures_are_listed_by_the_verb_that_drew_them(campaign):
    assert list_figures(campaign).text.splitlines() == [
        "plan/HV02/year", "motion/HV05_speed", "lakes/routes",
    ]  # fmt: skip


@pytest.mark.parametrize("width", list(paper_figures.WIDTHS_MM))
def test_a_figure_is_as_wide_as_asked_for_and_says_its_caption(campaign, tmp_path, width):
    out = tmp_path / "speed.svg"
    said = draw_figure(campaign, name="motion/HV05_speed", width=width, to=out)
    svg = out.read_bytes()
    assert width_pt(svg) == pytest.approx(paper_figures.WIDTHS_MM[width] / 25.4 * 72.0, abs=0.01)
    assert said.text.startswith("HV05: speed\nGrey: gaps.\n")
    assert b"Grey: gaps" not in svg
    assert b"speed (m/d)" in svg
    sizes = {float(size) for size in re.findall(rb"font(?:-size)?: ([\d.]+)px", svg)}
    assert max(sizes) == style.paper_letters_pt(paper_figures.WIDTHS_MM[width])


def test_outside_of_papers_figures_stay_as_they_were():
    before = drawing()
    with style.in_paper(85.0):
        style.svg_bytes(drawn())
    assert style.svg_bytes(drawn()) == before
    assert b"Grey: gaps" in before


def test_a_map_keeps_its_shape_and_a_chart_its_letters():
    with style.in_paper(85.0):
        chart = style.new_figure(9.0, 6.0, "").get_size_inches()
        sheet = style.new_figure(9.0, 6.0, "", one_shape=True).get_size_inches()
    assert sheet[1] / sheet[0] == pytest.approx(6.0 / 9.0)
    assert sheet[1] < chart[1] < 6.0


def test_a_picture_of_each_kind_has_the_size(campaign, tmp_path):
    svg = (campaign / "5-motion/figures/HV05_speed.svg").read_bytes()
    image = Image.open(io.BytesIO(picture(svg, 85.0, "png")))
    assert image.width == pytest.approx(85.0 / 25.4 * 600.0, abs=2.0)
    box = re.search(rb"/MediaBox *\[0 0 ([\d.]+)", picture(svg, 85.0, "pdf"))
    assert float(box[1]) == pytest.approx(85.0 / 25.4 * 72.0, abs=0.1)
    with pytest.raises(StakelineError, match="a picture is svg, pdf, png, not 'gif'"):
        picture(svg, 85.0, "gif")


def test_a_line_is_still_there_in_grey(campaign):
    svg = (campaign / "5-motion/figures/HV05_speed.svg").read_bytes()
    grey = np.asarray(Image.open(io.BytesIO(picture(svg, 40.0, "png"))).convert("L"))
    assert (grey < 100).any()  # DEEP on white: L* 28 of 100


def test_a_drawing_that_is_made_smaller_says_so_or_is_refused(campaign, tmp_path):
    out = tmp_path / "routes.svg"
    said = draw_figure(campaign, name="lakes/routes", width="two-columns", to=out)
    assert "6-lakes/figures/routes.svg as it is, its letters now 6.6 pt high" in said.text
    assert width_pt(out.read_bytes()) == pytest.approx(178.0 / 25.4 * 72.0, abs=0.01)
    with pytest.raises(SettingsError, match=r"letters would be 3\.2 pt high; give a wider"):
        draw_figure(campaign, name="lakes/routes", width="one-column", to=out)


def test_a_figure_that_does_not_fit_is_refused(campaign, tmp_path, monkeypatch):
    label = "far too long a label for one column " * 3
    monkeypatch.setitem(
        paper_figures.DRAWN, "5-motion", lambda *_: {"HV05_speed": drawn(label=label)}
    )
    with pytest.raises(SettingsError, match=r"reaches \d+ mm beyond its edge at 85 mm; give a"):
        draw_figure(campaign, name="motion/HV05_speed", width="one-column", to=tmp_path / "x.pdf")


def test_names_and_endings_that_are_not_known_are_told(campaign, tmp_path):
    with pytest.raises(SettingsError, match="there is no figure 'motion/HV06_speed'"):
        draw_figure(campaign, name="motion/HV06_speed", to=tmp_path / "x.svg")
    with pytest.raises(SettingsError, match=r"ends in \.svg, \.pdf, \.png"):
        draw_figure(campaign, name="motion/HV05_speed", to=tmp_path / "x.gif")


def test_every_station_and_lake_finds_its_own_drawing(campaign, monkeypatch):
    asked = []
    monkeypatch.setattr(paper_figures, "motion_figures", lambda _, name: asked.append(name))
    monkeypatch.setattr(paper_figures, "lake_figures", lambda _, name: asked.append(name))

    class Result:
        def __init__(self, name):
            self.station = self.name = name

    monkeypatch.setattr(paper_figures, "station_results", lambda _: [Result("HV05")])
    lakes = [Result("Upper"), Result("Upper_Halvard")]
    monkeypatch.setattr(paper_figures, "lake_results", lambda _: lakes)
    opened = open_campaign(campaign)
    for stem in ("HV05_speed", "map"):
        paper_figures._motion(opened, "", stem)
    paper_figures._lakes(opened, "", "Upper_Halvard_level")
    assert asked == ["HV05", paper_figures.TOGETHER, "Upper_Halvard"]
    assert paper_figures._lakes(opened, "", "routes") == {}
    assert next(one.path for one in figure_names(opened)) == "1-plan/HV02/year.svg"


def test_the_command_lists_draws_and_refuses(campaign, tmp_path):
    run = CliRunner().invoke
    listed = run(stakeline, ["report", str(campaign), "--figures"])
    assert "motion/HV05_speed" in listed.output
    out = tmp_path / "speed.pdf"
    options = ["--figure", "motion/HV05_speed", "--width", "two-columns", "--to", str(out)]
    drawn_by = run(stakeline, ["report", str(campaign), *options])
    assert drawn_by.exit_code == 0
    assert out.read_bytes().startswith(b"%PDF")
    wrong = run(stakeline, ["report", str(campaign), "--figures", "--release", str(tmp_path / "r")])
    assert "--release and --figures are different things" in wrong.output
    wrong = run(stakeline, ["report", str(campaign), "--width", "page"])
    assert "--width and --to: with --figure" in wrong.output
