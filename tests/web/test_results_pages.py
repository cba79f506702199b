"""The pages of results: what they hold, what they refuse, and how they look to a browser."""

import csv
import io

import numpy as np
import pytest
import results_campaign as campaign_of
from PIL import Image

from stakeline.workflows.view_tables import sheet_text

BAD, LAKE = campaign_of.BAD, campaign_of.LAKE
HOUR_MS = 3_600_000
PLACES = [
    "/", "/intake", "/position", "/position/HV02", "/motion", "/motion/HV02", "/lakes",
    f"/lakes/{LAKE}", "/decide", "/report",
]  # fmt: skip
READY = "() => [...document.querySelectorAll('.chart')].every((c) => c.dataset.drawn)"


@pytest.mark.parametrize("place", PLACES)
def test_names_cannot_become_markup(results, place):
    answer = results.get(place)
    assert answer.status_code == 200
    assert BAD not in answer.text
    assert " style=" not in answer.text
    assert "unsafe" not in answer.headers["content-security-policy"]


def test_a_name_that_is_markup_has_its_page(results):
    assert "&lt;img src=x" in results.get("/").text
    assert results.get("/motion/%3Cimg%20src=x%20onerror=alert(1)%3E").status_code == 200


def test_the_network_says_what_is_out_of_date(results):
    text = results.get("/").text
    assert "5-motion/HV02/HV02_motion.parquet: maps/lakes.geojson has changed since" in text
    assert "98 days positions, 1 day whole, 1 day part of 100" in text
    assert "EPSG:3413" in text


def test_the_map_as_a_table(results):
    rows = list(csv.DictReader(io.StringIO(results.get("/map.csv").text)))
    (station,) = [row for row in rows if row["name"] == "HV02"]
    assert float(station["latitude_deg"]) == pytest.approx(79.18)
    assert float(station["speed_m_a"]) == 365.0
    outline = [row for row in rows if row["kind"] == "lake"]
    assert [row["longitude_deg"] for row in outline[::4]] == ["-22.950000"] * 2  # a closed ring
    first, last = outline[0], outline[-1]
    assert (first["x_km"], first["y_km"]) == (last["x_km"], last["y_km"])


def test_the_days_as_a_table(results):
    text = results.get("/days.csv?with=positions").text
    assert text.splitlines()[1:] == [
        "HV02,2031-05-01,1,positions", "HV02,2031-05-02,1,whole", "HV02,2031-05-03,1,part",
        "HV02,2031-05-04,97,positions",
    ]  # fmt: skip
    assert len(results.get("/days.csv").text.splitlines()) == 3


def test_no_cell_of_a_table_is_run_as_a_formula():
    texts = ("=1+1", "-HV", "HV02", "")
    assert [sheet_text(text) for text in texts] == ["'=1+1", "'-HV", "HV02", ""]


