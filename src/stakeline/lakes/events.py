"""When a lake fills and drains, from the height of all stations over it together.

A matched filter finds what noise alone would hardly make; the noise is fitted anew with each
change found; onset, length, form and size of all changes that overlap are then sampled together.
"""

from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from .combined import combined_series
from .curve import ramp
from .event_noise import courses_of, noise_beside
from .event_record import LakeEvent, LakeHistory, interval
from .fit import MEMORY_D, Changes, Feed, sampled
from .phases import phases_of
from .search import Search, Trials
from .station_changes import given_back, station_changes
from .whitening import fitted_noise

_ICE = (0.5, np.log(MEMORY_D))  # first guess: half at once, the rest with the usual memory
_FORM_SIGMA = (
    0.05  # -, of the logarithms of a flood's form, by which it may change on its way; choice
)
_WORTH_A_LOOK = 5.0  # 1/a, false alarms of a candidate under noise that still holds it; choice
_LEAST_GAIN = 5.0  # -, of the log posterior by which a change must better the rest; choice
_RAREST = 1e-6  # 1/a, told of false alarms: 300 simulations bear no smaller number; choice
_GAP_D = 1.0  # d, longest gap across which an onset counts as seen; choice


@dataclass(frozen=True)
class EventSettings:
    """How events are looked for; our choices.

    ``false_limit_per_year``: events must be rarer than this in noise, by a year of one lake.
    ``real_per_year``: changes expected beforehand, which the probability weighs against it.
    ``least_m``: smallest change that is reported. ``form_share``: a change within the reach of a
    larger one counts as that one's form where it is smaller than this share of it. ``most``: events
    looked for. ``step_h``: means taken. ``leakage_h``: periods at which tides leak.
    ``longest_way_d``: of water from the lake above. ``longest_d``: a change of more days is one of
    slope or of filling rate, which the phases tell.
    """

    false_limit_per_year: float = 0.02
    real_per_year: float = 1.0
    least_m: float = 0.03
    form_share: float = 0.1
    most: int = 12
    step_h: float = 3.0
    leakage_h: tuple = (23.9345, 12.4206)
    longest_way_d: float = 10.0
    longest_d: float = 120.0


def find_events(lake, stations, rng, settings=None, feeders=()):
    """Return the :class:`~.event_record.LakeHistory` of a lake.

    Parameters
    ----------
    lake : str
    stations : sequence of :class:`~.combined.StationUp`
        Over the lake and beside it (controls).
    rng : numpy.random.Generator
    settings : EventSettings, optional
    feeders : sequence of LakeEvent
        Drainings of a lake above, whose water may have come: a filling of the same form is fitted
        for each, at most ``longest_way_d`` later. A filling that runs into a draining can only so
        be told from it well.

    Raises
    ------
    SolutionError
        Where no station stands over the lake, or too few rows are there.

    Notes
    -----
    Intervals are honest for changes of the form of :mod:`~.curve` under the noise of
    :mod:`~.whitening`; where the rest near a change is larger than that noise, they are widened.
    """
    settings = settings or EventSettings()
    series = combined_series(stations, settings.step_h, settings.leakage_h)
    feeds = _feeds(series, feeders, settings)
    changes, model, scores, notes = _changes(series, settings, rng, feeds)
    events, slow = [], []
    for members in _clusters(series, changes):
        fit = _sampled(series, model, changes, members, rng, feeds)
        for j, member in enumerate(members):
            if member in feeds and _unseen(fit.size_m[:, j], settings):
                notes = (*notes, "of the water of a lake above nothing is seen to arrive")
                continue
            event = _event(lake, series, model, fit, j, scores[member], settings, rng)
            why = _no_event(event, series, settings)
            if why:
                notes = (*notes, why)
            if not why:
                events.append(event)
            elif _lasts(event, settings):
                slow.append(event)
    events.sort(key=lambda event: np.median(event.onset_d))
    phases = phases_of(lake, series, model, events)
    notes = (*series.notes, *notes)
    limit = settings.false_limit_per_year
    return LakeHistory(lake, tuple(events), phases, series, model, limit, notes, tuple(slow))


