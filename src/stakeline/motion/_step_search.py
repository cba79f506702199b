"""The search behind :mod:`stakeline.motion.steps`: candidates one by one, each judged by duration.

A candidate is the row at which a jump on all axes explains most. It is compared with ramps of ten
minutes to two days and with a change of speed in its place; then it joins the model, so that the
next candidate is looked for beside it.
"""

from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import chi2

from ..constants import NS_PER_DAY
from .shocks import MAD_TO_SIGMA, whiten

AXES = ("along", "across", "up")
KINDS = ("equipment", "slip", "motion", "spell", "undecided", "not seen")
CORE_D = 20.0  # d of rows searched at once; our choice
MARGIN_D = 3.0  # d of rows beside it that help; our choice
NEAR_D = 2.0  # d on each side within which a candidate is judged; our choice
MOST_A_PART = 60  # candidates in a part; our choice
DURATIONS_D = np.array([10, 20, 30, 60, 120, 240, 480, 960, 1920, 2880]) / 1440.0  # d; our choice
BEGINS = 0.0, 0.25, 0.5, 0.75, 1.0  # share of a ramp that is over at the jump; our choice
DECIDED = np.log(100.0)  # -, log likelihood ratio that is called decided; our choice
LAKE_D = 240.0 / 1440.0  # d, what lifts ice takes longer; our choice
FASTEST_D = 5.0 / 1440.0  # d, motion of the ice takes longer: slips last 10 to 30 min
CHANCE = 1e-4  # -, below which an axis is said to have moved; our choice
FEWEST_BESIDE = 4  # rows from a gap, or the begin or end of the record; our choice
APART_D = 6.0  # d, from which two jumps are looked at in one round; our choice
SPELL_D = 1.5  # d, within which a jump that comes back is a spell; our choice
SPELL_SIGMAS = 4.0  # -, within which it has come back; our choice


@dataclass(frozen=True)
class Series:
    """Complete rows of a station: along, across, up and sigmas (n, 3), design (n, p), models."""

    time_ns: np.ndarray
    position_m: np.ndarray
    sigma_m: np.ndarray
    design: np.ndarray
    models: tuple

    def part(self, rows):
        """Return the series of a slice of rows."""
        return Series(
            self.time_ns[rows],
            self.position_m[rows],
            self.sigma_m[rows],
            self.design[rows],
            self.models,
        )

    def whiten(self, axis, columns):
        """Filter one axis with the design and further columns (n, p)."""
        return whiten(
            self.time_ns,
            self.position_m[:, axis],
            self.sigma_m[:, axis],
            self.models[axis],
            np.column_stack([self.design, columns]),
        )


@dataclass(frozen=True)
class Settings:
    """What a jump must be: chi-square, longest gap [d], largest slip [m], least size [m]."""

    threshold: float
    longest_gap_d: float
    largest_slip_m: float
    least_size_m: float


@dataclass(frozen=True)
class Jump:
    """One candidate: its row, what it is and why; size and sigma (3,) as first seen. [m]

    ``slow_odds``: as ``log_odds``, against motion that lasts as long as a lake's.
    """

    row: int
    logged: bool = False
    kind: str = "equipment"
    log_odds: float = np.nan
    slow_odds: float = np.nan
    duration_d: float = np.nan
    share: float = np.nan
    reason: str = ""
    size_m: np.ndarray | None = None
    sigma_m: np.ndarray | None = None

    def chi_square(self):
        """Return the squared size over its variance, all axes; infinite for a logged one."""
        if self.size_m is None or self.sigma_m is None:
            return np.inf
        return float(((self.size_m / self.sigma_m) ** 2).sum())


def search(series, logged, settings, unlogged):
    """Return the jumps of a series: logged ones placed, others found where ``unlogged``."""
    placed = [_place(series, pair) for pair in logged]
    jumps = [Jump(row, logged=True) for row in placed if row is not None]
    jumps = [jump for j, jump in enumerate(jumps) if jump.row not in {x.row for x in jumps[:j]}]
    if not unlogged:
        return jumps
    found = []
    for rows, core in _parts(series.time_ns):
        known = [jump for jump in jumps if rows.start < jump.row < rows.stop]
        part = series.part(rows)
        shifted = [Jump(jump.row - rows.start, logged=True) for jump in known]
        new = _search_part(part, shifted, core.start - rows.start, core.stop - rows.start, settings)
        found += [replace(jump, row=jump.row + rows.start) for jump in new]
    return jumps + _spells(series, found, settings.least_size_m)


