"""Observations moved by a repaired date, and cut to a window of time."""

from dataclasses import replace

import numpy as np


def shifted(observations, shift_ns):
    """Return the observations with every epoch and event moved by ``shift_ns``. [ns]"""
    if shift_ns == 0:
        return observations
    events = tuple(
        event if event.time_ns is None else replace(event, time_ns=event.time_ns + shift_ns)
        for event in observations.events
    )
    return replace(observations, time_ns=observations.time_ns + shift_ns, events=events)


def cut(observations, first_ns, end_ns):
    """Return the epochs with ``first_ns <= time < end_ns`` and all that belongs to them."""
    inside = (observations.time_ns >= first_ns) & (observations.time_ns < end_ns)
    if inside.all():
        return observations
    kept = np.flatnonzero(inside)
    counts = np.diff(observations.row_start)
    rows = np.repeat(inside, counts)
    new_index = np.concatenate([[0], np.cumsum(inside)])
    events = tuple(
        replace(event, epoch_index=int(new_index[min(event.epoch_index, len(inside))]))
        for event in observations.events
        if event.epoch_index < len(inside) and inside[event.epoch_index]
    )
    return replace(
        observations,
        time_ns=observations.time_ns[kept],
        flag=observations.flag[kept],
        clock_offset_s=observations.clock_offset_s[kept],
        row_start=np.concatenate([[0], np.cumsum(counts[kept])]).astype(np.int64),
        satellite=observations.satellite[rows],
        value=observations.value[rows],
        lock=observations.lock[rows],
        strength=observations.strength[rows],
        events=events,
    )
