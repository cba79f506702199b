"""Reading navigation files into :class:`stakeline.tables.Broadcast`."""

import numpy as np

from ...constants import NS_PER_DAY
from ...tables import Broadcast, BroadcastMessages
from ...time import GPS_EPOCH_NS, gps_week, to_gps
from ..fixed_columns import Notes, Text, only_member, with_notes
from ._header import parse_header
from ._ionosphere import ionosphere
from ._layouts import KEPLER_COLUMNS, LAYOUTS, REQUIRED_KEPLER, REQUIRED_STATE, STATE_COLUMNS
from ._records import epochs, name_kinds, split

_WEEK_NS = 7 * NS_PER_DAY
_TIME_SYSTEM = {"C": "BDT", "R": "UTC"}
_BEIDOU_WEEKS = 1356  # GPS week of BeiDou week 0; BeiDou ICD B1I 3.0, section 3.3
_SQRT_A, _ECCENTRICITY = (4000.0, 8000.0), 0.6  # m^(1/2): 16,000 to 64,000 km; beyond is damage
_KM_COLUMNS = 9  # the first columns of a state vector are in km, km/s, km/s2


def read_navigation(path):
    """Read a packed or plain navigation file."""
    name, data, notes = only_member(path)
    return with_notes(parse_navigation(data, name), notes)


def parse_navigation(data, file="navigation"):
    """Return the :class:`~stakeline.tables.Broadcast` in the bytes of a navigation file.

    Parameters
    ----------
    data : bytes
        RINEX 2, 3 or 4.
    file : str
        Name for messages.

    Raises
    ------
    FormatError
        No navigation header, or a version that is not known.

    Notes
    -----
    All times become GPS time. Times of ephemeris are set in the week nearest to the time of
    clock, whatever the week field says. Damaged, cut and unknown messages are read past and
    listed in ``passed_over``. Rates that a kind of message does not hold (``a_dot``,
    ``delta_n_dot``) are 0; other missing quantities are NaN.
    """
    text, notes = Text(data, file), Notes(file)
    header = parse_header(text)
    records = split(text, header, notes)
    first_column = 4 if header.version >= 3.0 else 3
    number, good = text.numbers(np.arange(len(text)), first_column + 19 * np.arange(4), 19)
    time_ns = epochs(text, header, np.minimum(records.row, len(text) - 1))
    coefficients = header.ionosphere | ionosphere(records, number, notes)
    _note_others(records, notes)
    sound = (records.what == "EPH") & (records.lines > 0)
    notes.add_rows(records.row[sound & (time_ns < 0)], "damaged epoch, the message left out")
    sound &= time_ns >= 0
    records, time_ns = records.take(sound), time_ns[sound]
    source_row = np.minimum(records.row + 5, len(text) - 1)
    name_kinds(records, header.version, number[source_row, 1])
    parts = _by_kind(records, time_ns, number, good, notes)
    return Broadcast(
        kepler=_messages(
            [p for p in parts if p[4].shape[1] == len(KEPLER_COLUMNS)], KEPLER_COLUMNS
        ),
        state_vector=_messages(
            [p for p in parts if p[4].shape[1] == len(STATE_COLUMNS)], STATE_COLUMNS
        ),
        ionosphere=coefficients,
        leap_seconds=header.leap_seconds,
        passed_over=notes.passed_over(),
        files=(text.file,),
    )


def _note_others(records, notes):
    for what, reason in (("STO", "time offset"), ("EOP", "Earth orientation")):
        notes.add_rows(records.row[records.what == what], f"{reason} records are not used")
    unknown = ~np.isin(records.what, ("EPH", "ION", "STO", "EOP"))
    notes.add_rows(records.row[unknown], "record of an unknown type")


def _by_kind(records, time_ns, number, good, notes):
    """Return for each kind (satellites, toc, toe, transmission, values, kind), sound ones only."""
    letters = records.letters()
    labels = np.char.add(letters, records.kind) if len(letters) else np.empty(0, "U5")
    parts = []
    for label in np.unique(labels):
        chosen = labels == label
        layout = LAYOUTS.get((label[0], label[1:]))
        some, times = records.take(chosen), time_ns[chosen]
        if layout is None:
            notes.add_rows(some.row, f"message of unknown kind {label[0]} {label[1:]}")
            continue
        complete = some.lines >= layout[0]
        notes.add_rows(some.row[~complete], "message cut short")
        some, times = some.take(complete), times[complete]
        parts.append(_one_kind(some, times, number, good, layout[1], notes))
    return [part for part in parts if part[0].size]


