"""Tables of positions in several terrestrial frames, brought to one."""

from collections import Counter
from dataclasses import dataclass

import numpy as np

from ..constants import NS_PER_DAY
from ..earth.ellipsoid import geodetic_from_xyz
from ..earth.frames import frame_name, transform_rows
from ..errors import FormatError, SettingsError
from .series import BROADCAST_FRAME

NOT_STATED = "not stated"
DAYS_TOLD = 6
_SIGMAS = ("sigma_east_m", "sigma_north_m", "sigma_up_m")


@dataclass(frozen=True)
class FramePlan:
    """What becomes of tables: the frame, which (n,) are moved to it, left aside, kept as broadcast.

    ``possible`` is False where a table says no frame and another does: nothing can be moved then.
    """

    frame: str
    moved: tuple
    aside: tuple
    widened: tuple
    possible: bool = True

    @property
    def plain(self):
        """Whether all tables stay as they are."""
        return not (self.possible and any((*self.moved, *self.aside, *self.widened)))


def frame_plan(frames, days, wanted=None, broadcast_sigma_m=None):
    """Return the :class:`FramePlan` of tables.

    Parameters
    ----------
    frames : sequence of str
        Of each table.
    days : sequence of int
        How many days each table holds.
    wanted : str, optional
        The campaign's frame; else that of most days, those with broadcast orbits not counted.
    broadcast_sigma_m : float, optional
        What days with broadcast orbits are kept with among others; None: they are left aside.

    Raises
    ------
    SettingsError
        Where the frame wanted is not known.
    """
    if wanted is not None:
        try:
            frame_name(wanted)
        except SettingsError as problem:
            raise SettingsError(f"campaign.toml: [position] frame: {problem}") from None
    count = Counter()
    for frame, number in zip(frames, days, strict=True):
        count[_group(frame)] += number
    groups = [g for g, _ in count.most_common()]
    precise = [g for g in groups if g not in (BROADCAST_FRAME, NOT_STATED)]
    target = frame_name(wanted) if wanted else (precise or groups)[0]
    named = Counter({f: d for f, d in zip(frames, days, strict=True) if _group(f) == target})
    name = wanted or (named.most_common(1)[0][0] if named else target)
    alone = len(groups) == 1 and groups[0] == BROADCAST_FRAME and not wanted
    broadcast = tuple(_group(f) == BROADCAST_FRAME and not alone for f in frames)
    none = (False,) * len(frames)
    if NOT_STATED in groups:
        return FramePlan(name, none, none, none, possible=False)
    if broadcast_sigma_m is None:
        aside, widened = broadcast, none
    else:
        aside, widened = none, broadcast
    moved = tuple(
        _group(f) != target and not left and not alone
        for f, left in zip(frames, aside, strict=True)
    )
    return FramePlan(name, moved, aside, widened)


def _group(frame):
    """Return the realisation that a table's frame stands for; as broadcast; or not stated."""
    if frame in (BROADCAST_FRAME, NOT_STATED):
        return frame
    try:
        return frame_name(frame)
    except SettingsError:
        return NOT_STATED


def in_one_frame(tables, frames, plan, broadcast_sigma_m=None):
    """Return (tables that are left, sentences on what was done to them).

    Parameters
    ----------
    tables : sequence of dict of arrays
        With all columns of positions.
    frames : sequence of str
    plan : FramePlan
    broadcast_sigma_m : float, optional
    """
    kept, told = [], {}
    for k, (table, frame) in enumerate(zip(tables, frames, strict=True)):
        days = np.unique(table["time_gps"].astype("datetime64[D]").astype(str)).tolist()
        if plan.aside[k]:
            told.setdefault(("aside", frame), []).append((days, 0.0))
            continue
        size = 0.0
        if plan.moved[k]:
            table, size = _moved(table, frame, plan.frame)
        if plan.widened[k]:
            table = table | {n: np.hypot(table[n], broadcast_sigma_m) for n in _SIGMAS}
        if plan.moved[k]:
            told.setdefault(("broadcast" if plan.widened[k] else "moved", frame), []).append(
                (days, size)
            )
        kept.append(table)
    return kept, _sentences(told, plan.frame, broadcast_sigma_m)