def drawn(results, **asked):
    answer = results.get("/motion/HV02/series/speed_m_d", params=asked)
    assert answer.status_code == 200
    both = np.frombuffer(answer.content, "<f8")
    return both[: len(both) // 2], both[len(both) // 2 :]


def test_a_series_comes_with_its_gap(results):
    time, values = drawn(results, spans=4000)
    assert len(time) == campaign_of.HOURS - 200 + 1
    assert np.isnan(time).sum() == np.isnan(values).sum() == 1
    assert np.nanmax(np.diff(time[~np.isnan(time)])) == 201 * HOUR_MS
    few, low = drawn(results, spans=10)
    assert len(few) < 100
    assert np.nanmin(low) == values[~np.isnan(values)].min()


def test_a_part_of_a_series(results):
    start = campaign_of.START // 10**6
    time, _ = drawn(results, **{"from": start + 100 * HOUR_MS, "to": start + 110 * HOUR_MS})
    assert np.array_equal((time - start) / HOUR_MS, np.arange(99, 112))


@pytest.mark.parametrize(
    ("place", "sentence"),
    [
        ("/motion/HV99", "no station"),
        ("/motion/HV02/series/none", "no series"),
        ("/motion/HV02/series/battery_V", "has no battery yet"),
        ("/motion/HV02/series/east?from=x", "whole number"),
        ("/motion/..%2F..", ""),
        ("/lakes/None", "no lake"),
        ("/decide/chart/none", "no chart"),
        ("/decide/chart/aligned?lake=None", "no effect"),
        ("/decide/chance.svg", "no drawing of chance"),
    ],
)
def test_what_is_not_there_is_said(results, place, sentence):
    answer = results.get(place)
    assert answer.status_code in (400, 404)
    assert sentence in answer.text


def test_aligned_speeds_step_at_the_onset(results):
    (trace,) = results.get(f"/decide/chart/aligned?lake={LAKE}").json()["traces"]
    after = dict(zip(trace["x"], trace["y"], strict=True))
    assert after[-5] == pytest.approx(0.0)
    assert after[5] == pytest.approx(10.0)


@pytest.mark.parametrize("name", ["effects", "choices"])
def test_changes_are_shown_beside_0(results, name):
    bars, zero = results.get(f"/decide/chart/{name}").json()["traces"]
    assert zero["x"] == [0.0, 0.0]
    assert zero["y"] == [bars["y"][0], bars["y"][-1]]


@pytest.fixture
def tab(browser, address):
    context = browser.new_context(viewport={"width": 820, "height": 1180})
    page = context.new_page()
    context.set_default_timeout(60_000)
    page.troubles, asked = [], []
    page.on("pageerror", lambda problem: page.troubles.append(str(problem)))
    page.on("console", lambda said: page.troubles.append(said.text) if said.type == "error" else 0)
    context.on("request", lambda request: asked.append(request.url))
    yield page
    assert page.troubles == []
    assert [url for url in asked if not url.startswith((address, "data:"))] == []
    context.close()


def test_every_chart_is_drawn_without_a_complaint(tab, address):
    for place in PLACES:
        tab.goto(address + place)
        tab.wait_for_function(READY)
        assert tab.locator("h1").count() == 1
        wide = tab.evaluate("() => document.documentElement.scrollWidth")
        assert wide <= 820


def test_a_view_has_an_address_and_a_keyboard(tab, address):
    tab.goto(f"{address}/motion/HV02?from=2031-05-05T00:00:00&to=2031-05-09T00:00:00")
    tab.wait_for_function(READY)
    assert int(tab.locator("[data-series]").first.get_attribute("data-points")) == 99
    tab.locator("[data-step=closer]").focus()
    tab.keyboard.press("Enter")
    tab.wait_for_function("() => location.search.includes('from=2031-05-06T00')")
    tab.locator("[data-step=all]").press("Enter")
    tab.wait_for_function("() => location.search === ''")


def test_what_is_seen_is_kept_as_a_file(tab, address, tmp_path):
    tab.goto(f"{address}/motion/HV02?from=2031-05-05T00:00:00&to=2031-05-05T12:00:00")
    tab.wait_for_function(READY)
    kept = {}
    for kind in ("SVG", "PNG", "CSV"):
        with tab.expect_download() as arriving:
            tab.locator(".keep").first.get_by_role("button", name=kind).press("Enter")
        kept[kind] = tmp_path / kind
        arriving.value.save_as(kept[kind])
    rows = kept["CSV"].read_text("utf-8").splitlines()
    assert rows[0] == "what,time_gps,m,low,high"
    assert len(rows) == 1 + 13  # hours of the span, both ends
    svg = kept["SVG"].read_text("utf-8")
    assert "js-line" not in svg  # nothing rests on the page's style
    assert "HV02: Position, east of the middle" in svg
    assert "rgb(0, 70, 110)" in svg  # the ink of the line
    with Image.open(kept["PNG"]) as picture:
        colours = {colour[:3] for _, colour in picture.convert("RGBA").getcolors(10**6)}
        assert {(255, 255, 255), (0, 70, 110)} <= colours