def _one_kind(records, time_ns, number, good, places, notes):
    letter = records.letters()[:1]
    letter = letter[0] if letter.size else "G"
    state = "x" in places
    columns = STATE_COLUMNS if state else KEPLER_COLUMNS
    values = np.full((len(records.row), len(columns)), np.nan)
    sound = np.ones(len(records.row), bool)
    for k, name in enumerate(columns):
        if name in places:
            line, at = places[name]
            values[:, k] = number[records.row + line, at]
            sound &= good[records.row + line, at]
        elif name in ("a_dot", "delta_n_dot"):
            values[:, k] = 0.0
    required = REQUIRED_STATE if state else REQUIRED_KEPLER
    time_of_week = columns.index("toe_sow") if not state else None
    if time_of_week is not None and "toe_sow" not in places:
        values[:, time_of_week] = _second_of_week(time_ns) / 1e9  # toe is toc in these messages
    sound &= ~np.isnan(values[:, [columns.index(n) for n in required]]).any(axis=1)
    if time_of_week is not None:
        sound &= np.abs(values[:, time_of_week]) <= 7 * 86400.0
    notes.add_rows(records.row[~sound], "message with a damaged or missing number")
    records, time_ns, values = records.take(sound), time_ns[sound], values[sound]
    line, at = places["transmission"]
    sent_s = number[records.row + line, at]
    if state:
        values[:, :_KM_COLUMNS] *= 1e3
        toe_ns = time_ns
    else:
        possible = _possible(records, time_ns, values, notes)
        records, time_ns, values, sent_s = (
            records.take(possible),
            time_ns[possible],
            values[possible],
            sent_s[possible],
        )
        toe_ns = _nearest(time_ns, values[:, time_of_week], _WEEK_NS)
        _check_week(records, toe_ns, values, columns.index("week"), letter, notes)
    sent_ns = _sent(toe_ns, sent_s, letter, records.row, notes)
    system = _TIME_SYSTEM.get(letter, "GPS")
    times = (to_gps(t, system) for t in (time_ns, toe_ns, sent_ns))
    return records.satellite, *times, values, records.kind


def _possible(records, time_ns, values, notes):
    """Return which messages describe an orbit, referred to a time near that of the clock."""
    sqrt_a, eccentricity = values[:, 0], values[:, 1]
    orbit = (sqrt_a > _SQRT_A[0]) & (sqrt_a < _SQRT_A[1]) & (eccentricity >= 0.0)
    orbit &= eccentricity < _ECCENTRICITY
    notes.add_rows(records.row[~orbit], "message with an impossible orbit, not used")
    toe_ns = _nearest(time_ns, values[:, KEPLER_COLUMNS.index("toe_sow")], _WEEK_NS)
    near = np.abs(toe_ns - time_ns) <= NS_PER_DAY
    reason = "reference time more than a day from the time of clock, message not used"
    notes.add_rows(records.row[~near], reason)
    return orbit & near


def _second_of_week(time_ns):
    return (time_ns - GPS_EPOCH_NS) % _WEEK_NS


def _nearest(time_ns, second, period_ns):
    """Return the time nearest to ``time_ns`` whose second of the period is ``second``. [ns]"""
    wanted = np.round(second * 1e9).astype(np.int64)
    step = (wanted - (time_ns - GPS_EPOCH_NS) + period_ns // 2) % period_ns - period_ns // 2
    return time_ns + step


def _sent(toe_ns, sent_s, letter, rows, notes):
    """Return the transmission time near the reference time; that time itself where unknown."""
    known = np.abs(np.nan_to_num(sent_s, nan=1e9)) < 8 * 86400.0
    period_ns = NS_PER_DAY if letter == "R" else _WEEK_NS
    sent_ns = np.where(known, _nearest(toe_ns, np.where(known, sent_s, 0.0), period_ns), toe_ns)
    far = np.abs(sent_ns - toe_ns) > NS_PER_DAY
    notes.add_rows(rows[far], "transmission more than a day from the reference time, not used")
    return np.where(far, toe_ns, sent_ns)


def _check_week(records, toe_ns, values, column, letter, notes):
    """Note weeks that contradict the time of clock; fill in the week where the file has none."""
    week, _ = gps_week(toe_ns)
    week = week - _BEIDOU_WEEKS if letter == "C" else week
    given = values[:, column]
    differs = ~np.isnan(given) & (np.abs(given - week) > 1)
    notes.add_rows(records.row[differs], "week number contradicts the time of clock, not used")
    values[:, column] = np.where(np.isnan(given), week, given)


def _messages(parts, columns):
    """Return the parts as one table, sorted by satellite, reference time, transmission."""
    if not parts:
        none = np.empty(0, np.int64)
        empty = np.empty((0, len(columns)))
        satellites = none.astype(np.int16)
        return BroadcastMessages(satellites, none, none, none, none.astype("U4"), empty, columns)
    satellite, toc_ns, toe_ns, sent_ns, values, kind = (
        np.concatenate(column) for column in zip(*parts, strict=True)
    )
    order = np.lexsort((sent_ns, toe_ns, satellite))
    return BroadcastMessages(
        satellite[order],
        toc_ns[order],
        toe_ns[order],
        sent_ns[order],
        kind[order],
        values[order],
        columns,
    )