def sizes(series, rows, columns=None):
    """Return (sizes (k, 3), covariance (3k, 3k)) of steps at rows, beside columns (n, p)."""
    k = len(rows)
    size, covariance = np.empty((k, 3)), np.zeros((3 * k, 3 * k))
    if k:
        steps = _step_columns(len(series.time_ns), rows)
        columns = steps if columns is None else np.column_stack([columns, steps])
        for axis in range(3):
            seen = series.whiten(axis, columns)
            whole = seen.normal()
            inverse = np.linalg.pinv(whole[:-1, :-1], hermitian=True)
            size[:, axis] = (inverse @ whole[:-1, -1])[-k:]
            covariance[axis::3, axis::3] = inverse[-k:, -k:] * _inflation(seen) ** 2
    return size, covariance


def _inflation(seen):
    """Return by how much the innovations of the data exceed those of the model, at least 1."""
    whole = seen.normal()
    coefficient = np.linalg.pinv(whole[:-1, :-1], hermitian=True) @ whole[:-1, -1]
    left = seen.innovations[:, -1] - seen.innovations[:, :-1] @ coefficient
    return max(1.0, MAD_TO_SIGMA * float(np.median(np.abs(left))))


def _step_columns(n, rows):
    return (np.arange(n)[:, None] >= np.asarray(rows, int)).astype(float)


def _place(series, pair):
    """Return the row at which a logged step begins; None where rows lack on one side."""
    begin, end = pair
    first = np.searchsorted(series.time_ns, begin, side="left")
    last = np.searchsorted(series.time_ns, end, side="left")
    candidates = np.arange(max(first, 1), min(last, len(series.time_ns) - 1) + 1)
    if not len(candidates) or end <= series.time_ns[0]:
        return None
    if len(candidates) == 1:
        return int(candidates[0])
    near = _near(series.time_ns, candidates[0], candidates[-1])
    part = series.part(near)
    score, *_ = _scores(part, np.zeros((len(part.time_ns), 0)))
    inside = score[candidates - near.start]
    return int(candidates[np.nanargmax(inside)]) if np.isfinite(inside).any() else None


def _near(time_ns, first, last):
    """Return the slice of rows within reach of rows first..last."""
    reach = int(NEAR_D * NS_PER_DAY)
    return slice(
        int(np.searchsorted(time_ns, time_ns[first - 1] - reach)),
        int(np.searchsorted(time_ns, time_ns[last] + reach, side="right")),
    )


def _parts(time_ns):
    """Yield (rows with margin, rows of the core) that cover a series; gaps count as nothing."""
    typical = np.median(np.diff(time_ns))
    run = np.concatenate([[0.0], np.cumsum(np.minimum(np.diff(time_ns), 20 * typical))])
    run /= NS_PER_DAY
    begin = 0.0
    while begin <= run[-1]:
        edges = begin - MARGIN_D, begin, begin + CORE_D, begin + CORE_D + MARGIN_D
        rows = np.searchsorted(run, edges)
        if rows[2] > rows[1] and rows[3] - rows[0] >= 8:
            yield slice(int(rows[0]), int(rows[3])), slice(int(rows[1]), int(rows[2]))
        begin += CORE_D


def _scores(part, columns):
    """Return chi-square (n,), sizes and sigmas (n, 3) of a jump at each row, inflation (3,)."""
    size, sigma = np.empty((len(part.time_ns), 3)), np.empty((len(part.time_ns), 3))
    inflation = np.empty(3)
    for axis in range(3):
        seen = part.whiten(axis, columns)
        size[:, axis], sigma[:, axis] = seen.steps()
        inflation[axis] = _inflation(seen)
    sigma *= inflation
    return ((size / sigma) ** 2).sum(axis=1), size, sigma, inflation


def _search_part(part, known, first, last, settings):
    """Return the jumps found in rows first..last-1 of a part beside the known ones.

    Jumps in the margin are taken in as well, since they would disturb the others, and left to the
    part in whose core they lie.
    """
    n = len(part.time_ns)
    columns = _step_columns(n, [jump.row for jump in known])
    allowed = np.arange(n) > 0
    allowed[[jump.row for jump in known]] = False
    found = []
    while len(found) < MOST_A_PART:
        score, size, sigma, inflation = _scores(part, columns)
        score = np.where(allowed & np.isfinite(score), score, 0.0)
        rows = _peaks(part.time_ns, score, settings.threshold)[: MOST_A_PART - len(found)]
        if not rows:
            break
        judged = [_judge(part, columns, row, inflation) for row in rows]
        for row, (jump, _) in zip(rows, judged, strict=True):
            found.append(replace(jump, size_m=size[row], sigma_m=sigma[row]))
        allowed[rows] = False
        columns = np.column_stack([columns, *(column for _, column in judged)])
    settled = _settled(part, known, found, settings)
    return [jump for jump in settled if first <= jump.row < last]


