"""Changes put into a record where nothing happened: what the estimates make of them.

Catalogues of events are moved around the record, a response is put in at each, of a shape drawn
from all that are tried, and is looked for as it would be: with every shape, the likeliest taken.
Noise and what has been found at the catalogue itself are known from before. All is linear in the
size of what is put in, so that every size costs little once one has been done.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import t as student

from ..errors import SettingsError
from .mixture import log_likelihood_of
from .shape import Events, columns, together

CANDIDATES = 10  # moves looked at for each that is taken; our choice


@dataclass(frozen=True)
class Trials:
    """Catalogues moved to other times. [time]

    ``onset`` (k, events) as they would be known, ``true`` (k, events) when they began, ``last``
    (events,) how long they lasted; ``sign`` (k,) of the change; ``shape`` (k, series): which of a
    grid's shapes each series answers with; ``sizes`` (a,) put in [value]; ``events``: the
    catalogue itself.
    """

    onset: np.ndarray
    true: np.ndarray
    last: np.ndarray
    sign: np.ndarray
    shape: np.ndarray
    sizes: np.ndarray
    events: Events

    def __len__(self):
        return len(self.onset)

    def only(self, keep):
        """Return the trials with only these events."""
        keep = np.asarray(keep)
        return replace(
            self,
            onset=self.onset[:, keep],
            true=self.true[:, keep],
            last=self.last[keep],
            events=self.events.only(keep),
        )

    def told(self, number):
        """Return the events of one trial as they would be known."""
        return Events(self.onset[number], self.onset[number] + self.last)

    def blurred(self, number, limits):
        """Return onsets (events, samples) of one trial as they would be known, inside limits."""
        away = self.events.onset - self.events.middle[:, None]
        return np.clip(self.onset[number][:, None] + away, *limits)

    def begun(self, number):
        """Return the events of one trial as they were."""
        return Events(self.true[number], self.true[number] + self.last)


def draw_trials(catalogues, grid, series, span, margins, sizes, generator, count, restless=None):
    """Return :class:`Trials` of each of several catalogues, moved around a record together.

    Parameters
    ----------
    catalogues : sequence of Events
        With their ends.
    grid : ShapeGrid
        Shapes are drawn from it, all equally likely.
    series : sequence of int
        How many series answer to each catalogue; each draws a shape of its own.
    span : tuple
        First and last time of the record. [time]
    margins : tuple
        Time that an event needs before it and after it: moves that leave most events so much room
        are taken. [time]
    sizes : array (a,)
        Changes put in, positive. [value]
    generator : numpy.random.Generator
    count : int
        Trials; every other one has a change upward.
    restless : callable, optional
        Of onsets (k, events), how restless the series are about each, 0 where none is told: moves
        are taken from the third that is most like the catalogues themselves.
    """
    if any(events.end is None for events in catalogues):
        raise SettingsError("changes are put in for as long as events last: give their ends")
    start, end = span
    shifts = generator.uniform(0.0, end - start, CANDIDATES * count)
    moved = [start + (e.middle - start + shifts[:, None]) % (end - start) for e in catalogues]
    every = np.concatenate(moved, axis=1)
    room = (every >= start + margins[0]) & (every <= end - margins[1])
    kept = np.argsort(-room.sum(axis=1), kind="stable")
    if restless is not None:
        own = np.concatenate([e.middle for e in catalogues])[None, :]
        unlike = np.abs(restless(every) - restless(own)).sum(axis=1)
        able = kept[: max(count, int((room.all(axis=1)).sum()))]
        kept = np.sort(able[np.argsort(unlike[able], kind="stable")][: max(count, len(able) // 3)])
    kept = kept[:count]
    found = []
    for events, onset, many in zip(catalogues, moved, series, strict=True):
        picked = generator.integers(events.samples, size=(count, len(events)))
        late = events.onset[np.arange(len(events)), picked] - events.middle
        found.append(
            Trials(
                onset=onset[kept],
                true=onset[kept] + late,
                last=np.median(events.end - events.onset, axis=1),
                sign=np.where(np.arange(count) % 2, -1.0, 1.0),
                shape=generator.integers(len(grid), size=(count, many)),
                sizes=np.asarray(sizes, float),
                events=events,
            )
        )
    return found


def response_put_in(time, trials, number, grid, shape, width):
    """Return the response (n,) of unit size of one trial with one shape of a grid."""
    return together(time, trials.begun(number), grid.only(shape), width, 0)[:, 0]


def without_own(problem):
    """Return the whitened values (m,) of a problem less the response that was found in them."""
    own = problem.whitened_shapes(problem.mean_shape(problem.best), 0.0)[:, 0]
    return problem.rest - own * (own @ problem.rest) / (own @ own)


def elsewhere(problem, places):
    """Return amplitudes (k,) and sigmas (k,) of catalogues at other onsets (k, events). [value]

    At the most likely shape, the response at the catalogue itself taken out before; NaN where the
    record does not see the events.
    """
    one, events = problem.grid.only(problem.best), problem.events
    last = np.median(events.end - events.onset, axis=1) if one.as_event else None
    if last is not None and np.shape(places)[1] != len(last):  # fewer events than the catalogue
        last = np.median(last)
    shapes = []
    for onset in places:
        moved = Events(onset, None if last is None else onset + last)
        shapes.append(together(problem.ready.time, moved, one, problem.width, 0)[:, 0])
    rest = without_own(problem)
    white = problem.whitened_shapes(np.stack(shapes, axis=1), problem.peak[problem.best])
    information = (white**2).sum(axis=0)
    information = np.where(information > 0.0, information, np.nan)
    return white.T @ rest / information, np.sqrt(problem.noise.level / information)


def estimates_put_in(problem, trials, shapes):
    """Return estimates (k, a, events) and covariances (k, a, events, events) of each size.

    Event by event at the likeliest shape, as a response is reported. ``shapes`` (k,): which shape
    of the problem's grid is put in. NaN where the record does not see an event. [value]
    """
    ready, grid, width, sizes = problem.ready, problem.grid, problem.width, trials.sizes
    rest = without_own(problem)
    events = trials.onset.shape[1]
    found = np.full((len(trials), len(sizes), events), np.nan)
    spread = np.full((len(trials), len(sizes), events, events), np.nan)
    for k in range(len(trials)):
        told = trials.told(k)
        response = response_put_in(ready.time, trials, k, grid, shapes[k], width)
        own = problem.whitened_shapes(response[:, None], 0.0)[:, 0]
        table = together(ready.time, told, grid, width, 0)
        best = _likeliest(problem, table, rest, own, trials.sign[k] * sizes)
        for number in np.unique(best[best >= 0]):
            at = np.flatnonzero(best == number)
            white = problem.whitened_shapes(
                columns(ready.time, told, grid.only(number), width, 0)[:, :, 0].T,
                problem.peak[number],
            )
            seen = np.flatnonzero((white**2).sum(axis=0) > 0.0)
            basis, triangle = np.linalg.qr(white[:, seen])
            size = np.abs(np.diag(triangle))
            if not len(seen) or size.min() <= 1e-6 * size.max():
                continue
            inverse = np.linalg.inv(triangle)
            put_in = rest[:, None] + own[:, None] * (trials.sign[k] * sizes[at])
            found[np.ix_([k], at, seen)] = (inverse @ (basis.T @ put_in)).T
            spread[np.ix_([k], at, seen, seen)] = problem.noise.level * inverse @ inverse.T
    return found, spread


def _likeliest(problem, table, rest, own, sizes):
    """Return the number of the likeliest shape (a,) at each size; -1 where none is seen."""
    white = problem.whitened_shapes(table, problem.peak)
    information = (white**2).sum(axis=0)
    seen = information > 0.0
    if not seen.any():
        return np.full(len(sizes), -1)
    product = (white.T @ rest)[:, None] + (white.T @ own)[:, None] * sizes
    score = product**2 / np.where(seen, information, 1.0)[:, None]
    return np.where(seen[:, None], score, -1.0).argmax(axis=0)


@dataclass(frozen=True)
class Doubts:
    """What counter-tests make of what was put in: (k, a) each.

    ``early``: probability that it began surely before, ``trend_p`` of a change under way before.
    """

    early: np.ndarray
    trend_p: np.ndarray


def doubts_put_in(problem, trials, responses, grid, length):
    """Return the :class:`Doubts` of responses (k, n) of unit size.

    Parameters
    ----------
    problem : Problem
        Of the order in time, its shapes those of :func:`~.counter_tests.both_ways`.
    trials : Trials
    responses : array (k, n)
        At the times of the series, gaps included.
    grid : ShapeGrid
        Shapes of a response, without those that begin before.
    length : float
        Of the ramp before the events. [time]
    """
    early, trend_p = np.full((2, len(trials), len(trials.sizes)), np.nan)
    lags = problem.grid.table[:, 0]
    for k, white, seen, put_in in _looked_for(problem, trials, responses):
        score = (white.T @ put_in) ** 2 / (white**2).sum(axis=0)[:, None] / problem.noise.level
        likely = np.exp([log_likelihood_of(s, problem.noise.free) for s in score.T])
        early[k] = likely @ (lags[seen] < -problem.width) / likely.sum(axis=1)
        late = np.where(lags[seen] >= grid.table[0, 0], score.T, -1.0).argmax(axis=1)
        ramp = ramp_before(problem.ready.time, trials.told(k), length)
        ramp = problem.whitened_shapes(ramp[:, None], 0.0)
        trend_p[k] = _beside(white[:, late], ramp, put_in, problem)
    return Doubts(early, trend_p)


def amplitudes_put_in(problem, trials, responses):
    """Return estimates (k, a) of each size, of all events together at the likeliest shape.

    ``responses`` (k, n) of unit size, at the times of the series, gaps included. NaN where the
    record sees no shape. [value]
    """
    found = np.full((len(trials), len(trials.sizes)), np.nan)
    for k, white, _, put_in in _looked_for(problem, trials, responses):
        information, product = (white**2).sum(axis=0)[:, None], white.T @ put_in
        best = (product**2 / information).argmax(axis=0)[None]
        found[k] = np.take_along_axis(product / information, best, axis=0)[0]
    return found


def _looked_for(problem, trials, responses):
    """Yield (k, whitened shapes (m, s), which of the grid (g,), values (m, a)) of trials.

    Of those shapes that the record sees, where it sees any; the responses (k, n) are put in.
    """
    ready, rest = problem.ready, without_own(problem)
    for k in range(len(trials)):
        own = problem.whitened_shapes(responses[k][ready.present][:, None], 0.0)[:, 0]
        put_in = rest[:, None] + own[:, None] * (trials.sign[k] * trials.sizes)
        table = together(ready.time, trials.told(k), problem.grid, problem.width, 0)
        white = problem.whitened_shapes(table, problem.peak)
        seen = (white**2).sum(axis=0) > 0.0
        if seen.any():
            yield k, white[:, seen], seen, put_in


def ramp_before(time, events, length):
    """Return a ramp (n,) over ``length`` [time] that ends at each onset, averaged over samples."""
    total = np.zeros(len(time))
    for onset in events.onset.T:
        since = (time[:, None] - onset) / length
        total += np.where((since > -1.0) & (since < 0.0), 1.0 + since, 0.0).sum(axis=1)
    return total / events.samples


def _beside(shapes, ramp, values, problem):
    """Return the two-sided p (a,) of a ramp (m, 1) beside a shape for each column of values."""
    size = (shapes**2).sum(axis=0)
    along = (shapes * ramp).sum(axis=0)
    information = (ramp**2).sum() - along**2 / size
    product = (ramp * values).sum(axis=0) - along * (shapes * values).sum(axis=0) / size
    score = product / np.sqrt(np.maximum(information, 1e-300) * problem.noise.level)
    return 2.0 * student.sf(np.abs(score), problem.degrees)
