"""Power, health, forecast and visits of a station on its page."""

import numpy as np
import pytest
import results_campaign as campaign_of


def test_the_page_says_what_the_tables_say(results):
    text = results.get("/motion/HV02").text
    assert (
        "Told on 2031-06-30: 40 % chance of going dark in the year ahead: "
        "1 year in 20 by 2031-10-20, half of them by 2031-12-24."
    ) in text
    for said in (
        "Where the energy comes from and goes",
        "3.1",
        "load has grown",
        "2031-06-01",
        "0.70",
        "2031-05-01 09:00",
        "set-up",
    ):
        assert said in text
    assert campaign_of.BAD not in text
    assert "&lt;img src=x" in text


def test_bands_are_of_95_in_100(results):
    chart = results.get("/motion/HV02/health/charge").json()
    band, line = chart["traces"]
    middle, low, high = (np.array(part) for part in (line["y"], band["low"], band["high"]))
    np.testing.assert_allclose(middle, np.linspace(1.0, 0.7, 30))
    # 1.96: two-sided 95 % of a normal distribution (any table)
    np.testing.assert_allclose((high - low) / middle, 2 * 1.96 * 0.1)
    load = results.get("/motion/HV02/health/load").json()["traces"]
    wide = np.subtract(load[0]["high"], load[0]["low"])
    np.testing.assert_allclose(wide, 2 * 1.96 * 0.1 * middle)
    share = results.get("/motion/HV02/health/share").json()["traces"]
    np.testing.assert_allclose(share[0]["low"], 40.0 * middle)
    np.testing.assert_allclose(share[1]["y"], 50.0 * middle)
    assert results.get("/motion/HV02/health/capacity").json()["y_title"] == "Ah"
    told = results.get("/motion/HV02/health/chance").json()["traces"][0]
    assert told["x"] == ["2031-05-30", "2031-06-30"]
    assert told["y"] == [25.0, 40.0]


@pytest.mark.parametrize(
    "place",
    ["HV02/health/none", "HV02/health/unexplained", "HV99/health/charge", "../health/charge"],
)
def test_what_is_not_there_is_refused(results, place):
    assert results.get(f"/motion/{place}").status_code in (400, 404)


def test_a_station_without_loggers_has_no_such_part(results):
    text = results.get(f"/motion/{campaign_of.BAD.replace('/', '%2F')}").text
    assert "Power and health" not in text
    assert "Visits" not in text