def _feeds(series, feeders, settings):
    """Return {number: Feed} of drainings above, the first changes of the fit."""
    feeds = {}
    for event in feeders:
        form = np.log(np.stack([event.length_d, event.rise, event.fall], axis=1))
        spread = np.cov(form.T) + _FORM_SIGMA**2 * np.eye(3)
        away_d = (event.origin_ns - series.start_ns) / NS_PER_DAY
        first = float(np.quantile(event.onset_d, 0.02)) + away_d
        if series.day[0] < first < series.day[-1]:
            root = np.linalg.inv(np.linalg.cholesky(spread))
            last = first + settings.longest_way_d
            feeds[len(feeds)] = Feed(form.mean(axis=0), root, first, last)
    return feeds


def _unseen(size, settings):
    """Say whether a change that was put in beforehand is none."""
    middle = abs(float(np.median(size)))
    return middle < settings.least_m or middle < 3.0 * float(np.std(size))


def _changes(series, settings, rng, feeds):
    """Return (numbers of each change (k, 4), model, (score, false alarms) of each, notes).

    A change that is not yet known counts as noise in the first fit: what is worth a look is judged
    by the noise that is left once its course is known.
    """
    notes, excluded = [], []
    seeds = [[0.9 * f.first_d + 0.1 * f.last_d, *f.form] for f in feeds.values()]
    numbers = np.concatenate([np.ravel(seeds), _ICE])
    scores = [(np.inf, 0.0)] * len(feeds)
    model = fitted_noise(series, courses_of(series, numbers))
    trials = Trials(series)
    for _ in range(2 * settings.most):
        known = courses_of(series, numbers)
        search = Search(series, model, known, trials)
        alarms = search.false_alarms(rng)
        found = search.best(alarms, excluded)
        if found is None or found.false_per_year > _WORTH_A_LOOK:
            break
        guess = [found.onset_d, np.log(found.length_d), np.log(2.0), np.log(2.0)]
        trial, size = _started(series, model, numbers, guess, feeds)
        reason = _refused(trial, size, len(size) - 1, settings)
        if reason and found.false_per_year > settings.false_limit_per_year:
            break
        if reason:
            excluded.append((found.onset_d, found.onset_d + found.length_d))
            notes.append(f"day {found.onset_d:.1f}: a change of {found.size_m:.3f} m {reason}")
            continue
        quiet = noise_beside(series, trial, size)
        found = Search(series, quiet, known, trials).best(alarms, excluded)
        if found is None or found.false_per_year > settings.false_limit_per_year:
            break
        numbers, size, _ = _refined(series, quiet, trial, feeds)
        model = noise_beside(series, numbers, size)
        scores.append((found.score, found.false_per_year))
        if len(scores) >= settings.most:
            notes.append(f"{len(scores)} changes found; no more were looked for")
            break
    numbers, scores, said = _kept(series, model, numbers, scores, feeds, settings)
    return numbers[:-2].reshape(-1, 4), model, scores, (*notes, *said)


def _started(series, model, numbers, guess, feeds):
    """Return (numbers, sizes) with one change more, from the best of several beginnings.

    A filling that runs into a draining hides its end, and the draining its onset: the same heights
    are then told in several ways, of which the most probable is taken.
    """
    begin, end = guess[0], guess[0] + np.exp(guess[1])
    each = numbers[:-2].reshape(-1, 4)
    near = (each[:, 0] < end) & (each[:, 0] + np.exp(each[:, 1]) > begin)
    found = []
    for shorter in (1.0, 0.6) if near.any() else (1.0,):
        for longer in (1.0, 0.5, 2.0):
            before = each.copy()
            before[near, 1] += np.log(shorter)
            for k, feed in feeds.items():
                before[k, 1:] = feed.form
            after = [guess[0], guess[1] + np.log(longer), *guess[2:]]
            start = np.concatenate([before.ravel(), after, numbers[-2:]])
            found.append(_refined(series, model, start, feeds))
    return max(found, key=lambda one: one[2])[:2]


def _refined(series, model, numbers, feeds):
    """Return (numbers, sizes (k,), log posterior) of all changes together."""
    count = (len(numbers) - 2) // 4
    changes = Changes(series, model, count, (0, len(series.day)), feeds=feeds)
    numbers, _ = changes.best(numbers)
    size, _, value = changes.solved(numbers)
    return numbers, size[0], float(value[0])


