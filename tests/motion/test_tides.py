"""Tides: published speeds and a published analysis, recovery, honest error bars, inference."""

from datetime import datetime

import numpy as np
import pytest

from stakeline.constants import NS_PER_DAY
from stakeline.errors import SettingsError, SolutionError
from stakeline.motion.admittance import admittance, waves_of
from stakeline.motion.constituents import (
    NAMES,
    alias_period_d,
    alias_table,
    constituent,
    equilibrium,
    greenwich_terms,
    nodal_terms,
    parted,
)
from stakeline.motion.tide_inference import Inference, equilibrium_inference
from stakeline.motion.tides import analyse, predict, prediction_sigma
from stakeline.time import from_calendar, gps_from_utc

HOUR_NS = NS_PER_DAY // 24
START_NS = from_calendar(2024, 5, 1)


def hours(days, step_h=1.0):
    return START_NS + np.arange(round(days * 24 / step_h)) * round(step_h * HOUR_NS)


def tide_of(time_ns, waves):
    """Return the sum of constituents {name: (amplitude, phase deg)}."""
    terms = greenwich_terms(list(waves), time_ns)
    z = np.array([a * np.exp(-1j * np.radians(g)) for a, g in waves.values()])
    return (terms @ z).real


@pytest.mark.parametrize(
    ("name", "speed_deg_h", "period_h"),
    # Published tables, re-derived from astronomical rates (checks.md 5.3)
    [
        ("M2", 28.9841042, 12.42060),
        ("S2", 30.0, 12.0),
        ("N2", 28.4397295, 12.65835),
        ("K2", 30.0821373, 11.96723),
        ("K1", 15.0410686, 23.93447),
        ("O1", 13.9430356, 25.81934),
        ("P1", 14.9589314, 24.06589),
        ("Q1", 13.3986609, 26.86836),
        ("MF", 1.0980331, 327.859),
        ("MM", 0.5443747, 661.309),
        ("SSA", 0.0821373, 4382.9),
        ("SA", 0.0410686, 8765.8),
        ("M4", 57.9682084, 6.21030),
    ],
)
def test_published_speeds(name, speed_deg_h, period_h):
    c = constituent(name)
    last_digit_deg_h = 1.5e-7
    assert c.speed_deg_h == pytest.approx(speed_deg_h, abs=last_digit_deg_h)
    assert c.period_h == pytest.approx(period_h, rel=2e-5)


@pytest.mark.parametrize(
    ("one", "other", "days"),
    # checks.md 5.3, arithmetic
    [
        ("M2", "S2", 14.7653),
        ("K1", "O1", 13.6608),
        ("M2", "N2", 27.5546),
        ("K1", "P1", 182.62),
        ("K2", "S2", 182.62),
    ],
)
def test_published_beats(one, other, days):
    apart = abs(constituent(one).speed_deg_h - constituent(other).speed_deg_h)
    assert 360.0 / apart / 24.0 == pytest.approx(days, abs=0.006)


def test_arguments_turn_at_the_published_speed():
    span_h = 24.0 * 365
    ends = START_NS + np.array([0, round(span_h)]) * HOUR_NS
    for name in NAMES:
        c = constituent(name)
        terms = greenwich_terms([name], ends)[:, 0]
        # take out the nodal part, which is not of the speed
        for part, n in c.parts.items():
            u = nodal_terms(part, ends)
            terms = terms * np.exp(-1j * n * np.angle(u))
        turned = np.degrees(np.angle(terms[1] / terms[0]))
        expected = c.speed_deg_h * span_h
        assert (turned - expected + 180.0) % 360.0 - 180.0 == pytest.approx(0.0, abs=0.05), name


def test_lunar_node():
    # Schureman (1958), table 14 and section on f: f of M2 runs from 0.963 to 1.038, of K1 from
    # 0.882 to 1.113, of O1 from 0.806 to 1.183, of K2 from 0.748 to 1.317 (from memory)
    days = from_calendar(2000, 1, 1) + np.arange(0, 19 * 366, 5) * NS_PER_DAY
    for name, low, high in (
        ("M2", 0.963, 1.038),
        ("K1", 0.882, 1.113),
        ("O1", 0.806, 1.183),
        ("K2", 0.748, 1.317),
    ):
        f = np.abs(nodal_terms(name, days))
        assert f.min() == pytest.approx(low, abs=0.012), name
        assert f.max() == pytest.approx(high, abs=0.012), name
    # Foreman (1977): M2 is smallest and O1, K1 largest where the node's longitude is zero
    # (June 2006: major standstill of the Moon)
    standstill = np.array([from_calendar(2006, 6, 15)])
    assert np.abs(nodal_terms("M2", standstill))[0] < 0.968
    assert np.abs(nodal_terms("O1", standstill))[0] > 1.17


