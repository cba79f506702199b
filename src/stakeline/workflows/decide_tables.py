"""What was decided as tables that people and programs read."""

import numpy as np

from ..formats.plain_table import write_plain_table
from ..inference.power import power_formula

ALL = "all"
MANY = 1e6  # degrees of freedom: the pooled interval is that of a normal estimate
MAIN, EXPLORATORY = "main", "exploratory"
_PLACES = {
    "p": 4, "smallest": 4, "test": 4, "percent": 2, "sigma": 2, "low": 2, "high": 2, "m": 2,
    "d": 2, "km": 2, "events": 0, "stations": 0, "estimates": 1,
}  # fmt: skip


def decide_files(lakes, every, each, plan):
    """Return {name: bytes} of all tables.

    Parameters
    ----------
    lakes : sequence of LakeFound
    every : Decision
        Of all lakes together.
    each : sequence of Decision
    plan : PlanCheck
    """
    decisions = each if len(each) == 1 else (every, *each)
    return {
        "effects.csv": _csv(EFFECT_NAMES, effect_rows(lakes)),
        "pooled.csv": _csv(POOLED_NAMES, pooled_rows(lakes, decisions)),
        "tests.csv": _csv(TEST_NAMES, test_rows(lakes, decisions, plan)),
        "robustness.csv": _csv(ROBUST_NAMES, robustness_rows(decisions)),
        "power.csv": _csv(POWER_NAMES, power_rows(decisions)),
    }


def _csv(names, rows):
    columns = {name: [row.get(name, "") for row in rows] for name in names}
    columns = {name: _column(values) for name, values in columns.items()}
    decimals = {name: _places(name) for name in names}
    return write_plain_table(columns, decimals)


def _places(name):
    """Return the decimals of a column, by the unit at the end of its name."""
    return 4 if name.endswith("_m_d") else _PLACES.get(name.rpartition("_")[2], 3)


def _column(values):
    """Return texts as a list, numbers as an array; NaN where a row has none."""
    if any(isinstance(value, str) and value for value in values) or not values:
        return ["" if value == "" else str(value) for value in values]
    return np.array([np.nan if value == "" else value for value in values], float)


EFFECT_NAMES = (
    "lake", "station", "event", "distance_km", "change_percent", "change_low_percent",
    "change_high_percent", "change_m_d", "change_low_m_d", "change_high_m_d",
    "probability_faster", "lag_d", "lag_low_d", "lag_high_d", "duration_d", "duration_low_d",
    "duration_high_d", "excess_m", "excess_low_m", "excess_high_m", "days_seen_share",
    "usual_speed_m_d",
)  # fmt: skip


def effect_rows(lakes):
    """Return one row for each station and event, and one for all events of a station."""
    rows = []
    for found in lakes:
        speeds = {s.station: s for s in found.question.responding}
        for station in found.fitted:
            own = speeds[station.station]
            parts = [(ALL, station.fit, float(np.mean(station.fit.seen)))]
            for number, fit in station.single.items():
                parts.append((found.question.names[number], fit, float(fit.seen[0])))
            rows += [_effect(found, own, *part) for part in parts]
    return rows


def _effect(found, own, event, fit, seen):
    per = own.usual_m_d / 100.0
    values = {
        "change_percent": (fit.amplitude, fit.interval, 1.0),
        "change_m_d": (fit.amplitude, fit.interval, per),
        "lag_d": (fit.lag, fit.lag_interval, 1.0),
        "duration_d": (fit.duration, fit.duration_interval, 1.0),
        "excess_m": (fit.excess, fit.excess_interval, per),
    }
    row = {
        "lake": found.question.lake, "station": own.station, "event": event,
        "distance_km": own.distance_km, "probability_faster": fit.probability_up,
        "days_seen_share": seen, "usual_speed_m_d": own.usual_m_d,
    }  # fmt: skip
    for name, (middle, (low, high), factor) in values.items():
        kind, unit = name.split("_", 1)
        row |= {name: middle * factor, f"{kind}_low_{unit}": low * factor,
                f"{kind}_high_{unit}": high * factor}  # fmt: skip
    return row