def _refused(numbers, size, k, settings):
    """Return why change ``k`` is none of its own; empty where it is one."""
    each = numbers[:-2].reshape(-1, 4)
    if abs(size[k]) < settings.least_m:
        return f"is smaller than {settings.least_m:g} m"
    onset, length = each[:, 0], np.exp(each[:, 1])
    for j in range(len(each)):
        near = onset[k] < onset[j] + 2.0 * length[j]
        near &= onset[k] + length[k] > onset[j] - length[j]
        if near and abs(size[k]) < settings.form_share * abs(size[j]):
            return "belongs to the form of a larger one beside it"
    return ""


def _kept(series, model, numbers, scores, feeds, settings):
    """Return (numbers, scores, notes) without changes that those found later have made needless.

    One may have become small, or two may have settled on one change and share its size.
    """
    notes, least = (), max(len(feeds), 1)
    if len(scores) <= least:
        return numbers, scores, notes
    numbers, size, value = _refined(series, model, numbers, feeds)
    while len(scores) > least:
        found = _needless(series, model, numbers, size, value, feeds, settings)
        if found is None:
            break
        k, reason, numbers, left, value = found
        notes += (f"a change of {size[k]:.3f} m {reason}",)
        scores, size = [*scores[:k], *scores[k + 1 :]], left
    return numbers, scores, notes


def _needless(series, model, numbers, size, value, feeds, settings):
    """Return (number, why, numbers, sizes, log posterior) without a change; None: none to spare."""
    for k in sorted(range(len(feeds), len(size)), key=lambda k: abs(size[k])):
        reason = _refused(numbers, size, k, settings)
        again = np.delete(numbers, range(4 * k, 4 * k + 4))
        if len(size) - len(feeds) < 2 and not reason:
            continue
        again, left, without = _refined(series, model, again, feeds)
        if reason or without > value - _LEAST_GAIN:
            return k, reason or "is told by another one as well", again, left, without
    return None


def _clusters(series, changes):
    """Return lists of the numbers of changes that overlap, or nearly."""
    order = np.argsort(changes[:, 0]) if len(changes) else []
    groups, reach = [], -np.inf
    for k in order:
        onset, length = changes[k, 0], np.exp(changes[k, 1])
        if groups and onset - 0.5 * length < reach:
            groups[-1].append(int(k))
        else:
            groups.append([int(k)])
        reach = max(reach, onset + 1.5 * length)
    return groups


def _sampled(series, model, changes, members, rng, feeds):
    """Return the :class:`~.fit.Fit` of changes that overlap, the others' courses free in size."""
    onset, length = changes[members, 0], np.exp(changes[members, 1])
    wide = np.maximum(3.0 * length, 15.0)
    begin, end = (onset - wide).min(), (onset + length + wide).max()
    rows = np.searchsorted(series.day, [begin, end])
    rest = [k for k in range(len(changes)) if k not in members]
    other = courses_of(series, np.concatenate([changes[rest].ravel(), _ICE]))
    own = {members.index(k): feed for k, feed in feeds.items() if k in members}
    rows = (int(rows[0]), int(rows[1]))
    problem = Changes(series, model, len(members), rows, other, own)
    return sampled(problem, np.concatenate([changes[members].ravel(), _ICE]), rng)


