"""Pieces of one station's observations put together: codes reconciled, epochs in order, once."""

import dataclasses

import numpy as np

from ...errors import FormatError
from ...tables import SYSTEMS, Event, Observations, PassedOver

_MOST_SATELLITES = 100 * len(SYSTEMS)


def join(observations):
    """Return the pieces of one station as one record, sorted by epoch, each epoch once.

    Parameters
    ----------
    observations : sequence of Observations
        Hourly or other pieces in any order; lists of observables may differ.

    Where two pieces hold the same epoch, its satellites are merged: the piece that starts earlier
    counts, the other one fills what is missing. How many epochs were merged and how many values
    differed stands in ``passed_over``. The header is that of the earliest piece.

    Raises
    ------
    FormatError
        Where there is no piece.
    """
    pieces = [piece for piece in observations if len(piece)] or list(observations)[:1]
    if not pieces:
        raise FormatError("pieces", None, "no observations", "at least one piece")
    pieces.sort(key=lambda piece: int(piece.time_ns[0]) if len(piece) else 0)
    left_out = [piece for piece in observations if not any(piece is kept for kept in pieces)]
    whole = in_order(concatenate(pieces))
    extra = tuple(note for piece in left_out for note in piece.passed_over)
    files = tuple(dict.fromkeys((*whole.files, *(f for p in left_out for f in p.files))))
    return dataclasses.replace(whole, passed_over=(*whole.passed_over, *extra), files=files)


def union_of_codes(pieces):
    """Return {system: codes} that holds the observables of all pieces, first come first."""
    codes = {}
    for piece in pieces:
        for system, listed in piece.codes.items():
            known = codes.setdefault(system, [])
            known += [code for code in listed if code not in known]
    return {system: tuple(codes[system]) for system in sorted(codes, key=SYSTEMS.index)}