def test_solar_tide_peaks_at_noon_and_midnight():
    # S2 has V = 30 deg an hour from midnight UT (Schureman 1958, table 2: 2T)
    noon = gps_from_utc(np.array([from_calendar(2024, 3, 20, h) for h in (0, 3, 6, 12)]))
    angle = np.degrees(np.angle(greenwich_terms(["S2"], noon)[:, 0]))
    assert angle[[0, 3]] == pytest.approx(0.0, abs=0.3)
    assert angle[1] == pytest.approx(90.0, abs=0.3)
    assert abs(angle[2]) == pytest.approx(180.0, abs=0.3)


def test_rayleigh_of_a_month_and_of_a_year():
    # 30 days cannot part K1 from P1 or K2 from S2 (checks.md 5.3)
    kept, left = parted(30 * 24.0)
    assert {"M2", "S2", "N2", "K1", "O1"} <= set(kept)
    assert {"P1", "K2"} <= set(left)
    assert "K1" in left["P1"]
    assert "182.6 d" in left["K2"]
    assert "longer than the record" in left["SSA"]
    kept, _ = parted(370 * 24.0)
    assert {"P1", "K2", "SSA", "SA", "T2"} <= set(kept)


def test_rayleigh_of_the_published_example():
    # Foreman (1977), example of Tuktoyaktuk: these 35 constituents (also Pawlowicz et al. 2002)
    published = (
        "MM MSF ALP1 2Q1 Q1 O1 NO1 K1 J1 OO1 UPS1 EPS2 MU2 N2 M2 L2 S2 ETA2 MO3 M3 MK3 SK3 MN4 "
        "M4 SN4 MS4 S4 2MK5 2SK5 2MN6 M6 2MS6 2SM6 3MK7 M8"
    )
    kept, _ = parted(1558.0, 1.0)
    assert set(kept) == set(published.split())


def test_fast_tides_need_fast_samples():
    kept, left = parted(60 * 24.0, 6.0)
    assert "M2" in kept
    assert "below two intervals" in left["M8"]


def test_aliases():
    # M2 in daily values: 14.77 d; K1 and P1: a year; K2: half a year; S2: constant (arithmetic)
    rows = {row[0]: row for row in alias_table()}
    assert rows["M2"][2] == pytest.approx(14.765, abs=0.001)
    assert rows["O1"][2] == pytest.approx(14.19, abs=0.01)
    assert rows["N2"][2] == pytest.approx(9.61, abs=0.01)
    assert rows["K1"][2] == pytest.approx(365.24, abs=0.01)
    assert rows["K2"][2] == pytest.approx(182.62, abs=0.01)
    assert np.isinf(rows["S2"][2])
    assert np.isinf(rows["K1"][3])
    assert np.isinf(rows["K2"][3])
    sampled = np.cos(2 * np.pi * 24.0 * np.arange(400) / constituent("M2").period_h)
    power = np.abs(np.fft.rfft(sampled * np.hanning(400)))
    assert 400.0 / power.argmax() == pytest.approx(float(alias_period_d(12.4206012)), rel=0.02)


def test_what_was_put_in_comes_out_of_an_uneven_series():
    rng = np.random.default_rng(3)
    time_ns = np.sort(rng.choice(hours(400, 0.5), 6000, replace=False))
    waves = {"M2": (0.5, 77.0), "S2": (0.2, 300.0), "K1": (0.1, 10.0), "O1": (0.07, 200.0)}
    value = 3.0 + 0.01 * (time_ns - START_NS) / NS_PER_DAY + tide_of(time_ns, waves)
    time_ns = time_ns[::-1]
    value = value[::-1].copy()
    value[17] = np.nan
    tides = analyse(time_ns, value)
    for name, (amplitude, phase) in waves.items():
        k = tides.index(name)
        assert tides.amplitude[k] == pytest.approx(amplitude, abs=1e-9)
        assert tides.phase_deg[k] == pytest.approx(phase, abs=1e-6)
    assert tides.trend_per_day == pytest.approx(0.01, abs=1e-9)
    assert tides.samples == 5999
    again = predict(tides, time_ns, level=True)
    assert np.nanmax(np.abs(again - value)) < 1e-8
    only = predict(tides, time_ns, names=["M2"])
    assert only == pytest.approx(tide_of(time_ns, {"M2": waves["M2"]}), abs=1e-9)


