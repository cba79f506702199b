"""Who is let in: this machine by its own name, writes with the token; nothing from outside."""

import re

import pytest

TOKEN = {"x-stakeline-token": "a token"}
PLACE = "/commission/HV03/entries"
FIELDS = {"fields": {"entry.battery_rest_V": {"value": "12.7", "at": 1}}}


@pytest.mark.parametrize("host", ["localhost:4180", "127.0.0.1:4180", "[::1]:4180"])
def test_own_names(client, host):
    assert client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["example.org", "localhost", "localhost:80", "evil.localhost:4180", ""]
)
def test_other_names_are_refused(client, host):
    answer = client.get("/", headers={"host": host})
    assert answer.status_code == 421
    assert "use localhost" in answer.text


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 403),
        ({"x-stakeline-token": "another"}, 403),
        (TOKEN, 200),
        (TOKEN | {"origin": "http://localhost:4180"}, 200),
        (TOKEN | {"origin": "http://example.org"}, 403),
        (TOKEN | {"origin": "null"}, 403),
    ],
)
def test_writes_need_the_token_and_the_own_origin(client, campaign, headers, status):
    assert client.post(PLACE, json=FIELDS, headers=headers).status_code == status
    draft = campaign / "2-commission" / "HV03" / "draft.json"
    assert draft.exists() == (status == 200)


@pytest.mark.parametrize(
    "place", ["/", "/commission", "/commission/HV03", "/none", "/static/look.css"]
)
def test_every_answer_has_the_policy(client, place):
    headers = client.get(place).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("place", ["/", "/commission", "/commission/HV03"])
def test_pages_ask_nothing_of_the_network(client, place):
    text = client.get(place).text
    assert not re.findall(r"""(?:src|href|action)=["'](?:https?:)?//""", text)
    assert " style=" not in text
    assert not re.findall(r"<script(?![^>]*\bsrc=)", text)
    assert not re.findall(r"\son[a-z]+=", text)


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"entry.../../x": {"value": "1", "at": 1}}, "expected head, entry or accept"),
        (
            {"photo.photo_north": {"value": "/etc/passwd", "at": 1}},
            "expected head, entry or accept",
        ),
        ({"entry.x": {"value": "1" * 3000, "at": 1}}, "up to 2000 characters"),
        ({"entry.x": "1"}, "expected head, entry or accept"),
        ([], "expected fields"),
    ],
)
def test_what_is_no_field_is_refused(client, fields, sentence):
    answer = client.post(PLACE, json={"fields": fields}, headers=TOKEN)
    assert answer.status_code == 400
    assert sentence in answer.json()["problem"]


def test_too_much_is_refused(client):
    answer = client.post(PLACE, content=b" " * (1 << 20) + b"{}", headers=TOKEN)
    assert answer.status_code == 400
    assert "more than 1 MB" in answer.json()["problem"]


@pytest.mark.parametrize("station", ["..%2F..", "hv03", "HV0", "HV033"])
def test_other_places_than_stations_are_refused(client, station):
    assert client.get(f"/commission/{station}").status_code in (400, 404)
