"""From what was found to one outcome, in one plain sentence, with what speaks for and against."""

from dataclasses import dataclass, field, replace

import numpy as np

from ..errors import StakelineError
from ..inference.counter_tests import holm, leave_one_out
from ..inference.dose import dose_response
from ..inference.permutation import ROUNDING, p_value
from ..inference.verdict import ALPHA, DOWN, NONE, UNKNOWN, UP, Evidence, Verdict, Words, decide
from .decide_choices import p_otherwise
from .decide_power import power_of
from .decide_together import DOSE_DRAWS, POOLED, SHIFTS, answers_by_event, pool_parts, pooled_of
from .plural import counted

WORDS = Words("the speed of the ice", "faster", "slower", "%", digits=2)
OUTCOMES = {
    UP: "faster", DOWN: "slower", NONE: "no change larger", UNKNOWN: "cannot tell",
}  # fmt: skip
TOO_FEW = "a change is hardly found in this record, whatever its size; a longer one can"
ONE_EVENT = (
    "one event can show that the ice changed speed on the day the lake drained, and how surely "
    "that was no chance; it cannot show that it would do so again, nor rule out another cause of "
    "that day"
)


@dataclass(frozen=True)
class LeastP:
    """How small the p of the main test can be in a record.

    ``p``: the smallest there is, by the number of ``shifts`` made, ``every``: each distinct one;
    ``strong``: about what a strong change leaves, since shifts within the lags see the same events
    again. Several lakes are paid for in both.
    """

    p: float
    strong: float
    shifts: int
    every: bool

    @property
    def sentence(self):
        """Return it in words."""
        kind = "every distinct one" if self.every else "drawn"
        said = f"smallest p is {self.p:.2g} ({self.shifts} shifts, {kind})"
        if self.strong > self.p:
            said += (
                f"; shifts within the lags see the events too and may keep it at {self.strong:.2g}"
            )
        return said


@dataclass(frozen=True)
class Decision:
    """The outcome of one lake, or of all together.

    ``name``: of the lake, or ``all lakes``; ``outcome``: one of :data:`OUTCOMES`; ``sentence``;
    ``p`` with all searching paid for, ``least``: how
    small it can be; ``pooled``: Pooled or None; ``power``: Power or
    None; ``left_out``: LeftOut; ``dose``; ``others`` and ``other_p`` {label: Pooled, p} of other
    choices; ``verdict``: of the rules, None where there is
    nothing to decide.
    """

    name: str
    outcome: str
    sentence: str
    p: float = np.nan
    pooled: object = None
    least: LeastP | None = None
    power: object = None
    left_out: object = None
    dose: object = None
    others: object = None
    verdict: Verdict | None = None
    other_p: dict = field(default_factory=dict)

    @property
    def smallest(self):
        """The change that is told as what it is in 80 of 100. [%]"""
        return np.nan if self.power is None else self.power.smallest

    @property
    def support(self):
        """Sentences that speak for it."""
        return self.verdict.support if self.verdict else ()

    @property
    def weakening(self):
        """Sentences that speak against it."""
        return self.verdict.weakening if self.verdict else ()

    @property
    def missing(self):
        """What was not tested."""
        return self.verdict.missing if self.verdict else ()


def decisions(part, lakes):
    """Return (Decision of all lakes, Decision of each lake).

    The p of a lake is adjusted for the number of lakes (Holm 1979); that of all together is
    :func:`joint_p`, so that asking several lakes is paid for.
    """
    p = np.array([np.nan if f.chance is None else f.chance.p for f in lakes], float)
    known = np.isfinite(p)
    adjusted = np.full(len(p), np.nan)
    adjusted[known] = holm(p[known])
    tested = [f for f in lakes if f.chance is not None]
    each = [_lake_decision(part, f, q, tested) for f, q in zip(lakes, adjusted, strict=True)]
    if len(lakes) == 1:
        return each[0], tuple(each)
    return _all_decision(part, lakes, joint_p(lakes)), tuple(each)


