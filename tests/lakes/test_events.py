"""Events: known changes are found, noise is not, records that end or pause give bounds."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.special import betaincinv

from stakeline.errors import SettingsError, SolutionError
from stakeline.lakes.combined import StationUp, combined_series, independent
from stakeline.lakes.curve import ramp
from stakeline.lakes.event_record import interval
from stakeline.lakes.events import EventSettings, _kept, _no_event, find_events
from stakeline.lakes.search import FalseAlarms, Search
from stakeline.lakes.station_changes import given_back
from stakeline.lakes.whitening import (
    ALONE_M,
    BESIDE_M,
    LONG_MEMORY_D,
    START,
    Whitener,
    fitted_noise,
)
from stakeline.motion.smoother import log_likelihood

START_NS = 1_900_000_000_000_000_000
HOUR_NS = 3_600_000_000_000
ONSET_D, LENGTH_D = 30.0, 6.0
QUICK = EventSettings(step_h=6.0)


def station(name, seed, share=0.0, days=70.0, until_d=None, gap_d=None, **more):
    rng = np.random.default_rng(seed)
    day = np.arange(0.0, days, 0.125)
    up = 0.004 * day - share * ramp((day - ONSET_D) / LENGTH_D, 2.5, 3.0)
    up = up + 0.008 * rng.standard_normal(len(day))
    keep = np.ones(len(day), bool) if until_d is None else day < until_d
    if gap_d:
        keep &= (day < gap_d[0]) | (day > gap_d[1])
    time_ns = START_NS + np.round(day * 24.0 * HOUR_NS).astype(np.int64)
    return StationUp(name, time_ns[keep], up[keep], np.full(keep.sum(), 0.008), **more)


def beside(seed, share=0.0):
    return replace(station("HV04", seed, share), control=True)


@pytest.fixture(scope="module")
def history():
    stations = [station("HV02", 1, 2.0), station("HV03", 2, 1.6), beside(3)]
    return find_events("Upper", stations, np.random.default_rng(4), QUICK)


@pytest.mark.compiled
def test_a_draining_is_found_and_dated(history):
    (event,) = history.events
    assert event.kind == "drain"
    assert event.status == "automatic"
    assert event.probability_real > 0.99
    low, middle, high = interval(event.onset_days())
    assert low < ONSET_D < high
    assert middle == pytest.approx(ONSET_D, abs=0.5)
    for name, change in (("HV02", -2.0), ("HV03", -1.6)):
        assert np.median(event.station_m[name]) == pytest.approx(change, rel=0.02)
    assert np.median(event.change_m) == pytest.approx(-1.8, rel=0.02)


@pytest.mark.compiled
def test_what_is_between_events(history):
    kinds = [phase.kind for phase in history.phases]
    assert kinds == ["steady", "steady"]  # the controls rise alike: nothing is the lake's own


@pytest.mark.compiled
def test_definitions_are_said_with_the_result(history):
    (event,) = history.events
    rows = event.definitions()
    assert [r[1] for r in rows if r[0] == "onset"] == ["start", "5 %", "10 %", "rate", "tangent"]
    assert all(len(r[2]) > 20 and r[3] <= r[4] <= r[5] for r in rows)
    # expected: the inverse of the incomplete beta function (scipy) of the course put in
    true_day = ONSET_D + LENGTH_D * betaincinv(2.5, 3.0, 0.1)
    true_day -= (event.origin_ns - START_NS) / (24.0 * HOUR_NS)
    ten = interval(event.onset_days("10 %"), 0.998)
    assert ten[0] < true_day < ten[2]
    with pytest.raises(SettingsError, match="no definition 'first'; there are start"):
        event.onset_days("first")


@pytest.mark.compiled
def test_a_catalogue_row_and_a_review(history):
    (event,) = history.events
    row = event.row()
    assert row["onset_low_ns"] < row["onset_median_ns"] < row["peak_median_ns"]
    assert row["change_m_low"] < row["change_m_high"] < 0.0
    assert "in noise alone less than one in a million a year" in row["reasons"]
    seen = event.reviewed("rejected", "antenna was hit")
    assert seen.row()["status"] == "rejected"
    assert "rejected: antenna was hit" in seen.row()["reasons"]
    with pytest.raises(SettingsError, match="and why"):
        event.reviewed("reviewed", " ")


@pytest.mark.compiled
def test_a_station_that_dies_while_the_lake_drains():
    stations = [station("HV02", 1, 2.0, until_d=ONSET_D + 2.5), beside(3)]
    (event,) = find_events("Upper", stations, np.random.default_rng(5), QUICK).events
    assert "still draining at the last row" in event.end_bound
    done = float(ramp(2.5 / LENGTH_D, 2.5, 3.0)) * 2.0
    assert abs(np.median(event.change_m)) == pytest.approx(done, rel=0.15)


@pytest.mark.compiled
def test_a_station_that_fails_meanwhile_is_not_taken_to_have_stood_still():
    failing = station("HV02", 1, 2.0, gap_d=(ONSET_D - 1.0, ONSET_D + 45.0))
    stations = [failing, station("HV03", 2, 1.6), beside(3)]
    (event,) = find_events("Upper", stations, np.random.default_rng(7), QUICK).events
    assert set(event.station_m) == {"HV03"}
    assert not any("agree" in reason for reason in event.reasons)


@pytest.mark.compiled
def test_an_onset_in_a_gap_is_an_interval():
    gap = (ONSET_D - 5.0, ONSET_D + 4.0)
    stations = [station("HV02", 1, 2.0, gap_d=gap), beside(3)]
    (event,) = find_events("Upper", stations, np.random.default_rng(6), QUICK).events
    assert "only an interval" in event.onset_bound
    low, _, high = interval(event.onset_days())
    assert low < ONSET_D < high < gap[1]
    # a gentle start leaves the level unseen before the gap; a twentieth of the change is seen
    assert interval(event.onset_days("5 %"))[0] > gap[0] - 1.0


@pytest.mark.compiled
def test_a_flood_from_above_is_told_from_the_draining_it_sets_off(history):
    (above,) = history.events
    lower = station("HV07", 20, 3.0)  # drains as the lake above did, but the flood comes first
    day = (lower.time_ns - START_NS) / (24.0 * HOUR_NS)
    flood = 2.0 * ramp((day - ONSET_D - 1.0) / LENGTH_D, 2.5, 3.0)
    drain = 3.0 * ramp((day - ONSET_D) / LENGTH_D, 2.5, 3.0)
    later = -3.0 * ramp((day - ONSET_D - 5.0) / 8.0, 2.5, 3.0)
    lower = replace(lower, up_m=lower.up_m + drain + flood + later)
    found = find_events("Lower", [lower], np.random.default_rng(9), QUICK, (above,))
    fill, drained = found.events
    assert (fill.kind, drained.kind) == ("fill", "drain")
    assert "because the lake above drained" in fill.reasons[0]
    low, _, high = interval(drained.onset_days(), 0.99)
    assert low < ONSET_D + 5.0 < high
    assert np.median(fill.change_m) == pytest.approx(2.0, rel=0.1)


@pytest.mark.compiled
def test_what_all_ice_does_is_not_the_lakes():
    stations = [station("HV02", 1, 0.5), beside(3, 0.5)]
    events = find_events("Upper", stations, np.random.default_rng(7), QUICK).events
    assert all(event.probability_real < 0.5 for event in events)


@pytest.mark.compiled
def test_noise_and_equipment_make_no_event():
    moved = station("HV02", 8)
    step_ns = int(moved.time_ns[200])
    up = moved.up_m + 0.4 * (moved.time_ns >= step_ns)
    stations = [replace(moved, up_m=up, step_ns=(step_ns,)), station("HV03", 9), beside(10)]
    assert find_events("Upper", stations, np.random.default_rng(8), QUICK).events == ()


@pytest.mark.compiled
def test_whitened_columns_agree_with_the_smoothers_likelihood():
    one = station("HV02", 1)
    series = combined_series([one], 6.0, ())
    white = Whitener(series.day, series.sigma_m, START)
    base, data = white(series.design), white(series.up_m[:, None])[:, 0]
    rest = data - base @ np.linalg.lstsq(base, data, rcond=None)[0]
    other = START.__class__(START.acceleration_m2_d3, white_scale=1.0, coloured_sigma_m=(0.006,),
                            coloured_memory_d=(2.0,))  # fmt: skip
    # the smoother's restricted likelihood differs between data by the squares of the rest alone
    shift = 0.05 * np.sin(series.day / 3.0)
    moved = white((series.up_m + shift)[:, None])[:, 0]
    again = moved - base @ np.linalg.lstsq(base, moved, rcond=None)[0]
    time_ns = series.time_ns(series.day)
    change = log_likelihood(time_ns, series.up_m + shift, series.sigma_m, other)
    change -= log_likelihood(time_ns, series.up_m, series.sigma_m, other)
    assert change == pytest.approx(0.5 * (rest @ rest - again @ again), rel=1e-6)


@pytest.mark.compiled
def test_false_alarms_of_noise_come_as_often_as_said():
    series = combined_series([station("HV02", 11)], 6.0, ())
    search = Search(series, START)
    alarms = search.false_alarms(np.random.default_rng(12), 400)
    fresh = search.false_alarms(np.random.default_rng(13), 400)
    for share in (0.5, 0.1, 0.02):
        score = np.quantile(fresh.greatest, 1.0 - share)
        expected = -np.log1p(-share) / series.years
        assert alarms.per_year(score) == pytest.approx(expected, rel=0.6)


def test_false_alarms_have_a_tail():
    greatest = 5.0 + np.random.default_rng(14).exponential(1.0, 4000)
    alarms = FalseAlarms(greatest, 1.0)
    # expected: P(greatest > s) = exp(-(s - 5)) of this exponential
    assert alarms.per_year(15.0) == pytest.approx(np.exp(-10.0), rel=0.5)


def test_stations_that_come_and_go_do_not_make_the_mean_jump():
    first, second = station("HV02", 15, until_d=40.0), station("HV03", 16)
    second = replace(second, up_m=second.up_m + 3.0)
    series = combined_series([first, second], 6.0, ())
    found, *_ = np.linalg.lstsq(series.design, series.up_m, rcond=None)
    assert np.std(series.up_m - series.design @ found) < 0.006
    assert np.ptp(series.up_m) > 1.0


def test_a_copy_of_a_column_is_left_out():
    one = np.arange(5.0)
    assert independent(np.stack([np.ones(5), one, 2.0 * one + 1.0], axis=1)).shape == (5, 2)


def test_too_little_is_refused():
    with pytest.raises(SolutionError, match="no station stands over the lake"):
        combined_series([beside(1)])
    with pytest.raises(SolutionError, match="events need 40"):
        combined_series([station("HV02", 1, days=3.0)])


@pytest.mark.compiled
def test_what_later_changes_have_made_small_is_dropped():
    series = combined_series([station("HV02", 1, 2.0)], 6.0, ())
    model = fitted_noise(series)
    form = np.log([LENGTH_D, 2.5, 3.0])
    beside = [ONSET_D + 9.0, *np.log([4.0, 2.0, 2.0])]
    numbers = np.concatenate([[ONSET_D - series.day[0]], form, beside, [0.9, 0.0]])
    scores = [(900.0, 0.0), (30.0, 0.001)]
    kept, left, notes = _kept(series, model, numbers, scores, {}, QUICK)
    assert left == scores[:1]
    assert len(kept) == 6
    assert kept[0] == pytest.approx(ONSET_D, abs=0.5)
    assert "belongs to the form of a larger one" in notes[0] or "smaller than" in notes[0]


def test_means_stand_at_the_middle_of_their_rows():
    one = station("HV02", 1)
    day = (one.time_ns - START_NS) / (24.0 * HOUR_NS)
    line = replace(one, up_m=0.3 * day)  # without noise the mean of a line is the line
    series = combined_series([line], 6.0, ())
    at_d = (series.time_ns(series.day) - START_NS) / (24.0 * HOUR_NS)
    assert series.up_m[1:-1] == pytest.approx(0.3 * at_d[1:-1], abs=1e-9)


def test_a_mean_of_one_side_at_a_gap_is_not_taken():
    one = station("HV02", 1)
    day = (one.time_ns - START_NS) / (24.0 * HOUR_NS)
    keep = (day < 20.0) | (day > 25.2)  # two rows a mean of 6 h: one alone stands at the gap's end
    line = replace(one, up_m=day[keep], time_ns=one.time_ns[keep], sigma_m=one.sigma_m[keep])
    series = combined_series([line], 6.0, ())
    at_d = (series.time_ns(series.day) - START_NS) / (24.0 * HOUR_NS)
    assert np.abs(series.up_m - at_d).max() < 1e-9
    assert len(series.day) in range(int(keep.sum() / 2) - 2, int(keep.sum() / 2) + 1)


@pytest.mark.compiled
def test_noise_of_days_is_known_beforehand():
    alone = combined_series([station("HV02", 1)], 6.0, ())
    with_control = combined_series([station("HV02", 1), beside(3)], 6.0, ())
    for series, sigma in ((alone, ALONE_M), (with_control, BESIDE_M)):
        model = fitted_noise(series)
        assert model.coloured_sigma_m[-1] == sigma
        assert model.coloured_memory_d[-1] == LONG_MEMORY_D
        assert len(fitted_noise(series, None, model).coloured_sigma_m) == 2  # not once more


@pytest.mark.compiled
def test_a_slow_drift_is_told_but_is_no_event(history):
    (event,) = history.events
    slow = replace(event, length_d=np.full_like(event.length_d, 150.0))
    assert "lasts longer than 120 d" in _no_event(slow, history.series, QUICK)
    early = replace(event, onset_d=event.onset_d - 50.0, length_d=event.length_d + 60.0)
    assert "before the first row" in _no_event(early, history.series, QUICK)
    ended = replace(event, onset_d=event.onset_d - 31.0)  # over before half of the record
    assert not _no_event(ended, history.series, QUICK)
    other = dict(event.station_m, HV02=-event.station_m["HV02"])
    said = _no_event(replace(event, station_m=other), history.series, QUICK)
    assert "HV02 over the lake surely moves the other way" in said


@pytest.mark.compiled
def test_what_is_no_event_is_left_to_the_phases():
    stations = [station("HV02", 1, 2.0), station("HV03", 2, 1.6), beside(3)]
    short = replace(QUICK, longest_d=3.0)
    found = find_events("Upper", stations, np.random.default_rng(4), short)
    assert found.events == ()
    assert "is no event: it lasts longer than 3 d" in found.notes[-1]
    (phase,) = found.phases
    assert phase.kind == "sinking"


def test_what_controls_did_by_the_lake_is_given_back():
    noise = 0.01 * np.random.default_rng(1).standard_normal(4000)
    both = {"HV04": -0.05 + noise, "HV01": -0.05 + noise}
    assert given_back(both, -2.0) == pytest.approx(-0.05 / 1.01, abs=0.001)  # 10 cm beside 1 cm
    assert given_back(both, -0.04) == pytest.approx(-0.05 / 26.0, abs=0.001)  # 2 mm beside 1 cm


def test_a_control_that_bends_keeps_its_form():
    one = station("HV02", 1)
    day = (one.time_ns - START_NS) / (24.0 * HOUR_NS)
    bent = replace(one, up_m=1e-4 * (day - 35.0) ** 3)
    series = combined_series([bent, replace(bent, station="HV04", control=True)], 6.0, ())
    inner = slice(12, -12)  # three days from the ends
    # a running mean over 3 d alone leaves 3e-4 (day - 35) 9 / 12: 14 mm from end to end
    assert np.ptp(series.up_m[inner]) < 0.001


@pytest.mark.compiled
def test_a_record_cut_while_the_controls_move_along_tells_the_whole_change():
    stations = [station("HV02", 1, 2.0, until_d=33.0), station("HV03", 2, 2.0, until_d=33.0)]
    stations.append(replace(station("HV04", 3, 0.06, until_d=33.0), control=True))
    (event,) = find_events("Upper", stations, np.random.default_rng(4), QUICK).events
    sunk = -2.0 * ramp((33.0 - 0.125 - 0.0625 - ONSET_D) / LENGTH_D, 2.5, 3.0)
    low, _, high = interval(event.station_m["HV02"])
    assert low < sunk < high
    assert high - low < 0.08


@pytest.mark.compiled
@pytest.mark.parametrize("amplitude_m", [0.1, 0.3])
def test_a_seasonal_cycle_makes_no_event(amplitude_m):
    # it has no regressor: the velocity that walks must take it up, and no change may be seen in it
    day, rng = np.arange(0.0, 500.0, 0.5), np.random.default_rng(4)
    time_ns = START_NS + np.round(day * 24.0 * HOUR_NS).astype(np.int64)
    sigma = np.full(len(day), 0.006)
    season = amplitude_m * np.cos(2.0 * np.pi * (day - 70.0) / 365.25)
    noise = 0.006 * rng.standard_normal((2, len(day)))
    stations = [StationUp("HV02", time_ns, season + noise[0], sigma),
                StationUp("HV04", time_ns, noise[1], sigma, control=True)]  # fmt: skip
    found = find_events("Upper", stations, rng, EventSettings(step_h=12.0))
    assert (found.events, found.slow) == ((), ())