POOLED_NAMES = (
    "lake", "event", "change_percent", "change_sigma_percent", "change_low_percent",
    "change_high_percent", "probability_faster", "events", "stations", "between_events_percent",
    "between_stations_percent", "independent_estimates",
)  # fmt: skip


def pooled_rows(lakes, decisions):
    """Return one row for each lake, all lakes, each event over its stations, each left out."""
    rows = [_pooled(d.name, ALL, d.pooled) for d in decisions if d.pooled is not None]
    for found in lakes:
        names = found.question.names
        rows += [_pooled(found.question.lake, names[k], one) for k, one in found.by_event.items()]
        if found.left_out is not None:
            numbers = sorted({k for s in found.fitted for k in s.seen})
            for place, number in enumerate(numbers):
                low, high = found.left_out.interval[place]
                rows.append({
                    "lake": found.question.lake, "event": f"without {names[number]}",
                    "change_percent": found.left_out.effect[place],
                    "change_sigma_percent": found.left_out.sigma[place],
                    "change_low_percent": low, "change_high_percent": high,
                })  # fmt: skip
    return rows


def _pooled(lake, event, pooled):
    return {
        "lake": lake, "event": event, "change_percent": pooled.effect,
        "change_sigma_percent": pooled.sigma, "change_low_percent": pooled.interval[0],
        "change_high_percent": pooled.interval[1], "probability_faster": pooled.probability_up,
        "events": pooled.events, "stations": pooled.series,
        "between_events_percent": pooled.event_sigma,
        "between_stations_percent": pooled.own_sigma,
        "independent_estimates": pooled.independent,
    }  # fmt: skip


TEST_NAMES = ("lake", "station", "test", "rank", "statistic", "unit", "p", "p_smallest",
              "what_it_says")  # fmt: skip


def test_rows(lakes, decisions, plan):
    """Return one row for each test; ``rank`` is ``main`` for the one that was planned."""
    main = MAIN if plan.followed else EXPLORATORY
    first = decisions[0]
    rows = [_test(first.name, "", "main test: circular shifts, paid for all lakes", first.p,
                  rank=main, says="could chance alone change speed as much?",
                  least=np.nan if first.least is None else first.least.p)]  # fmt: skip
    for found in lakes:
        rows += _lake_tests(found)
    doses = decisions if len(lakes) > 1 else decisions[:1]
    rows += [_dose(d) for d in doses if d.dose is not None]
    return rows


def _test(lake, station, test, p, statistic=np.nan, unit="", says="", rank=EXPLORATORY,
          least=np.nan):  # fmt: skip
    return {"lake": lake, "station": station, "test": test, "rank": rank, "statistic": statistic,
            "unit": unit, "p": p, "p_smallest": least, "what_it_says": says}  # fmt: skip


def _lake_tests(found):
    return [*_shifts(found), *_doubts(found), *_elsewhere(found), *_coincidence(found)]


def _shifts(found):
    """Return the rows of the test by circular shifts: all stations, then each."""
    shifted, lake = found.chance, found.question.lake
    if shifted is None:
        return []
    all_words = "could chance alone change speed as much?"
    name = "circular shifts, all stations and lags"
    rows = [_test(lake, "", name, shifted.p, found.observed, "sigma", all_words,
                  least=shifted.resolution)]  # fmt: skip
    for k, speeds in enumerate(found.question.responding):
        name = "circular shifts, against the largest of all stations"
        largest = float(np.abs(shifted.statistic[k]).max())
        p = float(shifted.p_adjusted[k])
        rows.append(_test(lake, speeds.station, name, p, largest, "sigma", all_words,
                          least=shifted.resolution))  # fmt: skip
    return rows


def _doubts(found):
    """Return the rows of what came before the events: of the mean of all stations, then each."""
    lake, rows = found.question.lake, []
    every = [("", found.pre_trend, np.nan if found.order is None else found.order.before)]
    every += [(s.station, s.pre_trend, s.before_probability) for s in found.fitted]
    for station, trend, _ in every:
        if trend is not None:
            rows.append(_test(lake, station, "change before the events", trend.p, trend.estimate,
                              "%", "was a change under way before?"))  # fmt: skip
    for station, _, before in every:
        if np.isfinite(before):
            rows.append(_test(lake, station, "reverse: probability that it began before", np.nan,
                              before, "-", "did the change come first?"))  # fmt: skip
    return rows


