"""What was decided, in words for a person and as JSON for a program."""

import numpy as np

from .. import __version__

_KM_D_IN_M_S = 1000.0 / 86400.0


def decide_text(name, lakes, every, each, plan):
    """Return ``verdict.txt``: the sentence first, then why, then each lake and station.

    Parameters
    ----------
    name : str
        Of the campaign.
    lakes : sequence of LakeFound
    every : Decision
    each : sequence of Decision
    plan : PlanCheck
    """
    lines = [every.sentence, "", f"{name}. {plan.sentence}"]
    lines += _chance(every)
    lines += _listed("What supports it", every.support)
    lines += _listed("What weakens it", every.weakening)
    lines += _listed("What was not tested", every.missing)
    for found, decision in zip(lakes, each, strict=True):
        lines += ["", *_lake(found, decision, len(lakes) > 1)]
    left_out = [line for found in lakes for line in (*found.question.left_out, *found.problems)]
    lines += _listed("Left out, or not possible", dict.fromkeys(left_out))
    return "\n".join(lines) + "\n"


def _chance(decision):
    """Return p of the main test and how small it can be, in a line or none."""
    if decision.least is None:
        return []
    return [f"Main test: p = {decision.p:.2g}; {decision.least.sentence}."]


def _listed(title, sentences):
    sentences = list(sentences)
    return ["", title, *(f"  {_begun(line)}" for line in sentences)] if sentences else []


def _begun(sentence):
    return sentence[0].upper() + sentence[1:]


def begun_low(sentence):
    """Return a sentence that follows a colon: its first letter small."""
    return sentence[:1].lower() + sentence[1:]


def _lake(found, decision, several):
    lake = found.question.lake
    lines = [f"{lake}: {begun_low(decision.sentence)}" if several else lake]
    lines += [f"  {line}" for line in _chance(decision)] if several else []
    lines += [f"  but {line}" for line in decision.weakening] if several else []
    for number, event in enumerate(found.question.names):
        lines.append(f"  {event}{_event(found, number)}")
    speeds = {s.station: s for s in found.question.responding}
    for station in found.fitted:
        lines.append(f"  {_station(station, speeds[station.station])}")
    lines += [f"  {line}" for line in _speed(found.speed)]
    return lines


def _event(found, number):
    pooled = found.by_event.get(number)
    if pooled is None:
        return ": no station saw it"
    low, high = pooled.interval
    return (
        f": {pooled.effect:+.2g} % ({low:+.2g} to {high:+.2g} %) over "
        f"{pooled.series} station{'s' * (pooled.series > 1)}"
    )


def _station(station, speeds):
    fit, per = station.fit, speeds.usual_m_d / 100.0
    where = f" ({speeds.distance_km:.1f} km)" if np.isfinite(speeds.distance_km) else ""
    low, high = fit.interval
    first, last = fit.lag_interval
    mean = "on the mean " * (len(station.seen) > 1)
    short, long = fit.excess_interval * per
    return (
        f"{station.station}{where}: {fit.amplitude:+.2g} % ({low:+.2g} to {high:+.2g} %), "
        f"{fit.amplitude * per:+.2g} m/d ({low * per:+.2g} to {high * per:+.2g}); begins "
        f"{mean}{fit.lag:.1f} d after the onset ({first:.1f} to {last:.1f} d), lasts "
        f"{fit.duration:.0f} d; {fit.excess * per:+.2g} m of way ({short:+.2g} to {long:+.2g} m) "
        f"in {len(station.seen)} event{'s' * (len(station.seen) > 1)}"
    )


def _speed(speed):
    """Return how fast the response travels, in a sentence or none."""
    if speed is None:
        return []
    low, high = speed.speed_interval * _KM_D_IN_M_S
    if not speed.bounded:
        return [
            f"how fast the response travels cannot be told: all {speed.series} stations may have "
            f"begun at once, or apart by as much as a speed of {low:.2g} m/s makes"
        ]
    way = "down the route" if speed.direction > 0 else "up the route"
    return [
        f"the response travels {way} at {speed.speed * _KM_D_IN_M_S:.2g} m/s ({low:.2g} to "
        f"{high:.2g} m/s, {speed.series} stations)"
    ]


def decide_told(name, lakes, every, each, plan, inputs):
    """Return the content of ``verdict.json``; arguments as of :func:`decide_text`.

    ``inputs``: (file, sha256) of what was read.
    """
    return {
        "campaign": name,
        "version": __version__,
        "verdict": _decision(every),
        "lakes": [
            _decision(decision) | _lake_told(found)
            for found, decision in zip(lakes, each, strict=True)
        ],
        "plan": {"state": plan.state, "followed": plan.followed, "sentence": plan.sentence,
                 "sha256": plan.sha256},
        "inputs": [list(pair) for pair in inputs],
    }  # fmt: skip


def _decision(decision):
    pooled, least = decision.pooled, decision.least
    low, high = (np.nan, np.nan) if pooled is None else pooled.interval
    return {
        "of": decision.name,
        "outcome": decision.outcome,
        "sentence": decision.sentence,
        "change_percent": np.nan if pooled is None else pooled.effect,
        "change_low_percent": low,
        "change_high_percent": high,
        "p": decision.p,
        "p_smallest": np.nan if least is None else least.p,
        "p_of_strong_change": np.nan if least is None else least.strong,
        "shifts": 0 if least is None else least.shifts,
        "shifts_are_all": least is not None and least.every,
        "events": 0 if pooled is None else pooled.events,
        "stations": 0 if pooled is None else pooled.series,
        "no_change_larger_than_percent": decision.verdict.bound if decision.verdict else np.nan,
        "smallest_called_with_80_percent": decision.smallest,
        "support": list(decision.support),
        "weakening": list(decision.weakening),
        "not_tested": list(decision.missing),
    }


def _lake_told(found):
    question, speed = found.question, found.speed
    bounds = (np.nan, np.nan) if speed is None else speed.speed_interval * _KM_D_IN_M_S
    return {
        "lake_events": list(question.names),
        "lake_stations": [s.station for s in question.responding],
        "placebo_stations": [s.station for s in question.placebos],
        "travels_m_s": np.nan if speed is None else speed.speed * _KM_D_IN_M_S,
        "travels_low_m_s": bounds[0],
        "travels_high_m_s": bounds[1] if np.isfinite(bounds[1]) else None,
        "travels_direction": 0 if speed is None else speed.direction,
        "left_out": list(question.left_out),
        "problems": list(found.problems),
    }
