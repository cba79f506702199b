"""Cycle-slip records (epoch flag 6) become lock bits of the epoch they belong to."""

import dataclasses

import numpy as np

_SLIP_FLAG = 6
_SLIP_BIT = 1
_UNPLACED = "slip record of a satellite that the epoch does not hold"


def mark_slips(record, notes):
    """Return the record without its slip records, their slips set as lock bit 1.

    A slip belongs to the epoch of the same time, else to the next one.
    """
    slip = record.flag == _SLIP_FLAG
    if not slip.any():
        return record
    kept = np.flatnonzero(~slip)
    rows_of = np.repeat(np.arange(len(record)), np.diff(record.row_start))
    own = np.isin(rows_of, kept)
    new_index = np.cumsum(~slip) - 1
    times = record.time_ns[kept]
    lock, satellite = record.lock[own].copy(), record.satellite[own]
    epoch = new_index[rows_of[own]]
    place = {key: k for k, key in enumerate(zip(epoch.tolist(), satellite.tolist(), strict=True))}
    for row in np.flatnonzero(~own):
        target = int(np.searchsorted(times, record.time_ns[rows_of[row]]))
        at = place.get((target, int(record.satellite[row])))
        if at is None:
            notes.add(0, _UNPLACED)
            continue
        lock[at] |= np.where(np.isnan(record.value[row]), 0, _SLIP_BIT).astype(np.uint8)
    counts = np.bincount(epoch, minlength=len(kept))
    events = [
        dataclasses.replace(e, epoch_index=int(np.count_nonzero(~slip[: e.epoch_index])))
        for e in record.events
    ]
    return dataclasses.replace(
        record,
        time_ns=times,
        flag=record.flag[kept],
        clock_offset_s=record.clock_offset_s[kept],
        row_start=np.concatenate(([0], np.cumsum(counts))).astype(np.int64),
        satellite=satellite,
        value=record.value[own],
        lock=lock,
        strength=record.strength[own],
        events=tuple(events),
    )
