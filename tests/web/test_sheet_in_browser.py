"""The sheet in a real browser at tablet size: typing survives reloads, no server, no network."""

import json

import pytest
from playwright.sync_api import expect

TABLET = {"width": 820, "height": 1180}
REST = "[data-field='entry.battery_rest_V']"
TICK = "[data-field='entry.box_vents']"
SAVED, KEPT = "[data-state=saved]", "[data-state=kept]"


@pytest.fixture
def tablet(browser, served):
    """A page of the sheet; fails on any error, and on any request that leaves this machine."""
    context = browser.new_context(viewport=TABLET, has_touch=True)
    page = context.new_page()
    page.troubles, page.asked = [], []
    page.on("pageerror", lambda problem: page.troubles.append(str(problem)))
    context.on("request", lambda request: page.asked.append(request.url))
    page.goto(f"{served.address}/commission/HV03")
    yield page
    assert page.troubles == []
    outside = [url for url in page.asked if not url.startswith((served.address, "data:"))]
    assert outside == []
    context.close()


def draft(served):
    path = served.root / "2-commission" / "HV03" / "draft.json"
    return json.loads(path.read_text("utf-8")) if path.exists() else {}


def test_a_reload_in_the_middle_of_typing_loses_nothing(tablet, served):
    tablet.locator(REST).press_sequentially("12.")
    tablet.reload()
    assert tablet.locator(REST).input_value() == "12."
    tablet.locator(REST).press("End")
    tablet.locator(REST).press_sequentially("71")
    tablet.reload()
    assert tablet.locator(REST).input_value() == "12.71"
    tablet.wait_for_selector(SAVED)
    assert draft(served)["entry.battery_rest_V"]["value"] == "12.71"


def test_with_the_server_gone_entries_stay_and_are_sent_when_it_is_back(tablet, served):
    tablet.wait_for_function("() => navigator.serviceWorker.controller !== null")
    tablet.reload()  # the worker keeps page, style and scripts of this load
    tablet.wait_for_selector(SAVED)
    served.stop()
    tablet.locator(REST).press_sequentially("12.6")
    tablet.locator(TICK).check()
    tablet.wait_for_selector(KEPT)
    assert "2 kept in this browser" in tablet.inner_text("#saved")
    tablet.reload()
    assert tablet.locator(REST).input_value() == "12.6"
    assert tablet.locator(TICK).is_checked()
    assert draft(served) == {}
    served.start()  # with a new token: the page has to fetch it
    expect(tablet.locator("#saved")).to_have_attribute("data-state", "saved", timeout=15000)
    assert draft(served)["entry.battery_rest_V"]["value"] == "12.6"
    assert draft(served)["entry.box_vents"]["value"] == "true"


def test_without_network_the_page_loads_and_keeps(tablet, served):
    tablet.wait_for_function("() => navigator.serviceWorker.controller !== null")
    tablet.reload()
    tablet.wait_for_selector(SAVED)
    tablet.context.set_offline(True)
    tablet.locator(REST).press_sequentially("12.5")
    tablet.reload()
    assert tablet.locator(REST).input_value() == "12.5"
    assert tablet.locator("h1").inner_text() == "HV03, set-up"
    tablet.context.set_offline(False)
    expect(tablet.locator("#saved")).to_have_attribute("data-state", "saved", timeout=15000)
    assert draft(served)["entry.battery_rest_V"]["value"] == "12.5"


def test_a_reading_is_judged_beside_it(tablet):
    tablet.locator(REST).fill("-12.7")
    said = tablet.locator("#row-battery_rest_V .said")
    expect(said).to_contain_text("polarity is swapped", timeout=15000)
    expect(tablet.locator("#row-battery_rest_V .accept")).to_be_visible()
    expect(tablet.locator("#site")).to_contain_text("do not leave yet")
    expect(tablet.locator("#freeze")).to_be_disabled()


def test_a_reason_can_be_given_for_what_is_missing(tablet, served):
    reason = tablet.locator("#row-photo_east .accept")
    expect(tablet.locator("#site")).to_contain_text("do not leave yet")
    expect(reason).to_be_hidden()
    tablet.locator("#reasons").click()
    expect(reason).to_be_visible()
    reason.locator("input").fill("camera froze")
    expect(tablet.locator("#first")).not_to_contain_text("from the east", timeout=15000)
    assert draft(served)["accept.photo_east"]["value"] == "camera froze"


def test_a_photograph_is_sent(tablet, served, tmp_path):
    picture = tmp_path / "north.jpg"
    picture.write_bytes(b"a picture")
    tablet.set_input_files("[data-photo=photo_north]", picture)
    expect(tablet.locator("#row-photo_north .kept")).to_contain_text("photos/photo_north_")
    name = draft(served)["photo.photo_north"]["value"]
    assert (served.root / "2-commission" / "HV03" / name).read_bytes() == b"a picture"


def test_everything_is_reached_by_keyboard_and_seen(tablet):
    tablet.keyboard.press("Tab")
    assert tablet.evaluate("document.activeElement.className") == "skip"
    tablet.locator(REST).focus()
    width = tablet.evaluate("getComputedStyle(document.activeElement).outlineWidth")
    assert width == "3px"


def test_fields_are_large_enough_for_gloves_and_fit_the_tablet(tablet):
    sizes = tablet.evaluate(
        "[...document.querySelectorAll('input:not([type=file]), button, select')]"
        ".filter(e => e.offsetParent)"
        ".map(e => [e.closest('label') && e.type === 'checkbox' ? e.closest('label') : e])"
        ".map(([e]) => e.getBoundingClientRect().height)"
    )
    assert min(sizes) >= 44.0  # CSS pixels; own bar, some 9 mm on a tablet
    assert tablet.evaluate("document.documentElement.scrollWidth <= window.innerWidth")