def _peaks(time_ns, score, threshold):
    """Return the rows of the greatest scores, too far apart to disturb each other; best first."""
    rows = []
    above = np.flatnonzero(score > threshold)
    for row in above[np.argsort(-score[above], kind="stable")]:
        if all(abs(time_ns[row] - time_ns[other]) > APART_D * NS_PER_DAY for other in rows):
            rows.append(int(row))
    return rows


def _settled(part, known, found, settings):
    """Return the jumps that are still significant beside all others, with their verdict."""
    lasting = [jump for jump in found if jump.kind == "motion"]
    sudden = [jump for jump in found if jump.kind != "motion"]
    courses = [_course_of(part.time_ns, jump)(part.time_ns) for jump in lasting]
    columns = np.stack(courses, axis=1) if courses else np.zeros((len(part.time_ns), 0))
    columns = np.column_stack([columns, _step_columns(len(columns), [j.row for j in known])])
    while sudden:
        size, covariance = sizes(part, [jump.row for jump in sudden], columns)
        sigma = np.sqrt(np.diag(covariance)).reshape(-1, 3)
        pairs = zip(sudden, size, sigma, strict=True)
        sudden = [replace(jump, size_m=s, sigma_m=e) for jump, s, e in pairs]
        weakest = min(sudden, key=Jump.chi_square)
        if weakest.chi_square() > settings.threshold:
            break
        sudden = [jump for jump in sudden if jump is not weakest]
    return [_verdict(part.time_ns, jump, settings) for jump in lasting + sudden]


@dataclass(frozen=True)
class Course:
    """A motion about an instant: a ramp of which ``share`` is over then, or a change of speed."""

    middle_ns: float
    duration_d: float
    share: float

    def __call__(self, time_ns):
        """Return the course (n,) from 0 to 1, or the days since for a change of speed."""
        since = (time_ns - self.middle_ns) / NS_PER_DAY
        if np.isinf(self.duration_d):
            return np.maximum(since, 0.0)
        return np.clip(since / self.duration_d + self.share, 0.0, 1.0)


def _courses(time_ns, row):
    """Return the courses with a duration that differ from a jump before this row."""
    middle = 0.5 * (float(time_ns[row - 1]) + float(time_ns[row]))
    pairs = [(duration, share) for duration in DURATIONS_D for share in BEGINS]
    courses = [Course(middle, duration, share) for duration, share in pairs]
    values = [course(time_ns) for course in courses]
    told = [((v > 0.0) & (v < 1.0)).any() for v in values]
    return [Course(middle, np.inf, 0.0)] + [c for c, t in zip(courses, told, strict=True) if t]


def _course_of(time_ns, jump):
    """Return the course that was found the best beside a jump."""
    middle = 0.5 * (float(time_ns[jump.row - 1]) + float(time_ns[jump.row]))
    return Course(middle, jump.duration_d, jump.share)


def _judge(part, columns, row, inflation):
    """Return the :class:`Jump` at a row and the column (n,) by which the model takes it in.

    Its kind is ``motion`` where motion with a duration fits decidedly better, else not yet known.
    """
    near = _near(part.time_ns, row, row)
    rest = part.part(near)
    step = _step_columns(len(rest.time_ns), [row - near.start])
    courses = _courses(rest.time_ns, row - near.start)
    ramps = np.stack([course(rest.time_ns) for course in courses], axis=1)
    gain = np.zeros(len(courses) + 1)
    for axis in range(3):
        seen = rest.whiten(axis, np.column_stack([columns[near], step, ramps]))
        gain += _gains(seen.normal(), len(gain)) / inflation[axis] ** 2
    best = int(np.argmax(gain[1:]))
    log_odds = 0.5 * float(gain[0] - gain[1 + best])
    course = courses[best]
    slow = [g for g, c in zip(gain[1:], courses, strict=True) if c.duration_d >= LAKE_D]
    slow_odds = 0.5 * float(gain[0] - max(slow))
    shape = {"duration_d": float(course.duration_d), "share": course.share}
    jump = Jump(row, log_odds=log_odds, slow_odds=slow_odds, **shape)
    if log_odds < -DECIDED:
        return replace(jump, kind="motion"), course(part.time_ns)
    return jump, _step_columns(len(part.time_ns), [row])


