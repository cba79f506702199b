"""Bases in a campaign: rules of the choice, results kept, audit told; quick stand-in solvers."""

import json

import numpy as np
import pytest

from stakeline.campaign.folders import create
from stakeline.campaign.settings import read_settings
from stakeline.campaign.store import read_table
from stakeline.constants import NS_PER_DAY
from stakeline.earth.ellipsoid import enu_axes, enu_from_xyz, geodetic_from_xyz
from stakeline.errors import SettingsError, SolutionError
from stakeline.tables import Positions
from stakeline.workflows import arcs, position_campaign, position_relative
from stakeline.workflows.position_choice import choose_solution, with_heights_of

STEP_S = 1800
SITE = np.array([1.1e6, -4.7e5, 6.24e6])
HISTORY = """station = "{name}"
latitude_deg = 79.0412
longitude_deg = 17.3580
[[visit]]
time = 2031-04-28T14:30:00Z
kind = "set-up"
[visit.antenna]
type = "HALVARD ICE1    NONE"
[visit.height]
measured_m = 1.532
how = "vertical"
from = "marker"
to = "antenna reference point"
"""
SETTINGS = '[campaign]\nname = "Trial"\n[position]\ninterval_s = 1800\nbases = ["{base}"]\n'
STATION = '[[station]]\nname = "{name}"\nraw = ["0-raw/{name}"]\n'


def positions(n=48, sigma_m=0.01, state="float", shift_m=0.0, first=0):
    time_ns = (first + np.arange(n)) * STEP_S * 10**9
    place = np.tile(SITE + np.array([shift_m, 0.0, 0.0]), (n, 1))
    covariance = np.tile(sigma_m**2 * np.eye(3), (n, 1, 1))
    count = np.full(n, 9)
    return Positions("HV01", "IGS20", time_ns, place, covariance, count, np.full(n, state))


def choice(relative, absolute=None):
    return choose_solution(absolute or positions(), relative, (0, NS_PER_DAY))


def test_the_surer_of_two_that_agree_is_taken():
    better = choice(positions(sigma_m=0.005, state="integer-fixed", shift_m=0.004))
    assert (better.solution, better.alarm, better.fixed_share) == ("relative", False, 1.0)
    assert np.hypot(*better.difference_m[:2]) <= 0.004 + 1e-9
    assert choice(positions(sigma_m=0.02, state="integer-fixed")).solution == "absolute"


@pytest.mark.parametrize(
    ("relative", "reason"),
    [
        (positions(n=20, sigma_m=0.001, state="integer-fixed"), "at 20 of 48 epochs only"),
        (positions(sigma_m=0.001), "integers at 0 % of the relative epochs only"),
        (positions(sigma_m=0.001, state="integer-fixed", first=99), "at 0 of 48 epochs only"),
    ],
)
def test_a_poor_relative_solution_is_not_taken_and_says_why(relative, reason):
    found = choice(relative)
    assert (found.solution, found.alarm) == ("absolute", False)
    assert reason in found.reason


def test_solutions_that_contradict_each_other_are_an_alarm():
    found = choice(positions(sigma_m=0.001, state="integer-fixed", shift_m=0.3))
    assert (found.solution, found.alarm) == ("absolute", True)
    assert "a frame or a base is wrong" in found.reason


def test_up_is_that_of_the_other_and_level_stays():
    latitude, longitude, _ = geodetic_from_xyz(SITE)
    axes = enu_axes(latitude, longitude)
    level, heights = positions(sigma_m=0.004), positions(n=40, sigma_m=0.02, first=8)
    level.position_m[:] += np.array([0.01, -0.02, 0.05]) @ axes
    mixed = with_heights_of(level, heights)
    apart = enu_from_xyz(mixed.position_m - SITE, latitude, longitude)
    np.testing.assert_allclose(apart[8:], np.tile([0.01, -0.02, 0.0], (40, 1)), atol=1e-8)
    np.testing.assert_array_equal(mixed.position_m[:8], level.position_m[:8])
    sigma = np.sqrt(np.diagonal(mixed.covariance_m2[8:], axis1=1, axis2=2))
    np.testing.assert_allclose(sigma, np.tile([0.004, 0.004, 0.02], (40, 1)))
    same = with_heights_of(level, level)
    np.testing.assert_allclose(same.position_m, level.position_m, atol=1e-9)


def test_a_base_that_is_no_station_is_a_sentence(tmp_path):
    path = tmp_path / "campaign.toml"
    path.write_text(SETTINGS.format(base="HB09") + STATION.format(name="HV01"), encoding="utf-8")
    with pytest.raises(SettingsError, match=r"bases names HB09, which is no station here; .* HV01"):
        read_settings(path)


class Calls(list):
    """What the stand-in for the relative solver was asked; ``broken`` makes it fail."""

    broken = False