def _moved(table, frame, to_frame):
    """Return (a table with coordinates in another frame, the largest shift [m])."""
    xyz = np.stack([table[f"{axis}_m"] for axis in "xyz"], axis=1).astype(float)
    time_ns = table["time_gps"].astype("datetime64[ns]").view(np.int64)
    there = transform_rows(xyz, frame, time_ns, to_frame)
    good = np.isfinite(there).all(axis=1)
    place = np.full((3, len(xyz)), np.nan)
    if good.any():
        place[:, good] = geodetic_from_xyz(there[good])
    new = dict(zip(("x_m", "y_m", "z_m"), there.T, strict=True))
    new |= {"latitude_deg": np.degrees(place[0]), "longitude_deg": np.degrees(place[1])}
    new["height_m"] = place[2]
    shift = np.linalg.norm(there - xyz, axis=1)[good]
    return table | new, float(shift.max(initial=0.0))


def _sentences(told, frame, broadcast_sigma_m):
    """Return what was done, a sentence for each kind and frame."""
    said = []
    for (kind, source), parts in told.items():
        days = sorted({day for some, _ in parts for day in some})
        largest = max(size for _, size in parts)
        text = f"{', '.join(days[:DAYS_TOLD])}"
        text += f" and {len(days) - DAYS_TOLD} more" if len(days) > DAYS_TOLD else ""
        count = f"{len(days)} day{'s' * (len(days) != 1)}"
        if kind == "aside":
            said.append(
                f"{count} with broadcast orbits ({source}, good to decimetres) put aside among "
                f"positions in {frame}: {text}; fetch precise orbits ('stakeline products') and "
                "position again, or keep them with a sigma of their own (broadcast_sigma_m in "
                "[position])"
            )
            continue
        words = (
            f"{count} in {source} ({frame_name(source)}) brought to {frame} ({frame_name(frame)}) "
            f"at their epochs by the published parameters, by up to {1e3 * largest:.1f} mm: {text}"
        )
        if kind == "broadcast":
            words += f"; of broadcast orbits, sigmas enlarged by {broadcast_sigma_m:g} m"
        said.append(words)
    return tuple(said)


def tables_as_one(settings, part, tables, frames):
    """Return (the tables that a station names in one frame, that frame, sentences on it).

    Parameters
    ----------
    settings : PositionPart
    part : StationPart
    tables : sequence of dict of arrays
    frames : sequence of str

    Raises
    ------
    FormatError
        Where one of them says no frame, or is of broadcast orbits and the settings do not want it.
    """
    days = [day_count(table["time_gps"]) for table in tables]
    plan = frame_plan(frames, days, settings.frame, settings.broadcast_sigma_m)
    if not plan.possible or any(plan.aside):
        pairs = zip(frames, part.positions, strict=True)
        found = " and ".join(f"{frame} in {name}" for frame, name in pairs)
        raise FormatError(
            part.positions[0], None, f"frames {found}", "frames that can be brought to one",
            "name the realisation of each in its metadata (frame), such as IGS20; WGS84 alone is "
            "known to decimetres: give broadcast_sigma_m in [position] to keep such rows",
        )  # fmt: skip
    tables, said = in_one_frame(tables, frames, plan, settings.broadcast_sigma_m)
    return tables, plan.frame, said


def day_count(time_gps):
    """Return on how many days of the GPS calendar a table has rows."""
    return len(
        np.unique(np.asarray(time_gps).astype("datetime64[ns]").view(np.int64) // NS_PER_DAY)
    )


def unlike_frames(station, frames):
    """Return the error that says that frames do not go together."""
    return SettingsError(
        f"{station}: positions in frames {' and '.join(frames)}; motion needs one frame. Say the "
        "frame of each table in its metadata (frame), by a name that is known, such as IGS20 or "
        "ITRF2014"
    )