def coloured(rng, count):
    """Noise whose power falls off with frequency, rms near 1, as cumulated leaky steps."""
    out = np.empty(count)
    state = 0.0
    for k, step in enumerate(rng.normal(0.0, 0.3, count)):
        state = 0.95 * state + step
        out[k] = state
    return out + rng.normal(0.0, 0.1, count)


def test_error_bars_are_honest_in_coloured_noise():
    rng = np.random.default_rng(11)
    time_ns = hours(60)
    keep = rng.random(time_ns.size) > 0.2
    keep[300:420] = False
    time_ns = time_ns[keep]
    waves = {"M2": (1.0, 50.0), "K1": (1.0, 120.0), "M4": (0.3, 10.0), "MM": (1.0, 60.0)}
    names = ("M2", "S2", "N2", "K1", "O1", "M4", "MM", "MSF")
    tide = tide_of(time_ns, waves)
    off, side, white = [], [], []
    for _ in range(60):
        noise = coloured(rng, keep.size)[keep]
        tides = analyse(time_ns, tide + noise, names=names)
        k = [tides.index(name) for name in waves]
        amplitude, phase = np.array(list(waves.values())).T
        off.append((tides.amplitude[k] - amplitude) / tides.amplitude_sigma[k])
        turned = (tides.phase_deg[k] - phase + 180.0) % 360.0 - 180.0
        side.append(turned / tides.phase_sigma_deg[k])
        white.append(tides.residual_rms * np.sqrt(2.0 / time_ns.size))
    # 95 % of 240 intervals hold the truth; three sigma of that count are 4.2 %
    assert np.mean(np.abs(off) < 1.96) == pytest.approx(0.95, abs=0.045)
    assert np.mean(np.abs(side) < 1.96) == pytest.approx(0.95, abs=0.045)
    # the white formula would be far too small for the slow tide
    assert tides.amplitude_sigma[k[3]] > 2.0 * np.mean(white)
    assert tides.amplitude_sigma[k[2]] < 0.7 * np.mean(white)


def test_noise_alone_gives_no_tide():
    rng = np.random.default_rng(2)
    tides = analyse(hours(40), rng.normal(0.0, 1.0, 960))
    significant = tides.amplitude > 3.0 * tides.amplitude_sigma
    # amplitudes of noise follow Rayleigh's law: 1.1 % beyond three sigma
    assert significant.sum() <= 2
    assert tides.phase_sigma_deg.max() <= 104.0


def test_inference_parts_what_the_record_cannot():
    time_ns = hours(45)
    waves = {"K1": (0.2, 40.0), "P1": (0.07, 55.0), "S2": (0.3, 100.0), "K2": (0.08, 90.0)}
    value = tide_of(time_ns, waves)
    infer = (Inference("P1", "K1", 0.35, 15.0), Inference("K2", "S2", 0.08 / 0.3, -10.0))
    tides = analyse(time_ns, value, infer=infer)
    for name, (amplitude, phase) in waves.items():
        k = tides.index(name)
        assert tides.amplitude[k] == pytest.approx(amplitude, abs=1e-9)
        assert tides.phase_deg[k] == pytest.approx(phase, abs=1e-6)
    assert "P1" not in tides.left_out
    blind = analyse(time_ns, value)
    assert abs(blind.amplitude[blind.index("K1")] - 0.2) > 0.01
    assert any("K1 holds P1" in w for w in blind.warnings)
    with pytest.raises(SettingsError, match=r"P1 is not among the tides estimated.*182.6 d"):
        blind.index("P1")