@pytest.fixture
def campaign(tmp_path, sky, monkeypatch):
    """Return (a campaign of a rover and a base for three days, calls); solvers are stand-ins."""
    root, calls = tmp_path / "trial", Calls()
    create(root)
    text = SETTINGS.format(base="HB01") + "".join(STATION.format(name=n) for n in ("HV01", "HB01"))
    (root / "campaign.toml").write_text(text, encoding="utf-8")
    for name in ("HV01", "HB01"):
        (root / "stations" / f"{name}.toml").write_text(HISTORY.format(name=name), "utf-8")
        for day in range(3):
            times = sky.times(0, 86400, STEP_S) + day * NS_PER_DAY
            place = root / "0-raw" / name / f"{name}_{day}.rnx"
            sky.write_receiver_file(place, times, day + 10 * (name == "HB01"), marker_name=name)
    for day in range(3):
        sky.write_orbits(root / "products" / f"day{day}.sp3", day, 1)

    def made(observations, sigma_m, state):
        n = len(observations)
        covariance = np.tile(sigma_m**2 * np.eye(3), (n, 1, 1))
        rows = np.tile(sky.site, (n, 1)), covariance, np.full(n, 9), np.full(n, state)
        return Positions("", "", observations.time_ns, *rows, {"warnings": [], "bases": ["HB01"]})

    def relative(rover, bases, products, settings):
        calls.append([base.name for base in bases])
        if calls.broken:
            raise SolutionError("no base shares epochs")
        assert np.linalg.norm(bases[0].position_m[0] - sky.site) < 1e-6
        return made(rover, 0.004, "integer-fixed")

    monkeypatch.setattr(arcs, "solve", lambda o, p, s, progress, before: made(o, 0.01, "float"))
    monkeypatch.setattr(position_relative, "solve_relative", relative)
    return root, calls


def day_of(root, station="HV01"):
    columns, _ = read_table(root / f"4-position/{station}/{station}_2031-05-02.parquet")
    said = json.loads((root / f"4-position/{station}/{station}_2031-05-02.json").read_text())
    return columns, said


def test_a_rover_takes_the_relative_solution_and_says_why(campaign):
    root, calls = campaign
    outcome = position_campaign.run(root)
    assert outcome.problems == ()
    assert calls == [["HB01"]] * 3
    columns, said = day_of(root)
    assert set(columns["state"]) == {"integer-fixed"}
    assert (columns["sigma_east_m"] < 0.005).all()
    why = said["arcs"][0]["absolute or relative"]
    assert (why["solution"], why["bases"]) == ("relative", ["HB01"])
    assert "mm absolute" in why["reason"]
    assert set(day_of(root, "HB01")[0]["state"]) == {"float"}  # the base stands by itself
    assert "relative positions: 3 of 3 arcs, 3 chosen" in outcome.text
    assert "note: base HB01: still" in outcome.text


@pytest.mark.parametrize("days", [0, 1])
def test_repeats_of_earlier_days_that_are_not_used_are_told(campaign, days):
    root, _ = campaign
    settings = root / "campaign.toml"
    station = STATION.format(name="HV01")
    text = settings.read_text().replace(station, f"{station}sidereal_days = {days}\n")
    settings.write_text(text)
    position_campaign.run(root)
    _, metadata = read_table(root / "4-position/relative/HV01/HV01_2031-05-02.parquet")
    warned = ["asked for, and not used by relative solutions: sidereal_days"]
    assert metadata["summary"]["warnings"] == warned * days


def test_heights_are_the_absolute_ones_unless_asked_for(campaign):
    root, _ = campaign
    position_campaign.run(root)
    np.testing.assert_allclose(day_of(root)[0]["sigma_up_m"], 0.01, rtol=1e-6)
    settings = root / "campaign.toml"
    text = settings.read_text().replace("bases =", "relative_heights = true\nbases =")
    settings.write_text(text)
    position_campaign.run(root)
    np.testing.assert_allclose(day_of(root)[0]["sigma_up_m"], 0.004, rtol=1e-6)


def test_a_base_of_one_day_is_judged_by_hours_and_carries_its_doubt(campaign):
    root, calls = campaign
    for day in (1, 2):
        for name in ("HV01", "HB01"):
            (root / "0-raw" / name / f"{name}_{day}.rnx").unlink()
    outcome = position_campaign.run(root)
    assert "base HB01: still" in outcome.text
    assert "(1 days, judged by 4 h)" in outcome.text
    assert len(calls) == 1


def test_bases_without_rovers_are_told_and_no_mistake(campaign):
    root, calls = campaign
    for path in (root / "0-raw" / "HV01").iterdir():
        path.unlink()
    outcome = position_campaign.run(root)
    assert outcome.problems == ()
    assert "no receiver file of a rover" in outcome.text
    assert not calls


def test_bases_without_any_file_are_no_mistake(campaign):
    root, _ = campaign
    for path in (root / "0-raw").rglob("*.rnx"):
        path.unlink()
    outcome = position_campaign.run(root)
    assert outcome.problems == ()


def test_a_second_run_solves_nothing_and_other_bases_do_it_again(campaign):
    root, calls = campaign
    position_campaign.run(root)
    before = sorted((root / "4-position").rglob("*.parquet"))
    sums = [path.read_bytes() for path in before]
    position_campaign.run(root)
    assert len(calls) == 3
    assert [path.read_bytes() for path in before] == sums
    settings = root / "campaign.toml"
    settings.write_text(settings.read_text().replace('bases = ["HB01"]', "bases = []"))
    position_campaign.run(root)
    assert set(day_of(root)[0]["state"]) == {"float"}
    assert not list((root / "4-position/relative").rglob("*.parquet"))


def test_a_relative_solution_that_fails_leaves_the_absolute_one(campaign):
    root, calls = campaign
    calls.broken = True
    outcome = position_campaign.run(root)
    assert len(outcome.problems) == 3
    assert "relative: no base shares epochs" in outcome.problems[0]
    assert set(day_of(root)[0]["state"]) == {"float"}