def with_codes(piece, codes):
    """Return (value, lock, strength) of a piece in the columns of ``codes``."""
    columns = max((len(listed) for listed in codes.values()), default=0)
    same = all(codes[s][: len(c)] == c for s, c in piece.codes.items())
    if same and piece.value.shape[1] == columns:
        return piece.value, piece.lock, piece.strength
    rows = len(piece.satellite)
    arrays = (piece.value, piece.lock, piece.strength)
    wider = (
        *(np.full((rows, columns), np.nan), np.zeros((rows, columns), np.uint8)),
        np.zeros((rows, columns), np.uint8),
    )
    for system, listed in piece.codes.items():
        own = np.flatnonzero(piece.satellite // 100 == SYSTEMS.index(system))
        target = [codes[system].index(code) for code in listed]
        for source, array in zip(arrays, wider, strict=True):
            array[np.ix_(own, target)] = source[own, : len(listed)]
    return wider


def concatenate(pieces):
    """Return the pieces one after the other, in one list of observables; epochs as they come."""
    if len(pieces) == 1:
        return pieces[0]
    codes = union_of_codes(pieces)
    parts = [with_codes(piece, codes) for piece in pieces]
    before = np.cumsum([0] + [len(piece.satellite) for piece in pieces])
    starts = [p.row_start[:-1] + b for p, b in zip(pieces, before[:-1], strict=True)]
    events, epochs = [], 0
    for piece in pieces:
        events += [dataclasses.replace(e, epoch_index=e.epoch_index + epochs) for e in piece.events]
        epochs += len(piece)
    return Observations(
        header=pieces[0].header,
        time_ns=np.concatenate([piece.time_ns for piece in pieces]),
        flag=np.concatenate([piece.flag for piece in pieces]),
        clock_offset_s=np.concatenate([piece.clock_offset_s for piece in pieces]),
        row_start=np.concatenate([*starts, before[-1:]]).astype(np.int64),
        satellite=np.concatenate([piece.satellite for piece in pieces]),
        value=np.concatenate([part[0] for part in parts]),
        lock=np.concatenate([part[1] for part in parts]),
        strength=np.concatenate([part[2] for part in parts]),
        codes=codes,
        events=tuple(events),
        passed_over=tuple(note for piece in pieces for note in piece.passed_over),
        files=tuple(dict.fromkeys(name for piece in pieces for name in piece.files)),
    )


def in_order(whole):
    """Return the record with its epochs sorted and those of equal time merged."""
    if len(whole) < 2 or np.all(np.diff(whole.time_ns) > 0):
        return whole
    order = np.argsort(whole.time_ns, kind="stable")
    time_ns = whole.time_ns[order]
    first = np.concatenate(([True], np.diff(time_ns) > 0))
    group = np.cumsum(first) - 1
    epochs = int(group[-1]) + 1
    counts = np.diff(whole.row_start)[order]
    offset = whole.row_start[:-1][order] - np.concatenate(([0], np.cumsum(counts)[:-1]))
    row = np.repeat(offset, counts) + np.arange(counts.sum())
    epoch = np.repeat(group, counts)
    cells = (whole.value[row], whole.lock[row], whole.strength[row])
    satellite = whole.satellite[row]
    keep, differing = _merge_rows(epoch * _MOST_SATELLITES + satellite, *cells)
    flag = np.zeros(epochs, np.uint8)
    np.maximum.at(flag, group, whole.flag[order])
    clock = np.full(epochs, np.nan)
    clock[group[::-1]] = whole.clock_offset_s[order][::-1]
    known = np.flatnonzero(~np.isnan(whole.clock_offset_s[order]))[::-1]
    clock[group[known]] = whole.clock_offset_s[order][known]
    times = time_ns[first]
    return dataclasses.replace(
        whole,
        time_ns=times,
        flag=flag,
        clock_offset_s=clock,
        row_start=np.concatenate(([0], np.cumsum(np.bincount(epoch[keep], minlength=epochs)))),
        satellite=satellite[keep],
        value=cells[0][keep],
        lock=cells[1][keep],
        strength=cells[2][keep],
        events=_moved_events(whole, times),
        passed_over=(*whole.passed_over, *_merge_notes(whole, len(order) - epochs, differing)),
    )


def _merge_rows(key, value, lock, strength):
    """Fill the first row of each key from the others, in place; return (rows to keep, differing).

    ``differing`` counts values that are there twice and are not the same.
    """
    order = np.argsort(key, kind="stable")
    new = np.concatenate(([True], np.diff(key[order]) != 0)) if key.size else np.zeros(0, bool)
    keep = np.zeros(key.size, bool)
    keep[order[new]] = True
    start = np.flatnonzero(new)
    rank = np.arange(key.size) - np.repeat(start, np.diff(np.append(start, key.size)))
    head = order[np.repeat(start, np.diff(np.append(start, key.size)))]
    differing = 0
    for k in range(1, int(rank.max(initial=0)) + 1):
        at = np.flatnonzero(rank == k)
        target, source = head[at], order[at]
        missing = np.isnan(value[target])
        both = ~missing & ~np.isnan(value[source])
        differing += int(np.count_nonzero(both & (value[target] != value[source])))
        for array in (value, lock, strength):
            array[target] = np.where(missing, array[source], array[target])
    return keep, differing


def _merge_notes(whole, merged, differing):
    name = whole.files[-1] if whole.files else ""
    notes = [PassedOver(name, 0, "epochs merged with an earlier epoch of the same time", merged)]
    notes += [PassedOver(name, 0, "values that differ at one epoch; the first counts", differing)]
    if not merged:
        notes += [PassedOver(name, 0, "epochs out of order, sorted")]
    return [note for note in notes if note.count]


def _moved_events(whole, times):
    """Return the events with the index of the next epoch among the sorted ``times``."""
    moved = []
    for event in whole.events:
        k = event.epoch_index
        if k < len(whole):
            index = int(np.searchsorted(times, whole.time_ns[k]))
        else:
            index = int(np.searchsorted(times, whole.time_ns[-1], side="right"))
        moved.append(Event(event.time_ns, event.flag, index, event.lines))
    return tuple(sorted(moved, key=lambda event: event.epoch_index))
