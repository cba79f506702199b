"""Stations and passes in one volume: simulation of the interval, agreement, the walk of a rate."""

from types import SimpleNamespace

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.lakes.event_record import LakeEvent
from stakeline.lakes.outline import ellipse_outline, moved_margin
from stakeline.lakes.pass_changes import PassChange, pass_changes, walked
from stakeline.lakes.response import FLOWS, PLATES, UNIFORM, Ice
from stakeline.lakes.surface import mean_view, share_map
from stakeline.lakes.volume import LakeVolume, event_volume
from stakeline.lakes.volume_together import AGREE, DISAGREE, together

DRAWS, AREA_M2, ROOF_M = 600, 2.0e7, -2.0
ICE = Ice(700.0)
LAKE = ellipse_outline("Upper Halvard", np.zeros(2), (2600.0, 2000.0))
DAY = 86400.0


def event(change_m=ROOF_M, sigma_m=0.02, seed=1, onset_d=40.0, length_d=6.0, count=DRAWS):
    rng = np.random.default_rng(seed)
    change = change_m + sigma_m * rng.standard_normal(count)
    names = {"HV02": change, "HV03": change + 0.01 * rng.standard_normal(count)}
    return LakeEvent(
        "Upper Halvard", "drain", 0, onset_d + 0.1 * rng.standard_normal(count),
        np.full(count, length_d), np.full(count, 2.0), np.full(count, 2.0), change, names, 1.0, 0.0,
    )  # fmt: skip


def case(rng, station_sigma_m, pass_sigma_m, off_m=0.0):
    """Return (LakeVolume, PassChange, true volume) of a lake whose truth is one draw of its prior.

    Margin 2 %, surface over roof 3 %, mean over roof 2 %, all unknown; flat prior of the roof.
    """

    def prior(count=None):
        draw = rng.standard_normal((3,) if count is None else (3, count))
        return (
            AREA_M2 * (1 + 0.02 * draw[0]),
            0.9 * (1 + 0.03 * draw[1]),
            0.85 * (1 + 0.02 * draw[2]),
        )

    area, share, mean = prior()
    roof = ROOF_M * rng.uniform(0.5, 1.5)
    seen = share * roof + station_sigma_m * rng.standard_normal()
    passes = mean * roof + off_m + pass_sigma_m * rng.standard_normal()
    areas, shares, means = prior(DRAWS)
    roofs = (seen + station_sigma_m * rng.standard_normal(DRAWS)) / shares
    volume = np.abs(roofs) * areas
    drawn = LakeVolume(
        "Upper Halvard", "drain", volume, roofs, areas, volume / DAY, 2.0 * volume / DAY,
        {"HV02": shares}, float(DRAWS), (), np.arange(DRAWS), means,
    )  # fmt: skip
    told = PassChange(np.full(DRAWS, passes), np.full(DRAWS, pass_sigma_m), 12)
    return drawn, told, area * abs(roof)


def test_the_interval_of_both_holds_the_truth_and_is_narrower():
    rng = np.random.default_rng(7)
    held, narrower, agreed, trials = 0, [], 0, 400
    for _ in range(trials):
        volume, passes, truth = case(rng, 0.10, 0.05)
        both = together(volume, passes, rng)
        agreed += both.verdict == AGREE
        if both.verdict == AGREE:
            low, high = np.quantile(both.together["volume_m3"], [0.025, 0.975])
            held += low < truth < high
            alone = np.subtract(*np.quantile(volume.volume_m3, [0.975, 0.025]))
            narrower.append((high - low) / alone)
    # 3 sigmas of 400 trials at 95 %: 3.3 %; DISAGREE_P is 1 %
    assert held / agreed == pytest.approx(0.95, abs=0.033)
    assert agreed / trials > 0.975
    # second formula: variances of the roof by both, relative, with area left
    station2, pass2 = 0.10**2 / (0.9 * ROOF_M) ** 2 + 0.03**2, 0.05**2 / (0.85 * ROOF_M) ** 2
    both2 = 1.0 / (1.0 / station2 + 1.0 / (pass2 + 0.02**2))
    expected = np.sqrt((both2 + 0.02**2) / (station2 + 0.02**2))
    assert np.median(narrower) == pytest.approx(expected, rel=0.12)


def test_what_disagrees_is_not_put_together():
    rng = np.random.default_rng(8)
    verdicts = []
    for _ in range(60):
        both = together(*case(rng, 0.03, 0.05, off_m=0.8)[:2], rng)
        verdicts.append(both.verdict)
        assert bool(both.together) == (both.verdict == AGREE)
    assert verdicts.count(DISAGREE) > 50
    assert np.isfinite(both.passes_m3).all()


def test_useless_passes_change_nothing_and_perfect_ones_rule():
    rng = np.random.default_rng(9)
    volume, passes, _ = case(rng, 0.10, 50.0)
    both = together(volume, passes, rng)
    np.testing.assert_allclose(both.together["volume_m3"], volume.volume_m3, rtol=0.02)
    assert both.gain < 1e-3
    volume, passes, _ = case(rng, 0.30, 1e-4)
    both = together(volume, passes, rng)
    # all that is left is what the mean over the roof and the area leave open
    spread = both.together["volume_m3"].std() / both.together["volume_m3"].mean()
    assert spread == pytest.approx(np.hypot(0.02, 0.02), rel=0.25)
    assert np.median(both.together["volume_m3"]) == pytest.approx(
        np.median(both.passes_m3), rel=0.02
    )