def _gains(whole, count):
    """Return what each of the ``count`` last columns before the data explains alone. [chi-square]

    The columns before them are in the model; a column that they make up explains nothing.
    """
    held = len(whole) - 1 - count
    inverse = np.linalg.pinv(whole[:held, :held], hermitian=True)
    shared = whole[held:-1, :held]
    score = whole[held:-1, -1] - shared @ inverse @ whole[:held, -1]
    own = np.diag(whole)[held:-1]
    left = own - np.einsum("ij,jk,ik->i", shared, inverse, shared)
    return np.where(left > 1e-8 * own, score**2 / np.maximum(left, 1e-300), 0.0)


def _verdict(time_ns, jump, settings):
    """Return the jump with its kind and the reason for it."""
    kind, reason = _kind(time_ns, jump, settings)
    return replace(jump, kind=kind, reason=reason)


def _kind(time_ns, jump, settings):
    gap_d = (time_ns[jump.row] - time_ns[jump.row - 1]) / NS_PER_DAY
    ratio = jump.size_m / jump.sigma_m
    if jump.kind == "motion":
        return "motion", f"{_lasting(jump.duration_d)} fits better than a jump"
    if gap_d > settings.longest_gap_d:
        return "undecided", f"in a gap of {_text(gap_d)}: jump and motion cannot be told apart"
    beside = time_ns[max(jump.row - FEWEST_BESIDE, 0) : jump.row + FEWEST_BESIDE]
    cut = len(beside) < 2 * FEWEST_BESIDE
    if cut or np.diff(beside).max() > settings.longest_gap_d * NS_PER_DAY:
        return "undecided", f"fewer than {FEWEST_BESIDE} rows between it and a gap or an end"
    if np.abs(jump.size_m).max() < settings.least_size_m:
        return "undecided", f"smaller than {settings.least_size_m} m: as well what satellites leave"
    decided = jump.log_odds > DECIDED
    only_along = ratio[1:] @ ratio[1:] < chi2.isf(CHANCE, 2)
    only_along &= 0.0 < jump.size_m[0] < settings.largest_slip_m
    if only_along and not (decided and gap_d < FASTEST_D):
        return "slip", "along the flow only, downstream, no longer than a slip: taken as the ice's"
    if not jump.slow_odds > DECIDED:
        return "undecided", f"motion of {_text(LAKE_D)} or longer fits nearly as well"
    moved = [name for name, z in zip(AXES, ratio, strict=True) if z * z > chi2.isf(CHANCE, 1)]
    seen = "no duration" if decided else "no duration that the rows could show"
    return "equipment", f"{seen}: moved {' and '.join(moved)} within {_text(gap_d)}"


def _lasting(duration_d):
    return "a change of speed" if np.isinf(duration_d) else f"motion of {_text(duration_d)}"


def _text(span_d):
    return f"{span_d * 1440.0:.0f} min" if span_d < 0.125 else f"{span_d:.2f} d"


def _spells(series, found, least_size_m):
    """Return the jumps with those marked that came back: two that cancel soon.

    One of them at least was taken for equipment; the way back may look like a slip.
    """
    found = sorted(found, key=lambda jump: jump.row)
    time_d = np.array([series.time_ns[jump.row] / NS_PER_DAY for jump in found])
    moved_d = time_d[[jump.kind == "equipment" for jump in found]]
    near = [np.abs(moved_d - t).min(initial=np.inf) < SPELL_D for t in time_d]
    kinds = ("equipment", "slip")
    chosen = [j for j, jump in enumerate(found) if near[j] and jump.kind in kinds]
    if len(chosen) < 2:
        return found
    size, covariance = sizes(series, [found[j].row for j in chosen])
    k = 0
    while k < len(chosen) - 1:
        one, two = found[chosen[k]], found[chosen[k + 1]]
        lasted_d = (series.time_ns[two.row] - series.time_ns[one.row]) / NS_PER_DAY
        both = slice(3 * k, 3 * k + 3), slice(3 * k + 3, 3 * k + 6)
        left = size[k] + size[k + 1]
        spread = sum(covariance[a, b] for a in both for b in both)
        back = left @ np.linalg.solve(spread, left) < SPELL_SIGMAS**2
        back |= np.abs(left).max() < least_size_m
        if lasted_d < SPELL_D and back:
            reason = f"went and came back after {_text(lasted_d)}: snow, a reference, no reset"
            for j in chosen[k : k + 2]:
                found[j] = replace(found[j], kind="spell", reason=reason)
            k += 1
        k += 1
    return found