def test_inferred_waves_carry_their_sources_uncertainty():
    rng = np.random.default_rng(7)
    time_ns = hours(45)
    value = tide_of(time_ns, {"K1": (0.2, 40.0)}) + rng.normal(0, 0.1, time_ns.size)
    tides = analyse(time_ns, value, names=("K1", "M2"), infer=(Inference("P1", "K1", 0.3, 20.0),))
    k, p = tides.index("K1"), tides.index("P1")
    assert tides.amplitude_sigma[p] == pytest.approx(0.3 * tides.amplitude_sigma[k], rel=1e-9)
    assert tides.phase_sigma_deg[p] == pytest.approx(tides.phase_sigma_deg[k], rel=1e-9)
    assert prediction_sigma(tides, time_ns).mean() > 0.0


def test_equilibrium_ratios():
    # P1/K1 0.331, K2/S2 0.272 in the tables of the potential (Doodson 1921; printed so widely)
    assert equilibrium_inference("P1", "K1").ratio == pytest.approx(0.331, abs=0.001)
    assert equilibrium_inference("K2", "S2").ratio == pytest.approx(0.272, abs=0.001)
    # M2 : S2 = 0.9081 : 0.4225 (Doodson 1921, from memory)
    assert equilibrium("S2") == pytest.approx(0.4225 / 0.9081, abs=0.001)
    with pytest.raises(SettingsError, match="different species"):
        equilibrium_inference("K2", "K1")


def test_prediction_sigma_is_that_of_repeated_trials():
    rng = np.random.default_rng(5)
    time_ns = hours(40)
    truth = tide_of(time_ns, {"M2": (1.0, 20.0)})
    errors, sigmas = [], []
    for _ in range(40):
        tides = analyse(time_ns, truth + rng.normal(0, 0.5, time_ns.size), names=("M2", "K1"))
        errors.append(predict(tides, time_ns[::50]) - truth[::50])
        sigmas.append(prediction_sigma(tides, time_ns[::50]))
    assert np.std(errors) == pytest.approx(np.mean(sigmas), rel=0.15)


def test_admittance_of_a_delayed_answer():
    rng = np.random.default_rng(8)
    time_ns = hours(60)
    waves = {"M2": (1.0, 20.0), "O1": (0.3, 100.0)}
    answer = {name: (0.1 * a, g + 30.0) for name, (a, g) in waves.items()}
    gains, ratios = [], []
    for _ in range(30):
        noise = rng.normal(0, [[0.1], [0.01]], (2, time_ns.size))
        cause = analyse(time_ns, tide_of(time_ns, waves) + noise[0], names=("M2", "O1", "S2"))
        reply = analyse(time_ns, tide_of(time_ns, answer) + noise[1], names=("M2", "O1", "S2"))
        result = admittance(cause, reply)
        assert {"O1", "M2"} <= set(result.names)
        k = result.names.index("M2")
        gains.append((result.gain[k] - 0.1) / result.gain_sigma[k])
        ratios.append((result.lag_deg[k] - 30.0) / result.lag_sigma_deg[k])
    assert np.std(gains) == pytest.approx(1.0, abs=0.4)
    assert np.std(ratios) == pytest.approx(1.0, abs=0.4)
    assert "below three sigma" in result.left_out["S2"]


def test_waves_of_a_table_give_the_admittance_of_the_analyses():
    # law: where errors along and across a wave are independent a table loses nothing
    rng = np.random.default_rng(9)
    time_ns, names = hours(60), ("M2", "O1")
    waves = [
        analyse(time_ns, tide_of(time_ns, {"M2": (a, g), "O1": (0.3 * a, 2.0 * g)})
                + rng.normal(0.0, 0.05 * a, time_ns.size), names=names)
        for a, g in ((1.0, 20.0), (0.1, 330.0))
    ]  # fmt: skip
    tables = [
        waves_of(w.names, w.amplitude, w.amplitude_sigma, w.phase_deg, w.phase_sigma_deg)
        for w in waves
    ]
    whole, table = admittance(*waves), admittance(*tables)
    assert whole.names == table.names == names
    np.testing.assert_allclose(table.gain, whole.gain, rtol=1e-12)
    np.testing.assert_allclose(table.lag_deg, whole.lag_deg, rtol=1e-9)
    np.testing.assert_allclose(table.gain_sigma, whole.gain_sigma, rtol=0.02)
    np.testing.assert_allclose(table.lag_sigma_deg, whole.lag_sigma_deg, rtol=0.02)