def levels(rng, day, size_m, course, sigma_m, rate_m_d=0.004, q=1e-8):
    covariance = sigma_m**2 * (np.eye(len(day)) + 0.5)  # the zero is common to all
    walk = np.linalg.cholesky(walked(day, q) + 1e-9 * np.eye(len(day)))
    noise = np.linalg.cholesky(covariance) @ rng.standard_normal(len(day))
    level = 12.0 + rate_m_d * day + size_m * course + noise + walk @ rng.standard_normal(len(day))
    time_ns = np.round(day * NS_PER_DAY).astype(np.int64)
    return SimpleNamespace(time_ns=time_ns, level_m=level, covariance_m2=covariance)


def test_the_size_by_passes_is_true_and_honest():
    rng = np.random.default_rng(10)
    day = np.arange(5.0, 300.0, 18.0)
    known = event(sigma_m=0.0, count=20, onset_d=43.0)
    course = np.clip((day - 43.0) / 6.0, 0.0, 1.0)  # no pass falls into it
    off = []
    for _ in range(300):
        one = levels(rng, day, ROOF_M, course, 0.06)
        (found,) = pass_changes(one, [known], 0, int(300 * NS_PER_DAY), 1e-8)
        off.append((np.median(found.change_m) - ROOF_M) / np.median(found.sigma_m))
    assert np.mean(off) == pytest.approx(0.0, abs=3.0 / np.sqrt(300))
    assert np.std(off) == pytest.approx(1.0, abs=3.0 / np.sqrt(600))
    assert found.passes == len(day)


def test_events_that_passes_do_not_hold_have_no_size():
    rng = np.random.default_rng(11)
    day = np.arange(60.0, 300.0, 18.0)
    one = levels(rng, day, 0.0, np.zeros(len(day)), 0.06)
    (found,) = pass_changes(one, [event()], 0, int(300 * NS_PER_DAY))
    assert found.why.startswith("passes hold 0% of it")
    assert not found.change_m.size
    day = np.arange(5.0, 300.0, 18.0)
    both = [event(onset_d=43.0, length_d=5.0), event(1.5, onset_d=49.0, length_d=5.0)]
    one = levels(rng, day, 0.0, np.zeros(len(day)), 0.06)  # passes on days 41 and 59
    found = pass_changes(one, both, 0, int(300 * NS_PER_DAY))
    assert all("too few of them between it and what lies beside it" in f.why for f in found)
    (few,) = pass_changes(one, [event()], 0, int(50 * NS_PER_DAY))
    assert few.why == "3 passes within the record of the stations; a change needs 4"
    assert pass_changes(one, [], 0, int(300 * NS_PER_DAY)) == ()


def test_the_walk_has_the_covariance_of_its_simulation():
    rng = np.random.default_rng(12)
    step = rng.standard_normal((4000, 400)) * np.sqrt(1e-6 * 0.25)  # rates by quarter days
    path = np.cumsum(np.cumsum(step, axis=1), axis=1) * 0.25
    found = np.cov(path[:, [119, 399]].T)
    np.testing.assert_allclose(found, walked(np.array([30.0, 100.0]), 1e-6), rtol=0.1)


@pytest.mark.parametrize("method", [*FLOWS, PLATES[0]])
def test_the_mean_over_an_outline_is_that_of_the_map(method):
    wide = moved_margin(LAKE, 200.0)
    for lake in (LAKE, wide):
        east, north, share = share_map(lake, ICE, method, cells=128)
        where = np.stack(np.meshgrid(east, north, indexing="ij"), axis=-1).reshape(-1, 2)
        over = LAKE.contains(lake.map_m(where))
        mean = share.reshape(-1)[over].mean()
        # cells of 150 m: edges to half a per cent
        assert mean_view(lake, LAKE, ICE).share(ICE, method) == pytest.approx(mean, rel=0.01)
    assert mean_view(wide, LAKE, ICE).share(ICE, UNIFORM) == pytest.approx(1.0, abs=1e-9)


def test_asking_for_the_mean_leaves_the_volume_as_it_is():
    places = {"HV02": (0.0, 0.0), "HV03": (900.0, 300.0)}
    few = event(count=80)
    plain = event_volume(few, [LAKE], places, ICE, np.random.default_rng(3))
    more = event_volume(few, [LAKE], places, ICE, np.random.default_rng(3), over=LAKE)
    assert np.array_equal(plain.volume_m3, more.volume_m3)
    assert plain.mean_share is None
    assert more.mean_share.shape == plain.volume_m3.shape
    assert (more.mean_share < more.share["HV02"] * 1.1).all()  # the middle moves most
    np.testing.assert_array_equal(more.roof_m[:3], plain.roof_m[:3])
