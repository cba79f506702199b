"""The sheet as a page: what it shows, saves, judges and freezes, without a browser."""

import json
import re

TOKEN = {"x-stakeline-token": "a token"}


def save(client, **fields):
    """Save fields at rising times; dots in names are double underscores."""
    named = {
        name.replace("__", "."): {"value": str(value), "at": at}
        for at, (name, value) in enumerate(fields.items(), 10)
    }
    answer = client.post("/commission/HV03/entries", json={"fields": named}, headers=TOKEN)
    assert answer.status_code == 200, answer.text
    return answer.json()["kept"]


def verdict(client):
    answer = client.post("/commission/HV03/verdict", headers=TOKEN)
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_the_verbs_lead_on(client):
    text = client.get("/").text
    assert 'href="/commission"' in text
    assert 'href="/commission/HV03"' in client.get("/commission").text


def test_the_page_shows_the_sheet(client):
    text = client.get("/commission/HV03").text
    assert "HV03, set-up" in text
    assert 'data-field="entry.battery_rest_V"' in text
    assert 'data-field="entry.box_vents"' in text
    assert "Hydrogen" in text or "hydrogen" in text


def test_entries_come_back_and_the_newest_stays(client):
    assert save(client, entry__battery_rest_V="12.71", entry__box_vents="true") == 2
    old = {"entry.battery_rest_V": {"value": "99", "at": 1}}
    answer = client.post("/commission/HV03/entries", json={"fields": old}, headers=TOKEN)
    assert answer.json()["kept"] == 0
    text = client.get("/commission/HV03").text
    assert 'data-field="entry.battery_rest_V" value="12.71"' in text
    assert 'data-field="entry.box_vents" checked' in text


def test_what_is_typed_cannot_become_markup(client):
    save(client, entry__antenna_serial='"><script>alert(1)</script>', head__note="</textarea><b>")
    text = client.get("/commission/HV03").text
    assert "<script>alert" not in text
    assert "</textarea><b>" not in text


def test_readings_are_judged_as_in_a_file(client):
    save(client, head__time="2025-04-28T14:30", head__sky="clear", head__temperature_degC="-18")
    save(client, head__wind_m_s="5")
    save(client, entry__battery_rest_V="-12,7", entry__panel_south_open_V="24100")
    said = verdict(client)
    assert not said["may_leave"]
    assert "polarity is swapped" in said["findings"]["battery_rest_V"]["said"]
    assert "read in mV" in said["findings"]["panel_south_open_V"]["said"]
    assert said["bands"]["panel_south_open_V"].endswith(" V")
    assert ["Sky", "clear"] in said["conditions"]


def test_the_kind_chosen_decides_what_is_asked_where_a_station_stands(client, campaign):
    (campaign / "stations" / "HV03.toml").write_text(
        'station = "HV03"\n[[visit]]\ntime = 2025-04-28T14:30:00Z\nkind = "set-up"\n'
        '[visit.antenna]\ntype = "HALVARD-ICE1    NONE"\n[visit.height]\nmeasured_m = 1.5\n'
        'how = "vertical"\nfrom = "marker"\nto = "antenna reference point"\n', "utf-8"
    )  # fmt: skip
    save(client, head__time="2026-08-02T10:00", head__kind="retrieval")
    text = client.get("/commission/HV03").text
    assert 'data-field="entry.left_what"' in text
    assert 'data-field="entry.restarted_alone"' not in text
    assert "left_what" in verdict(client)["findings"]
    save(client, head__time="2026-08-02T10:00", head__kind="set-up")
    # nobody sets up what stands: the page stays a visit's
    text = client.get("/commission/HV03").text
    assert 'data-field="entry.found_tape_m"' in text
    assert 'data-field="entry.left_what"' not in text


def test_light_under_the_wrong_date_is_one_finding_with_its_reason(client):
    save(client, head__time="2025-12-28T14:30", head__sky="clear", head__temperature_degC="-18")
    save(
        client, head__wind_m_s="5", entry__panel_south_open_V="24.1", entry__panel_east_open_V="23"
    )
    said = verdict(client)
    assert said["findings"]["season"]["stops"]
    assert said["findings"]["panel_south_open_V"]["state"] == "explained"
    assert "look at the date" in said["first"][0]
    save(client, accept__season="clock tried against the phone")
    assert verdict(client)["findings"]["season"]["state"] == "accepted"


def test_unfinished_typing_is_no_trouble(client):
    save(client, head__time="2025-04-", head__temperature_degC="-", entry__battery_rest_V="12.")
    assert not verdict(client)["may_leave"]
    assert client.get("/commission/HV03").status_code == 200


def test_photographs_are_kept_beside_each_other(client, campaign):
    for data in (b"first", b"second"):
        place = "/commission/HV03/photo/photo_north?ending=JPG"
        assert client.put(place, content=data, headers=TOKEN).status_code == 200
    kept = sorted((campaign / "2-commission" / "HV03" / "photos").iterdir())
    assert len(kept) == 2
    assert verdict(client)["findings"]["photo_north"]["state"] == "good"
    for bad in ("photo_north?ending=exe", "..%2Fx?ending=jpg", "north?ending=jpg"):
        answer = client.put(f"/commission/HV03/photo/{bad}", content=b"x", headers=TOKEN)
        assert answer.status_code in (400, 404)