def _event(lake, series, model, fit, j, score, settings, rng):
    """Return the :class:`LakeEvent` of one change of a fit."""
    onset, length, rise, fall = (v[:, j] for v in (fit.onset_d, fit.length_d, fit.rise, fit.fall))
    last = ramp((series.day[-1] - onset) / length, rise, fall)
    first = ramp((series.day[0] - onset) / length, rise, fall)
    change = fit.size_m[:, j] * (last - first)
    stations, sure = station_changes(series, model, fit, j, rng)
    controls, control_sure = station_changes(series, model, fit, j, rng, controls=True)
    middle = float(np.median(change))
    beside = _beside_share(controls, control_sure, middle)
    if controls and series.beside_m.any():
        back = given_back(controls, middle)
        change, stations = change + back, {name: v + back for name, v in stations.items()}
    noise = score[1] / (score[1] + settings.real_per_year)
    probability = (1.0 - noise) * (1.0 - min(1.0, beside))
    limit, count = settings.false_limit_per_year, len(series.own)
    reasons = [
        f"in noise alone {_often(score[1])} a year of one lake, {_often(score[1] / count)} a "
        f"station-year (the limit is {limit:.2g}, {limit / count:.2g})"
    ]
    if np.isinf(score[0]):
        reasons = ["looked for because the lake above drained"]
    if beside > 0.5:
        reasons.append(f"the controls beside the lake do {beside:.0%} of it")
    signs = [np.sign(np.median(v)) for v in stations.values()]
    if len(set(signs)) > 1:
        reasons.append("the stations over the lake do not agree in its sign")
    onset_bound, end_bound = _bounds(series, onset, onset + length, middle)
    quality = {"misfit": fit.misfit, "accepted": fit.accepted, "beside": beside}
    quality |= {"size_over_sigma": abs(middle) / max(float(np.std(change)), 1e-9)}
    quality |= {"stations_sure": sure}
    return LakeEvent(
        lake, "fill" if middle > 0.0 else "drain", series.start_ns, onset, length, rise, fall,
        change, stations, probability, score[1], onset_bound, end_bound, tuple(reasons),
        quality=quality, rows_d=(float(series.day[0]), float(series.day[-1])),
    )  # fmt: skip


def _often(per_year):
    """Return a rate in words; the tail of simulated noise bears no more than one in a million."""
    return f"{per_year:.2g}" if per_year >= _RAREST else "less than one in a million"


def _no_event(event, series, settings):
    """Return in words why a change is not listed as an event; empty where it is one.

    A drift of slope or of filling rate looks like a ramp that is as long as the record.
    """
    onset, length = float(np.median(event.onset_d)), float(np.median(event.length_d))
    half = 0.5 * (series.day[0] + series.day[-1])
    against = [
        n for n, v in event.station_m.items() if _sure_sign(v) * np.median(event.change_m) < 0.0
    ]
    if _lasts(event, settings):
        why = f"it lasts longer than {settings.longest_d:g} d"
    elif onset < series.day[0] and onset + length > half:
        why = "it begins before the first row and ends after half of the record"
    elif against:
        why = f"{', '.join(against)} over the lake surely moves the other way"
    else:
        return ""
    return (
        f"day {onset:.1f} to {onset + length:.1f}: a change of {np.median(event.change_m):+.3f} m "
        f"is no event: {why}; it is left to the rates between events"
        f"{', and listed among the phases' if _lasts(event, settings) else ''}"
    )


def _lasts(event, settings):
    """Say whether a change lasts longer than an event may."""
    return float(np.median(event.length_d)) > settings.longest_d


def _sure_sign(samples):
    """Return the sign of samples whose 95 % interval has one; else 0."""
    low, _, high = interval(samples)
    return np.sign(low) if low * high > 0.0 else 0.0


def _beside_share(controls, sure, change):
    """Return the greatest share of a change that controls surely do too; 0 where none does."""
    shares = [
        float(np.median(v)) / change for name, v in controls.items() if change and sure[name] > 3.0
    ]
    return max(0.0, *shares) if shares else 0.0


def _bounds(series, onset, end, change):
    """Return words for onset and end where the record gives only a bound or an interval."""
    verb = "draining" if change < 0.0 else "filling"
    first = last = ""
    if np.mean(end > series.day[-1]) > 0.5:
        last = f"still {verb} at the last row: the end is later, the change larger"
    if np.mean(onset < series.day[0]) > 0.5:
        first = f"already {verb} at the first row: the onset is earlier, the change larger"
    words = []
    for days in (onset, end):
        before = np.clip(np.searchsorted(series.day, days) - 1, 0, len(series.day) - 2)
        gap = series.day[before + 1] - series.day[before]
        inside = (gap > _GAP_D) & (days > series.day[0]) & (days < series.day[-1])
        words.append("in a gap: only an interval is known" if inside.mean() > 0.5 else "")
    return first or words[0], last or words[1]
