"""Joining the orbit files of several days."""

from dataclasses import fields

import numpy as np

from ...errors import ProductError
from ...tables import Orbits, PassedOver

_TABLES: tuple[str, ...] = ("position_m", "clock_s", "velocity_m_s", "clock_rate")
_TABLES += ("position_sigma_m", "clock_sigma_s")
_FLAGS = ("clock_event", "clock_predicted", "manoeuvre", "orbit_predicted")
_GROUPS = {"position_m": _TABLES[0:1] + _TABLES[2:3] + _TABLES[4:5] + _FLAGS[2:]}
_GROUPS["clock_s"] = _TABLES[1:2] + _TABLES[3:4] + _TABLES[5:6] + _FLAGS[:2]


def join(parts):
    """Return one :class:`Orbits` of several, in the order given.

    Where two hold the same satellite at the same epoch, the earlier one's position (and clock)
    stays and a later one only fills what is missing. A differing frame is noted in
    ``passed_over``, not corrected. Raises ProductError when there is nothing to join.
    """
    parts = list(parts)
    if not parts:
        raise ProductError("no orbits to join; name at least one SP3 file")
    if len(parts) == 1:
        return parts[0]
    times = np.unique(np.concatenate([p.time_ns for p in parts]))
    satellites = np.unique(np.concatenate([p.satellites for p in parts]))
    tables = _merged(parts, times, satellites)
    first = parts[0]
    given = {f.name: getattr(first, f.name) for f in fields(Orbits)}
    given |= tables | {"time_ns": times, "satellites": satellites}
    given["accuracy_m"] = _accuracy(parts, satellites)
    for name in ("comments", "files"):
        given[name] = tuple(text for p in parts for text in getattr(p, name))
    given["passed_over"] = tuple(n for p in parts for n in p.passed_over) + _frame_notes(parts)
    return Orbits(**given)


def _merged(parts, times, satellites):
    shape = len(times), len(satellites)
    tables = {}
    for name in _TABLES + _FLAGS:
        present = [p for p in parts if getattr(p, name) is not None]
        kind = bool if name in _FLAGS else float
        tail = getattr(present[0], name).shape[2:] if present else ()
        tables[name] = np.full(shape + tail, False if kind is bool else np.nan) if present else None
    for part in parts:
        place = np.ix_(
            np.searchsorted(times, part.time_ns), np.searchsorted(satellites, part.satellites)
        )
        for leader, names in _GROUPS.items():
            missing = np.isnan(tables[leader][place])
            missing = missing.any(axis=-1) if missing.ndim == 3 else missing
            for name in names:
                _fill(tables[name], place, getattr(part, name), missing)
    return tables


def _fill(table, place, values, missing):
    """Set ``values`` into ``table[place]`` where ``missing``."""
    if table is None or values is None:
        return
    old = table[place]
    wide = missing[..., None] if old.ndim == 3 else missing
    table[place] = np.where(wide, values, old)


def _accuracy(parts, satellites):
    present = [p for p in parts if p.accuracy_m is not None]
    if not present:
        return None
    accuracy = np.full(len(satellites), np.nan)
    for part in present:
        index = np.searchsorted(satellites, part.satellites)
        accuracy[index] = np.fmax(accuracy[index], part.accuracy_m)  # the worse of two is kept
    return accuracy


def _frame_notes(parts):
    notes = []
    for part in parts[1:]:
        if part.frame != parts[0].frame:
            reason = f"frame {part.frame or 'not named'} joined to frame {parts[0].frame}"
            notes.append(PassedOver(part.files[0] if part.files else "", 0, reason))
    return tuple(notes)
