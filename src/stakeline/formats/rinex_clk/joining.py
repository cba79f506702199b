"""Joining the clock files of several days."""

import numpy as np

from ...errors import ProductError
from ...tables import Clocks, PassedOver


def join(parts):
    """Return one :class:`Clocks` of several, in the order given.

    Where two hold the same clock at the same epoch the earlier one stays; a later one only fills
    what is missing. A differing frame or antenna model is noted in ``passed_over``. Raises
    ProductError when there is nothing to join.
    """
    parts = list(parts)
    if not parts:
        raise ProductError("no clocks to join; name at least one clock file")
    if len(parts) == 1:
        return parts[0]
    times = np.unique(np.concatenate([p.time_ns for p in parts]))
    satellites = np.unique(np.concatenate([p.satellites for p in parts]))
    bias, sigma = (np.full((len(times), len(satellites)), np.nan) for _ in range(2))
    for part in parts:
        place = np.ix_(
            np.searchsorted(times, part.time_ns), np.searchsorted(satellites, part.satellites)
        )
        missing = np.isnan(bias[place])
        bias[place] = np.where(missing, part.bias_s, bias[place])
        sigma[place] = np.where(missing, part.sigma_s, sigma[place])
    models = {}
    for part in reversed(parts):
        models |= part.antenna_models
    return Clocks(
        times,
        satellites,
        bias,
        sigma,
        agency=parts[0].agency,
        frame=parts[0].frame,
        antenna_models=models,
        receivers=_receivers(parts),
        comments=tuple(c for p in parts for c in p.comments),
        passed_over=tuple(n for p in parts for n in p.passed_over) + _differences(parts),
        files=tuple(f for p in parts for f in p.files),
    )


def _receivers(parts):
    receivers = {}
    for part in parts:
        for name, columns in part.receivers.items():
            before = receivers.get(name)
            if before is not None:
                columns = _two_in_time(before, columns)
            receivers[name] = columns
    return receivers


def _two_in_time(earlier, later):
    new = ~np.isin(later[0], earlier[0])
    joined = [np.concatenate((a, b[new])) for a, b in zip(earlier, later, strict=True)]
    order = np.argsort(joined[0], kind="stable")
    return tuple(column[order] for column in joined)


def _differences(parts):
    notes = []
    for part in parts[1:]:
        file = part.files[0] if part.files else ""
        if part.frame != parts[0].frame:
            reason = f"frame {part.frame or 'not named'} joined to frame {parts[0].frame}"
            notes.append(PassedOver(file, 0, reason))
        if part.antenna_models != parts[0].antenna_models:
            notes.append(PassedOver(file, 0, "antenna models differ between joined clock files"))
    return tuple(notes)
