"""The shape of a response to an event, without a unit: nothing, a rise, a plateau, a decay.

After the lag the shape rises in a line from 0 to 1, stays there for the duration and decays
exponentially. Values of a series are means over its sampling interval, and so is the shape: that
makes it continuous in every parameter, whatever of them is 0.
"""

from dataclasses import dataclass, field

import numpy as np

from ..errors import SettingsError
from . import _kernels


@dataclass(frozen=True)
class Events:
    """When events began and ended, as equally likely samples, drawn together. [time]

    ``onset`` and ``end`` (events, samples); a certain time is one sample. ``end`` is needed only
    by shapes that last as long as their event.
    """

    onset: np.ndarray
    end: np.ndarray | None = None

    def __post_init__(self):
        onset = np.asarray(self.onset, float)
        if onset.size == 0:
            raise SettingsError("no event was given: there is nothing to estimate")
        onset = onset[:, None] if onset.ndim == 1 else onset
        object.__setattr__(self, "onset", onset)
        if not np.isfinite(onset).all():
            raise SettingsError("a time of an event is missing (NaN): leave the event out")
        if self.end is not None:
            end = np.asarray(self.end, float)
            end = end[:, None] if end.ndim == 1 else end
            object.__setattr__(self, "end", end)
            if end.shape != onset.shape or (end < onset).any():
                raise SettingsError("ends of events are missing, or before their beginnings")

    def __len__(self):
        return self.onset.shape[0]

    @property
    def samples(self):
        """Return the number of samples of the times."""
        return self.onset.shape[1]

    @property
    def middle(self):
        """Return the median onset (events,). [time]"""
        return np.median(self.onset, axis=1)

    def only(self, keep):
        """Return the events of a mask or of numbers."""
        return Events(self.onset[keep], None if self.end is None else self.end[keep])

    def moved(self, by):
        """Return the events moved in time."""
        return Events(self.onset + by, None if self.end is None else self.end + by)


@dataclass(frozen=True)
class ShapeGrid:
    """The shapes that are possible, all combinations equally likely beforehand. [time]

    With ``as_event`` a plateau lasts as long as its event, and the durations are added to it.
    """

    lags: tuple = (0.0,)
    rises: tuple = (0.0,)
    durations: tuple = (np.inf,)
    decays: tuple = (0.0,)
    as_event: bool = False
    table: np.ndarray = field(init=False, repr=False)

    def __post_init__(self):
        axes = [np.atleast_1d(np.asarray(a, float)) for a in self.axes()]
        if not all(a.size for a in axes) or any(np.isnan(a).any() for a in axes):
            raise SettingsError("a shape needs at least one lag, rise, duration and decay")
        if any((a < 0.0).any() for a in axes[1:]) or not np.isfinite(axes[0]).all():
            raise SettingsError("rises, durations and decays of a shape are 0 or longer")
        if not np.isfinite(axes[1]).all():
            raise SettingsError("a rise that never ends is no rise: give a finite one")
        table = np.stack([a.ravel() for a in np.meshgrid(*axes, indexing="ij")], axis=1)
        object.__setattr__(self, "table", table)

    def axes(self):
        """Return lags, rises, durations, decays."""
        return self.lags, self.rises, self.durations, self.decays

    def __len__(self):
        return len(self.table)

    def only(self, number):
        """Return the grid of one shape."""
        axes = [(value,) for value in self.table[number]]
        return ShapeGrid(*axes, as_event=self.as_event)

    @property
    def shortest(self):
        """Return the shortest time from the beginning of a response to its decline. [time]"""
        return (self.table[:, 1] + self.table[:, 2]).min()

    def duration(self, last=0.0):
        """Return the time (g,) that a plateau of the same integral would last. [time]

        Rise / 2 + plateau + decay; ``last`` is how long the event lasted.
        """
        plateau = self.table[:, 2] + (last if self.as_event else 0.0)
        return 0.5 * self.table[:, 1] + plateau + self.table[:, 3]

    def peak(self, width):
        """Return about the largest value (g,) of each shape among means over ``width``."""
        return np.minimum(self.duration() / width, 1.0)


def integral(since, rise, duration, decay):
    """Return the integral of the shape from its beginning to ``since`` later. [time]

    All arguments broadcast; 0 before the beginning. The derivative is the shape itself.
    """
    since = np.maximum(since, 0.0)
    rising = np.minimum(since, rise)
    area = 0.5 * rising**2 / np.where(rise > 0.0, rise, 1.0)
    late = np.maximum(since - rise, 0.0)
    area = area + np.minimum(late, duration)
    tail = np.maximum(late - duration, 0.0)
    slow = np.where(decay > 0.0, decay, 1.0)
    forever = np.isinf(slow)
    slow = np.where(forever, 1.0, slow)
    after = np.where(forever, tail, -slow * np.expm1(-tail / slow))
    return area + np.where(decay > 0.0, after, 0.0)


def shape(since, rise, duration, decay, width):
    """Return the mean of the shape over a sampling interval ``width`` centred at ``since``."""
    half = 0.5 * width
    upper = integral(since + half, rise, duration, decay)
    return (upper - integral(since - half, rise, duration, decay)) / width


def columns(time, events, grid, width, sample):
    """Return the shapes (events, n, g) of one sample of the events' times."""
    found = np.zeros((len(events), len(time), len(grid)))
    for number, out in enumerate(found):
        _add(time, events, grid, width, sample, number, out)
    return found


def together(time, events, grid, width, sample):
    """Return the shapes (n, g) of all events together, for one sample of their times."""
    out = np.zeros((len(time), len(grid)))
    for number in range(len(events)):
        _add(time, events, grid, width, sample, number, out)
    return out


def reached(until, events, grid, sample):
    """Return the integrals (events, g) of the shapes up to a time. [time]"""
    lag, rise, duration, decay = grid.table.T
    found = []
    for number in range(len(events)):
        last = _last(events, number, sample) if grid.as_event else 0.0
        since = until - events.onset[number, sample] - lag
        found.append(integral(since, rise, duration + last, decay))
    return np.stack(found)


def _add(time, events, grid, width, sample, number, out):
    last = _last(events, number, sample) if grid.as_event else 0.0
    time = np.ascontiguousarray(time, float)
    onset = float(events.onset[number, sample])
    _kernels.add_shapes(time, onset, float(last), grid.table, float(width), out)


def _last(events, number, sample):
    if events.end is None:
        raise SettingsError("a response as long as its event needs the ends of the events")
    return events.end[number, sample] - events.onset[number, sample]
