"""The pages of intake, position and report: what was refused and why, how surely, what is stale."""

import base64
import csv
import hashlib
import io

import pytest
import results_campaign as campaign_of

BAD = campaign_of.BAD


def test_every_verb_has_its_page(results):
    text = results.get("/").text
    for verb in ("plan", "commission", "intake", "position", "motion", "lakes", "decide", "report"):
        assert f'href="/{verb}"' in text
        assert results.get(f"/{verb}").status_code == 200


@pytest.mark.parametrize(
    ("file", "why"),
    [
        ("0-raw/a.rnx", "&lt;img src=x"),
        ("0-raw/b.rnx", "the same content as 0-raw/c.rnx"),
        ("0-raw/d.rnx", "wrong by 1024 weeks, proven"),
        ("0-raw/e.bin", "of no kind known here"),
    ],
)
def test_what_intake_refused_has_its_reason(results, file, why):
    text = results.get("/intake").text
    row = text[text.index(f"{file}</td>") :].partition("</tr>")[0]
    assert why in row


def test_what_intake_uses_is_not_among_the_refused(results):
    text = results.get("/intake").text
    assert "<b>1 of 4</b> files of observations used" in text
    assert "<b>4</b> refused" in text
    refused = text[text.index("What was refused") : text.index("Repairs that are proven")]
    assert ">0-raw/c.rnx</td>" not in refused


def test_quality_by_day(results):
    text = results.get("/intake").text
    assert "/intake/chart/percent" in text
    assert "/intake/chart/strength_1_high_dB_Hz" not in text  # no day has it
    (trace,) = results.get("/intake/chart/percent").json()["traces"]
    assert trace["y"] == [61.0, 62.0, 63.0]
    assert '<td class="short">62</td>' in text  # the median


def test_quality_as_a_table(results):
    rows = list(csv.DictReader(io.StringIO(results.get("/intake/quality.csv").text)))
    assert [row["percent"] for row in rows] == ["61", "62", "63"]
    assert [row["day_gps"] for row in rows] == ["2031-05-01", "2031-05-02", "2031-05-03"]


def test_ambiguities_in_words(results):
    text = results.get("/position/HV02").text
    assert "24 positions: 75.0 % integer-fixed, 25.0 % float." in text
    assert "&lt;img src=x onerror=alert(1)&gt; (1 arcs)" in text
    assert "left as real numbers" not in text
    assert "7 slips" in results.get("/position").text


def test_days_without_positions_are_told(results):
    text = results.get("/position").text
    table = text[text.index("Days with receiver files and without") :]
    assert "2031-05-03</td>" in table
    assert "2031-05-02" not in table


def test_precision_is_the_median_of_the_day(results):
    traces = results.get("/position/chart/level").json()["traces"]
    assert [trace["name"] for trace in traces] == sorted(["HV02", BAD])
    for trace in traces:
        assert trace["y"][0] == pytest.approx(0.01 * 2**0.5)  # 1 cm east and north
    (phase,) = results.get("/position/chart/phase").json()["traces"]
    assert (phase["x"], phase["y"]) == (["2031-05-02"], [0.009])


def test_the_report_says_what_has_changed_since(results):
    text = results.get("/report").text
    assert "8-report/numbers.json: 7-decide/verdict.txt has changed since" in text
    assert "it was made with version 0" in text
    assert "It holds what the campaign holds." in text  # the release
    assert "../campaign.toml: missing" in text


def test_the_report_is_shown_without_any_right(results):
    answer = results.get("/report/file/report.html")
    policy = answer.headers["content-security-policy"]
    style = base64.b64encode(hashlib.sha256(b"p { color: red }").digest()).decode()
    assert policy.startswith("sandbox; default-src 'none'")
    assert f"style-src 'sha256-{style}'" in policy
    assert "script" not in policy
    assert len(answer.headers.get_list("content-security-policy")) == 1
    assert answer.headers["x-content-type-options"] == "nosniff"


def test_a_release_is_handed_out_as_files(results):
    answer = results.get("/report/release/README.md?of=release")
    assert answer.text == BAD
    assert answer.headers["content-disposition"].startswith("attachment")
    assert results.get("/report/release/maps/lakes.geojson?of=release").status_code == 200


@pytest.mark.parametrize(
    "place",
    [
        "/report/release/..%2Fcampaign.toml?of=release",
        "/report/release/metadata.json?of=release",
        "/report/release/campaign.toml?of=.",
        "/report/release/README.md?of=..%2F..",
        "/report/file/report.pdf",
        "/report/file/..%2Fcampaign.toml",
        "/report/file/%2Fetc%2Fpasswd",
        "/intake/quality.svg",
        "/intake/chart/none",
        "/position/chart/none",
        "/position/HV99",
    ],
)
def test_no_other_file_is_handed_out(results, place):
    answer = results.get(place)
    assert answer.status_code in (400, 404)
    assert "[campaign]" not in answer.text