def joint_p(lakes):
    """Return the p of the largest change of all lakes; NaN where no lake has been tested.

    The drainages of all lakes are shifted around the record together, and the largest statistic of
    any lake counts, at the true days and at each shift.
    """
    tested = [f for f in lakes if f.chance is not None]
    if not tested:
        return np.nan
    largest = np.max([f.null for f in tested], axis=0)
    observed = max(f.observed for f in tested) * (1.0 - ROUNDING)
    return float(p_value((largest >= observed).sum(), len(largest)))


def _lake_decision(part, found, p, tested):
    name = found.question.lake
    if found.pooled is None or not np.isfinite(p):
        return _nothing(name, [found])
    decision = _decided(
        part, name, [found], p, least_p([found], len(tested)), found.pooled,
        _or_none(power_of, [found], tested, [(0, s) for s in found.fitted]),
        found.left_out, found.dose, found.others,
    )  # fmt: skip
    return replace(decision, other_p=p_otherwise([found], tested))


def least_p(lakes, times=1):
    """Return the :class:`LeastP` of one or more lakes; None where none has been tested.

    ``times``: lakes by whose number a p is multiplied. Of lakes that are shifted together the
    largest change of any counts, and shifts within its lags see it again.
    """
    tested = [f.chance for f in lakes if f.chance is not None]
    if not tested:
        return None
    p, strong = (max(each) for each in zip(*((t.resolution, t.floor) for t in tested), strict=True))
    every = all(t.exhaustive for t in tested)
    return LeastP(
        min(1.0, times * p), min(1.0, times * strong), min(t.draws for t in tested), every
    )


def _nothing(name, lakes):
    """Return the Decision where nothing is: of each lake the one cause that stopped it."""
    causes = dict.fromkeys(cause for f in lakes if (cause := _stopped(f)))
    why = "; ".join(causes) or "nothing could be estimated"
    return Decision(name, OUTCOMES[UNKNOWN], f"Cannot tell: {why}.")


def _stopped(found):
    """Return what stopped the main test of a lake, or the pooled change, or all of it."""
    for what in (SHIFTS, POOLED):
        for line in found.problems:
            if f": {what}: " in line:
                return line.replace(f": {what}: ", ": ", 1)
    return found.problems[0] if found.problems else ""


def _all_decision(part, lakes, p):
    name, usable = "all lakes", [f for f in lakes if f.pooled is not None]
    if not usable or not np.isfinite(p):
        return _nothing(name, lakes)
    offsets = np.cumsum([0, *(len(f.question.names) for f in usable)])[:-1]
    pairs = [(k, s) for k, f in zip(offsets, usable, strict=True) for s in f.fitted]
    labels = [x for x in usable[0].others if all(f.others.get(x) is not None for f in usable)]
    others = {label: _or_none(pooled_of, pairs, label) for label in labels}
    decision = _decided(
        part, name, usable, p, least_p(lakes), pooled_of(pairs),
        _or_none(power_of, usable, usable, pairs),
        _or_none(leave_one_out, *pool_parts(pairs)), _dose_of_all(part, usable), others,
    )  # fmt: skip
    tested = [f for f in lakes if f.chance is not None]
    return replace(decision, other_p=p_otherwise(tested, tested))


def _or_none(function, *arguments):
    try:
        return function(*arguments)
    except StakelineError:
        return None


def _dose_of_all(part, lakes):
    """Return the Dose of the events of all lakes; None where sizes have different units."""
    if len({f.question.size_unit for f in lakes}) > 1:
        return None
    rows = []
    for found in lakes:
        numbers, answers = answers_by_event(found.by_event)
        question = found.question
        rows.append((question.size[numbers], question.size_sigma[numbers], *answers))
    random = np.random.default_rng([part.seed, 4])
    table = map(np.concatenate, zip(*rows, strict=True))
    try:
        return dose_response(*table, random, draws=DOSE_DRAWS)
    except StakelineError:
        return None


