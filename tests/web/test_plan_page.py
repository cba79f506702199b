"""The plan page: other numbers are answered and kept, but never over a plan that stands."""

import tomllib

import pytest

from stakeline.campaign.station_file import read_station_file
from stakeline.errors import SettingsError
from stakeline.workflows.view_plan import changed, knobs, save_plan

TOKEN = {"x-stakeline-token": "a token"}


def post(client, path, **body):
    return client.post(f"/plan/HV03/{path}", json=body, headers=TOKEN)


def test_the_page_shows_the_numbers(client):
    assert 'href="/plan/HV03"' in client.get("/plan").text
    text = client.get("/plan/HV03").text
    for key in ("site.latitude_deg", "battery.parallel", "panel.0.count", "load.0.power_W"):
        assert f'data-knob="{key}"' in text
    assert 'id="when"' in text  # of the first failure and of waking again


def test_the_list_says_what_the_verb_said(client, campaign):
    assert client.get("/plan").text.count("Not worked out yet") == 2  # HV01 and HV03
    folder = campaign / "1-plan"
    (folder / "HV03").mkdir(parents=True)
    (folder / "HV03" / "page.txt").write_text("HV03  79 N\nReady to build <b>.\n", "utf-8")
    (folder / "network.txt").write_text("round of visits\n", "utf-8")
    text = client.get("/plan").text
    assert "Ready to build &lt;b&gt;." in text
    assert "<pre>round of visits" in text
    assert text.count("Not worked out yet") == 1


def test_nothing_changed_is_the_same_plan(campaign):
    told = read_station_file(campaign / "plans" / "HV03.toml")
    assert changed(campaign, "HV03", {}) == told
    other = changed(campaign, "HV03", {"panel.0.count": 4, "site.latitude_deg": 71.5})
    assert (other.panel[0].count, other.site.latitude_deg) == (4, 71.5)
    assert other.panel[1:] == told.panel[1:]


def test_a_saved_plan_reads_back_as_it_was_changed(client, campaign):
    changes = {"battery.parallel": 6, "load.0.power_W": 2.5}
    answer = post(client, "save", changes=changes, name="HV88")
    assert answer.json() == {"path": "plans/HV88.toml"}
    path = campaign / "plans" / "HV88.toml"
    assert tomllib.loads(path.read_text("utf-8"))["battery"]["parallel"] == 6
    expected = changed(campaign, "HV03", changes).model_copy(update={"name": "HV88"})
    assert read_station_file(path) == expected


@pytest.mark.parametrize("name", ["HV03", "../x", "hv99", ""])
def test_other_names_are_refused(campaign, name):
    before = (campaign / "plans" / "HV03.toml").read_bytes()
    with pytest.raises(SettingsError, match=r"stands there already|expected four capitals"):
        save_plan(campaign, "HV03", {}, name)
    assert (campaign / "plans" / "HV03.toml").read_bytes() == before


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"site.elevation_m": 5}, "cannot be changed here"),
        ({"panel.0.count": True}, "cannot be changed here"),
        ({"panel.0.count": "4"}, "cannot be changed here"),
        ({"panel.0.count": 999}, "panel.0.count = 999"),
        ([], "expected changes"),
    ],
)
def test_impossible_numbers_are_said(client, changes, sentence):
    answer = post(client, "save", changes=changes, name="HV88")
    assert answer.status_code == 400
    assert sentence in answer.json()["problem"]


def test_saving_needs_the_token(client, campaign):
    answer = client.post("/plan/HV03/save", json={"changes": {}, "name": "HV88"})
    assert answer.status_code == 403
    assert not (campaign / "plans" / "HV88.toml").exists()


def test_every_number_has_a_place(campaign):
    assert len({knob.key for knob in knobs(campaign, "HV03")}) == len(knobs(campaign, "HV03"))


@pytest.mark.compiled
def test_another_number_is_answered_at_once_and_kept_in_the_address(browser, served):
    context = browser.new_context(viewport={"width": 820, "height": 1180})
    page, troubles, asked = context.new_page(), [], []
    page.on("pageerror", lambda problem: troubles.append(str(problem)))
    context.on("request", lambda request: asked.append(request.url))
    page.goto(f"{served.address}/plan/HV03")
    page.wait_for_selector("[data-answered='1']", timeout=60_000)
    first = page.locator("#mass").inner_text()
    page.locator("[data-knob='battery.parallel']").fill("9")
    page.wait_for_selector("[data-answered='2']")
    assert page.locator("#mass").inner_text() != first
    assert "%" in page.locator("#chance").inner_text()
    assert "battery.parallel=9" in page.url
    page.reload()
    page.wait_for_selector("[data-answered='1']")
    assert page.locator("[data-knob='battery.parallel']").input_value() == "9"
    assert troubles == []
    assert all(url.startswith((served.address, "data:", "blob:")) for url in asked)
    context.close()