def _elsewhere(found):
    """Return the rows of other days, other stations and other causes."""
    lake, rows = found.question.lake, []
    if found.placebo is not None:
        rows.append(_test(lake, "", "placebo events at other times", found.placebo.p,
                          found.placebo.observed, "%", "do other days show as much?",
                          least=found.placebo.resolution))  # fmt: skip
    for name, p in found.placebo_p.items():
        says = "does a station respond that must not?"
        rows.append(_test(lake, name, "placebo station: a response", p, says=says))
    for cause in found.causes:
        name = f"common cause: {cause.name} changes with the events"
        says = "does something else change on the same days?"
        rows.append(_test(lake, "", name, cause.p_with_events, cause.explained, "share explained",
                          says))  # fmt: skip
    return rows


def _coincidence(found):
    one = found.coincidence
    if one is None:
        return []
    lake = found.question.lake
    return [
        _test(lake, "", "coincidence: drainages followed by a change", one.trigger_p,
              one.trigger_rate, "share", f"by chance {one.trigger_expected:.2f}"),
        _test(lake, "", "coincidence: changes that follow a drainage", one.precursor_p,
              one.precursor_rate, "share", f"by chance {one.precursor_expected:.2f}"),
    ]  # fmt: skip


def _dose(decision):
    dose = decision.dose
    return _test(decision.name, "", "size of the event and size of the change", dose.p, dose.rank,
                 "rank correlation", "do larger drainages have larger responses?")  # fmt: skip


ROBUST_NAMES = ("lake", "choice", "change_percent", "change_low_percent", "change_high_percent",
                "agrees", "p_main_test")  # fmt: skip


def robustness_rows(decisions):
    """Return one row for each choice; ``agrees``: same direction, and an interval without 0.

    ``p_main_test`` is that of the main test under the choice, as planned where the test does not
    use it; the change likewise.
    """
    rows = []
    for decision in decisions:
        if decision.pooled is None:
            continue
        others = decision.others or {}
        labels = dict.fromkeys(["as planned", *others, *decision.other_p])
        rows += [
            _choice(decision.name, label, others.get(label, decision.pooled), decision.pooled)
            | {"p_main_test": decision.other_p.get(label, decision.p)}
            for label in labels
        ]
    return rows


def _choice(name, label, other, planned):
    if other is None:
        return {"lake": name, "choice": label, "agrees": "cannot be estimated"}
    low, high = other.interval
    same = low * high > 0.0 and np.sign(other.effect) == np.sign(planned.effect)
    return {"lake": name, "choice": label, "change_percent": other.effect,
            "change_low_percent": low, "change_high_percent": high,
            "agrees": "yes" if same else "no"}  # fmt: skip


POWER_NAMES = ("lake", "change_percent", "share_called", "power_formula", "smallest_percent")


def power_rows(decisions):
    """Return the curve of power of each decision: of the whole, and of a plain test by formula."""
    rows = []
    for decision in decisions:
        if decision.power is None:
            continue
        changes, called, formula = power_curve(decision)
        rows += [
            {"lake": decision.name, "change_percent": change, "share_called": share,
             "power_formula": plain, "smallest_percent": decision.smallest}
            for change, share, plain in zip(changes, called, formula, strict=True)
        ]  # fmt: skip
    return rows


def power_curve(decision):
    """Return (changes (n,) [%], share called (n,), power of a plain test of the pooled change)."""
    power, sigma = decision.power, decision.pooled.sigma
    last = power.smallest if np.isfinite(power.smallest) else 0.5 * power.change[-1]
    keep = power.change <= 3.0 * last
    changes = power.change[keep]
    formula = np.array([power_formula(c, sigma, MANY) for c in changes])
    return changes, power.called[keep], formula