def _decided(part, name, lakes, p, least, pooled, power, left_out, dose, others):
    smallest = np.nan if power is None else power.smallest
    evidence = evidence_of(part, lakes, p, pooled, smallest, left_out, others)
    verdict = decide(evidence, WORDS)
    if evidence.events == 1:
        verdict = replace(verdict, weakening=(*verdict.weakening, ONE_EVENT))
    if least.strong > ALPHA:
        verdict = replace(verdict, weakening=(*verdict.weakening, f"{least.sentence}: {TOO_FEW}"))
    outcome = OUTCOMES[verdict.outcome]
    sentence = verdict.sentence
    if verdict.outcome in (UP, DOWN):
        sentence = _changed(name, outcome, evidence, lakes)
    return Decision(
        name, outcome, sentence, float(p), pooled, least, power, left_out, dose, others, verdict,
    )  # fmt: skip


def _changed(name, outcome, evidence, lakes):
    """Return the sentence of a change."""
    low, high = sorted(np.abs(evidence.interval))
    when = "when the lakes drain" if len(lakes) > 1 else f"when {lakes[0].question.lake} drains"
    return (
        f"{outcome.capitalize()}: the ice moves {abs(evidence.amplitude):.2g} % {outcome} {when} "
        f"(95 % interval {low:.2g} to {high:.2g} %, chance p = {evidence.p:.2g}; "
        f"{counted(evidence.events, 'event')}, {counted(evidence.series, 'station')})."
    )


def evidence_of(part, lakes, p, pooled, smallest, left_out, others):
    """Return the :class:`Evidence` of one or more lakes."""
    fitted = [s for f in lakes for s in f.fitted]
    trends = [f.pre_trend.p for f in lakes if f.pre_trend is not None]
    placebo = [f.placebo.p for f in lakes if f.placebo is not None]
    orders = [f.order for f in lakes if f.order is not None]
    beside = [q for f in lakes for q in f.placebo_p.values()]
    kept = [o for o in (others or {}).values() if o is not None]
    agree = sum(_agrees(o, pooled.effect) for o in kept)
    return Evidence(
        amplitude=pooled.effect,
        interval=tuple(pooled.interval),
        p=float(p),
        events=pooled.events,
        series=pooled.series,
        smallest=smallest,
        relevant=np.nan if part.relevant_percent is None else part.relevant_percent,
        pre_trend_p=float(holm(trends).min()) if trends else np.nan,
        probability_before=max((o.before for o in orders), default=np.nan),
        probability_early=max((o.early for o in orders), default=np.nan),
        placebo_p=max(placebo, default=np.nan),
        placebo_series_p=tuple(holm(beside)) if beside else (),
        causes=tuple((c.name, c.p_with_events, c.explained) for f in lakes for c in f.causes),
        sign_holds=None if left_out is None else left_out.sign_holds,
        seen=tuple(share for f in lakes for share in _seen(f)),
        noise_at_bound=sum(s.fit.noise.at_bound for s in fitted) > 0.5 * len(fitted),
        lag_at_edge=sum(_late(part, s) for s in fitted) > 0.5 * len(fitted),
        agreeing=agree,
        variations=len(kept),
    )


def _agrees(other, effect):
    low, high = other.interval
    return bool(low * high > 0.0 and np.sign(other.effect) == np.sign(effect))


def _late(part, station):
    """Say whether the most likely lag is the longest that was allowed."""
    lag = station.fit.shapes[station.fit.best, 0]
    return part.lag_d[1] > part.lag_d[0] and lag >= part.lag_d[1] - 0.5 * part.lag_step_d


def _seen(found):
    """Return the mean share (events,) of days around each onset that have a speed."""
    shares = np.zeros(len(found.question.names))
    for station in found.fitted:
        shares[list(station.seen)] += station.fit.seen / len(found.fitted)
    return shares
