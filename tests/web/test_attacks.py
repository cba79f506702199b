"""What strangers try: other names, ways out of the campaign, too much at once, names as markup."""

from concurrent.futures import ThreadPoolExecutor

import pytest
import results_campaign as campaign_of

BAD = campaign_of.BAD
WAYS_OUT = [
    "/..%2f..%2fetc%2fpasswd",
    "/static/..%2f..%2fapp.py",
    "/static//etc/passwd",
    "/static/%2e%2e/app.py",
    "/motion/..%2f..%2fcampaign/series/east",
    "/position/..%2f..%2fcampaign/series/east",
    "/lakes/..%2f..%2fcampaign/chart/level",
    "/plan/..%2f..%2fcampaign",
    "/report/file/..%2f..%2fcampaign.toml",
    "/report/file/%2e%2e%2fcampaign.toml",
]


@pytest.mark.parametrize("place", WAYS_OUT)
def test_no_way_leads_out_of_the_campaign(results, place):
    answer = results.get(place)
    assert answer.status_code in (400, 404)
    assert b"[campaign]" not in answer.content
    assert b"def make_app" not in answer.content
    assert b"root:" not in answer.content


def test_a_link_out_of_a_release_is_not_followed(results, results_root):
    secret = results_root.parent / "secret.txt"
    secret.write_text("not yours", encoding="utf-8")
    link = results_root / "release" / "linked.txt"
    link.symlink_to(secret)
    sums = results_root / "release" / "checksums.sha256"
    before = sums.read_text("utf-8")
    sums.write_text(f"{before}{'0' * 64}  linked.txt\n", encoding="utf-8")
    try:
        answer = results.get("/report/release/linked.txt?of=release")
        assert answer.status_code == 400
        assert "not yours" not in answer.text
    finally:
        sums.write_text(before, encoding="utf-8")
        link.unlink()


@pytest.mark.parametrize("host", ["example.org", "example.org:4180", "localhost:4180.example.org"])
@pytest.mark.parametrize("place", ["/map.csv", "/report/file/report.html", "/motion/HV02"])
def test_results_are_not_shown_under_other_names(results, host, place):
    answer = results.get(place, headers={"host": host})
    assert answer.status_code == 421
    assert "HV02" not in answer.text


@pytest.mark.parametrize(
    ("place", "sentence"),
    [
        (f"/motion/{'H' * 3000}", "no station"),
        (f"/motion/HV02/series/east?from={'9' * 400}", "expected a whole number"),
        ("/motion/HV02/series/east?spans=-1", ""),
        ("/motion/HV02/series/east?from=999999999999999&to=-999999999999999", ""),
        (f"/report/release/{'x' * 3000}?of=release", "holds no"),
    ],
)
def test_much_too_much_is_no_trouble(results, place, sentence):
    answer = results.get(place)
    assert answer.status_code in (200, 400)
    assert sentence in answer.text


def test_more_spans_than_a_screen_has_are_not_drawn(results):
    answer = results.get("/motion/HV02/series/east?spans=999999999")
    assert answer.status_code == 200
    assert len(answer.content) < 16 * 5 * 4100


def test_fifty_viewers_at_once(results):
    places = ["/", "/intake", "/position", "/report", "/motion/HV02", "/motion/HV02/series/east",
              "/position/chart/level", "/map.csv", "/decide", "/lakes"]  # fmt: skip
    with ThreadPoolExecutor(50) as viewers:
        answers = list(viewers.map(results.get, places * 5))
    assert {answer.status_code for answer in answers} == {200}
    first = {place: results.get(place).content for place in places}
    for place, answer in zip(places * 5, answers, strict=True):
        assert answer.content == first[place]


def test_a_name_that_is_a_formula_or_markup_is_a_text_in_tables(results):
    text = results.get("/map.csv").text
    assert f"station,{BAD}," in text
    assert results.get("/map.csv").headers["content-type"].startswith("text/csv")
    assert results.get("/map.csv").headers["x-content-type-options"] == "nosniff"