def test_satellite_geometry_is_named():
    tides = analyse(hours(60), np.cos(np.arange(1440.0)), names=("K1", "M2"))
    assert any("satellite geometry" in w and "K1" in w for w in tides.warnings)
    tides = analyse(hours(60), np.cos(np.arange(1440.0)), names=("O1", "M2"))
    assert not any("satellite geometry" in w for w in tides.warnings)


def test_what_cannot_be_done_is_said():
    time_ns = hours(3)
    with pytest.raises(SolutionError, match="at least 3 samples"):
        analyse(time_ns, np.full(time_ns.size, np.nan))
    with pytest.raises(SolutionError, match="fewer constituents"):
        analyse(time_ns[:6], np.ones(6), names=("M2", "S2", "K1"))
    with pytest.raises(SolutionError, match="cannot be told apart"):
        analyse(time_ns, np.ones(time_ns.size), names=("M2", "H1", "H2"))
    with pytest.raises(SettingsError, match=r"'X9' is no constituent.*M2"):
        analyse(time_ns, np.ones(time_ns.size), names=("X9",))
    with pytest.raises(SettingsError, match="cannot be inferred from K1"):
        analyse(hours(40), np.ones(960), names=("M2",), infer=(Inference("P1", "K1", 0.3),))
    with pytest.raises(SolutionError, match="one value"):
        analyse(time_ns, np.ones(4))


def test_a_record_without_any_tide_has_a_trend():
    tides = analyse(hours(3), np.arange(72.0), names=())
    assert tides.names == ()
    assert tides.trend_per_day == pytest.approx(24.0)


@pytest.mark.real
def test_tuktoyaktuk(reference_data):
    # Foreman (1977); Pawlowicz et al. (2002); values in the README of the data, no trend
    text = (reference_data / "ice" / "tide" / "tuktoyaktuk1975_time_elev.dat").read_text()
    rows = [line.replace('"', "").split("\t") for line in text.splitlines()]
    when = [np.datetime64(datetime.strptime(r[0], "%d-%b-%Y %H:%M:%S"), "ns") for r in rows]
    time_ns = gps_from_utc(np.array(when).astype(np.int64))
    value = np.array([np.nan if r[1].strip() == "NA" else float(r[1]) for r in rows])
    tides = analyse(time_ns, value, trend=False)
    assert len(tides.names) == 35
    assert tides.mean == pytest.approx(1.9806, abs=0.0005)
    for name, amplitude_m, phase_deg in (
        ("M2", 0.4903, 77.70),
        ("O1", 0.0767, 74.25),
        ("N2", 0.0838, 44.50),
    ):
        k = tides.index(name)
        assert tides.amplitude[k] == pytest.approx(amplitude_m, abs=0.001), name
        assert tides.phase_deg[k] == pytest.approx(phase_deg, abs=0.3), name
    assert tides.phase_deg[tides.index("M2")] == pytest.approx(77.70, abs=0.2)


def test_what_inference_is_off_by_is_in_the_sigma_of_its_source():
    # K2 is 30 % of S2 and 4 deg late instead of 27.2 % and 0: arithmetic, no noise to speak of
    rng = np.random.default_rng(3)
    time_ns = START_NS + np.arange(45 * 24) * (NS_PER_DAY // 24)
    wave = np.array([0.5, 0.2, 0.06]) * np.exp(-1j * np.radians([10.0, 20.0, 24.0]))
    tide = (greenwich_terms(["M2", "S2", "K2"], time_ns) @ wave).real
    tide += rng.normal(0.0, 1e-4, tide.size)
    exact = Inference("K2", "S2", equilibrium_inference("K2", "S2").ratio)
    off = {}
    for infer in (exact, equilibrium_inference("K2", "S2")):
        found = analyse(time_ns, tide, names=["M2", "S2"], infer=(infer,), trend=False)
        k = found.index("S2")
        off[infer.share] = abs(found.amplitude[k] - 0.2) / found.amplitude_sigma[k]
        assert found.amplitude_sigma[found.index("M2")] < 1e-3
    assert off[0.0] > 5.0
    assert off[0.2] < 2.0