def test_a_visit_is_frozen_from_the_page(client, campaign):
    answer = client.post("/commission/HV03/freeze", json={}, headers=TOKEN)
    assert "say when the work ended" in answer.json()["problem"]
    save(client, head__time="2025-04-28T14:30", head__by="IS", head__wind_m_s="5")
    answer = client.post("/commission/HV03/freeze", json={}, headers=TOKEN)
    assert "give the air's temperature" in answer.json()["problem"]
    save(client, head__temperature_degC="-18", entry__antenna_type="HALVARD ICE1    NONE")
    text = client.post("/commission/HV03/freeze", json={}, headers=TOKEN).json()
    assert not text["frozen"]
    reasons = {f"accept__{key}": "left out in this test" for key in _stopping(client)}
    heights = {"entry__height_tape_m": "1.532", "entry__height_second_in": "1.532 m"}
    save(client, **reasons, **heights)
    missing = {f"accept__{key}": "left out in this test" for key in _stopping(client)}
    if missing:
        save(client, **missing)
    done = client.post("/commission/HV03/freeze", json={}, headers=TOKEN).json()
    assert done["frozen"], done["text"]
    record = campaign / "2-commission/HV03/visits/2025-04-28T143000Z/record.json"
    content = json.loads(record.read_text("utf-8"))
    assert content["taken"]["by"] == "IS"
    assert content["antenna_height_m"] == 1.532
    assert (campaign / "stations" / "HV03.toml").exists()


def _stopping(client):
    return [key for key, found in verdict(client)["findings"].items() if found["stops"]]


def _frozen(client):
    """Freeze a visit from the page, all that is missing left out with a reason."""
    save(client, head__time="2025-04-28T14:30", head__by="IS", head__wind_m_s="5")
    save(client, head__temperature_degC="-18", entry__antenna_type="HALVARD ICE1    NONE")
    save(client, entry__height_tape_m="1.532", entry__height_second_in="1.532 m")
    for _ in range(2):  # what is outside its band shows once what is missing has its reason
        save(client, **{f"accept__{key}": "left out in this test" for key in _stopping(client)})
    done = client.post("/commission/HV03/freeze", json={}, headers=TOKEN).json()
    assert done["frozen"], done["text"]
    return done


def amend(client, why):
    return client.post("/commission/HV03/amend", json={"why": why}, headers=TOKEN).json()


def test_a_frozen_visit_is_amended_from_the_page_and_both_stay_visible(client, campaign):
    assert len(_frozen(client)["visits"]) == 1
    assert verdict(client)["frozen"]
    assert "nothing to amend" in amend(client, "tape misread")["problem"]
    save(client, entry__height_tape_m="1.632", entry__height_second_in="1.632 m")
    assert (
        "this visit is frozen"
        in (client.post("/commission/HV03/freeze", json={}, headers=TOKEN).json()["problem"])
    )
    assert "needs its reason" in amend(client, "  ")["problem"]
    done = amend(client, "tape misread by 100 mm")
    for told in (done["visits"][0]["text"], client.get("/commission/HV03").text):
        assert "antenna height 1.532 m" in told
        assert "by IS: tape misread by 100 mm" in told
        assert "height_tape_m: 1.532 becomes 1.632" in told
    history = (campaign / "stations" / "HV03.toml").read_text("utf-8")
    assert "measured_m = 1.632" in history


def test_a_frozen_visit_is_taken_up_again_as_it_stands(client, campaign):
    name = _frozen(client)["visits"][0]["name"]
    photo = client.put("/commission/HV03/photo/photo_north?ending=jpg", content=b"n", headers=TOKEN)
    assert photo.status_code == 200
    save(client, entry__height_tape_m="1.632", entry__height_second_in="1.632 m")
    amend(client, "tape misread by 100 mm, picture added")
    before = client.get("/commission/HV03").text
    client.post("/commission/HV03/anew", json={}, headers=TOKEN)
    assert not verdict(client)["frozen"]
    answer = client.post("/commission/HV03/again", json={"visit": name}, headers=TOKEN)
    assert answer.json() == {"visit": name}
    assert _fields(client.get("/commission/HV03").text) == _fields(before)
    assert "nothing to amend" in amend(client, "nothing new")["problem"]
    unknown = {"visit": "../../stations"}
    answer = client.post("/commission/HV03/again", json=unknown, headers=TOKEN)
    assert "none such is frozen" in answer.json()["problem"]


def _fields(text):
    """Return what stands in the fields of a page."""
    return sorted(re.findall(r'data-field="[^"]+"(?: value="[^"]+"| checked)|photos/[^<"]+', text))


def test_a_record_that_somebody_changed_is_told_and_the_page_still_comes(client, campaign):
    _frozen(client)
    record = next((campaign / "2-commission" / "HV03" / "visits").rglob("record.json"))
    record.write_text(record.read_text("utf-8").replace("1.532", "1.533"), "utf-8")
    answer = client.get("/commission/HV03")
    assert answer.status_code == 200
    assert "was changed after it was frozen" in answer.text


def test_a_new_sheet_puts_the_old_entries_aside(client, campaign):
    save(client, entry__battery_rest_V="12.71")
    assert client.post("/commission/HV03/anew", json={}, headers=TOKEN).json() == {"begun": True}
    assert "12.71" not in client.get("/commission/HV03").text
    aside = list((campaign / "2-commission" / "HV03").glob("draft-until-*.json"))
    assert len(aside) == 1
    assert "12.71" in aside[0].read_text("utf-8")


def test_what_a_history_cannot_hold_is_not_frozen(client, campaign):
    save(client, head__time="2025-04-28T14:30", head__wind_m_s="5", head__temperature_degC="-18")
    reasons = {f"accept__{key}": "left out in this test" for key in _stopping(client)}
    save(client, **reasons)
    answer = client.post("/commission/HV03/freeze", json={}, headers=TOKEN)
    assert "must state its height" in answer.json()["problem"]
    assert not (campaign / "2-commission" / "HV03" / "visits").exists()


def test_what_is_not_there_is_said(client):
    answer = client.get("/commission/HV09")
    assert answer.status_code == 400
    assert "no plan of HV09" in answer.text
    assert client.get("/nowhere").status_code == 404
