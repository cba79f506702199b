"""Properties of observation files: what is written is read, damage never breaks the reader."""

import dataclasses
import functools
import itertools
import os
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from stakeline.errors import FormatError
from stakeline.formats.rinex_obs import join, parse_observations, write_observations
from stakeline.tables import Event, ObservationHeader, Observations, satellite_id

SAMPLES = sorted((Path(__file__).parents[1] / "tests" / "formats").glob("*/samples/hv*"))
EXAMPLES = 100 if os.environ.get("NUMBA_DISABLE_JIT", "0") == "0" else 25
ARRAYS = (
    "time_ns",
    "flag",
    "clock_offset_s",
    "row_start",
    "satellite",
    "value",
    "lock",
    "strength",
)
FIRST_NS = 1593043200 * 10**9
WORD = st.text("ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789-", max_size=12)


def assert_same(one, other):
    for name in ARRAYS:
        a, b = getattr(one, name), getattr(other, name)
        assert a.dtype == b.dtype, name
        assert np.array_equal(a, b, equal_nan=a.dtype.kind == "f"), name
    assert one.codes == other.codes
    assert one.events == other.events


@st.composite
def headers(draw, codes):
    metres = st.integers(-70_000_000_000, 70_000_000_000).map(lambda k: k / 1e4)
    factor = st.sampled_from([10.0, 100.0, 1000.0])
    keys = [(s, c) for s, listed in codes.items() for c in listed if c[0] in "CL"]
    scaled = draw(st.lists(st.sampled_from(keys), max_size=2, unique=True))
    return ObservationHeader(
        version=3.05,
        program=draw(WORD),
        run_by=draw(WORD),
        marker_name=draw(WORD),
        marker_number=draw(WORD),
        observer=draw(WORD),
        agency=draw(WORD),
        receiver_type=draw(WORD),
        antenna_type=draw(WORD),
        antenna_height_m=draw(st.integers(-99_999, 99_999)) / 1e4,
        approximate_position_m=tuple(draw(metres.filter(bool)) for _ in range(3)),
        interval_s=draw(st.integers(1, 10**6)) / 1e3,
        time_system=draw(st.sampled_from(["GPS", "GAL", "BDT", "GLO", "UTC"])),
        clock_offset_applied=draw(st.booleans()),
        leap_seconds=draw(st.one_of(st.none(), st.integers(0, 40))),
        glonass_channels=draw(st.dictionaries(st.integers(101, 124), st.integers(-7, 6))),
        phase_shifts={("G", "L2W"): draw(st.sampled_from([0.0, 0.25, -0.5]))},
        scale_factors=dict.fromkeys(scaled, draw(factor)),
        comments=tuple(draw(st.lists(WORD, max_size=3))),
    )


@st.composite
def observations(draw):
    """Return a random record whose numbers the format can hold."""
    codes = {
        "G": ("C1C", "L1C", "C2W", "L2W", "S1C"),
        "R": ("C1C", "L1C"),
        "E": ("C1X", "L1X", "D1X"),
    }
    codes = {s: codes[s] for s in draw(st.sets(st.sampled_from("GRE"), min_size=1))}
    codes = {s: codes[s] for s in "GRE" if s in codes}
    header = draw(headers(codes))
    n = draw(st.integers(1, 8))
    random = np.random.default_rng(draw(st.integers(0, 2**32)))
    time_ns = FIRST_NS + np.cumsum(random.integers(1, 10**9, n)) * 100
    names = [f"{s}{k:02d}" for s in codes for k in range(1, 8)]
    chosen = [random.permutation(names)[: random.integers(0, len(names) + 1)] for _ in range(n)]
    satellite = np.array([satellite_id(name) for name in np.concatenate(chosen)], np.int16)
    columns = max(len(listed) for listed in codes.values())
    shape = (len(satellite), columns)
    whole = random.integers(-999_999_999, 9_999_999_999, shape) * draw(st.sampled_from([1, 1000]))
    unit = np.full(shape, 1000.0)
    for (system, code), factor in header.scale_factors.items():
        unit[satellite // 100 == "GRE".index(system), codes[system].index(code)] *= factor
    value = whole / unit
    absent = (random.random(shape) < 0.3) | (whole == 0)
    lock = np.where(random.random(shape) < 0.2, random.integers(0, 8, shape), 0).astype(np.uint8)
    strength = random.integers(0, 10, shape).astype(np.uint8)
    for k, system in enumerate("GRE"):
        beyond = np.arange(columns) >= len(codes.get(system, ()))
        absent[np.ix_(satellite // 100 == k, beyond)] = True
        lock[np.ix_(satellite // 100 == k, beyond)] = 0
        strength[np.ix_(satellite // 100 == k, beyond)] = 0
    offset = np.where(random.random(n) < 0.5, random.integers(-(10**11), 10**11, n) / 1e12, np.nan)
    text = f"{draw(WORD):60}COMMENT"
    events = (Event(None, 4, draw(st.integers(0, n)), (text,)),) if draw(st.booleans()) else ()
    return Observations(
        header=header,
        time_ns=time_ns.astype(np.int64),
        flag=random.integers(0, 2, n).astype(np.uint8),
        clock_offset_s=offset,
        row_start=np.concatenate(([0], np.cumsum([len(c) for c in chosen]))).astype(np.int64),
        satellite=satellite,
        value=np.where(absent, np.nan, value),
        lock=lock,
        strength=strength,
        codes=codes,
        events=events,
    )


@pytest.mark.parametrize("compact", [False, True], ids=["plain", "compact"])
@given(written=observations())
@settings(max_examples=EXAMPLES)
def test_what_is_written_is_read(compact, written):
    read = parse_observations(write_observations(written, compact), "HV01")
    assert read.passed_over == ()
    assert_same(read, written)
    assert read.header == written.header


@given(written=observations())
@settings(max_examples=EXAMPLES)
def test_plain_and_compact_say_the_same(written):
    plain, compact = (
        parse_observations(write_observations(written, c), "x") for c in (False, True)
    )
    assert_same(plain, compact)


@given(written=observations(), wrap=st.integers(1, 5), sign=st.sampled_from([-1, 1]))
@settings(max_examples=EXAMPLES // 2)
def test_phases_too_large_are_clipped_with_a_lock_bit(written, wrap, sign):
    plain = dataclasses.replace(written.header, scale_factors={})
    system = next(iter(written.codes))
    column = written.codes[system].index(next(c for c in written.codes[system] if c[0] == "L"))
    value = np.where(np.isnan(written.value), np.nan, 7.5)
    own = (written.satellite // 100 == "GRE".index(system)) & ~np.isnan(value[:, column])
    value[own, column] = sign * (9_999_999_999.999 + (wrap - 1) * 1e9 + 5.0)
    huge = dataclasses.replace(written, header=plain, value=value, lock=written.lock * 0)
    read = parse_observations(write_observations(huge), "x")
    left = (read.value[own, column] - value[own, column]) / 1e9
    assert np.allclose(left, np.round(left), atol=1e-12)
    assert (np.abs(read.value[own, column]) < 1e10).all()
    first = {s: np.flatnonzero(own & (written.satellite == s))[0] for s in written.satellite[own]}
    assert all(read.lock[row, column] & 1 for row in first.values())


@functools.lru_cache
def sample(index):
    return SAMPLES[index].read_bytes()


@given(
    index=st.integers(0, len(SAMPLES) - 1),
    flips=st.lists(st.tuples(st.floats(0, 1), st.integers(0, 255)), min_size=1, max_size=12),
)
@settings(max_examples=6 * EXAMPLES)
def test_flipped_bytes_raise_nothing_but_format_errors(index, flips):
    data = bytearray(sample(index))
    for place, value in flips:
        data[int(place * (len(data) - 1))] = value
    try:
        found = parse_observations(bytes(data), "x")
    except FormatError:
        return
    assert found.row_start[-1] == len(found.satellite) == len(found.value)
    assert len(found) < 20


@given(index=st.integers(0, len(SAMPLES) - 1), cut=st.floats(0, 1), garbage=st.binary(max_size=40))
@settings(max_examples=4 * EXAMPLES)
def test_cut_files_keep_whole_epochs(index, cut, garbage):
    data = sample(index)
    whole = parse_observations(data, "x")
    try:
        found = parse_observations(data[: int(cut * len(data))], "x")
        parse_observations(data[: int(cut * len(data))] + garbage, "x")
    except FormatError:
        return
    assert len(found) <= len(whole)
    assert np.array_equal(found.time_ns, whole.time_ns[: len(found)])


@given(data=st.binary(max_size=400))
@settings(max_examples=2 * EXAMPLES)
def test_any_bytes_behind_a_header(data):
    for index in range(len(SAMPLES)):
        head = sample(index).partition(b"END OF HEADER\n")
        found = parse_observations(head[0] + head[1] + data, "x")
        assert len(found) <= 400


def piece(whole, first, last):
    rows = slice(whole.row_start[first], whole.row_start[last])
    return dataclasses.replace(
        whole,
        time_ns=whole.time_ns[first:last],
        flag=whole.flag[first:last],
        clock_offset_s=whole.clock_offset_s[first:last],
        row_start=whole.row_start[first : last + 1] - whole.row_start[first],
        satellite=whole.satellite[rows],
        value=whole.value[rows],
        lock=whole.lock[rows],
        strength=whole.strength[rows],
        events=(),
    )


@given(
    whole=observations(), cuts=st.lists(st.integers(0, 8), max_size=3), overlap=st.integers(0, 2)
)
@settings(max_examples=EXAMPLES)
def test_pieces_joined_are_the_whole(whole, cuts, overlap):
    whole = dataclasses.replace(whole, events=())
    n = len(whole)
    edges = sorted({0, n, *(cut for cut in cuts if cut < n)})
    pairs = [(a, min(b + overlap, n)) for a, b in itertools.pairwise(edges)]
    joined = join([piece(whole, a, b) for a, b in reversed(pairs)])
    assert_same(joined, whole)
    merged = sum(b - a for a, b in pairs) - n
    assert sum(note.count for note in joined.passed_over if "merged" in note.reason) == merged


@given(whole=observations())
@settings(max_examples=EXAMPLES)
def test_pieces_with_other_observables_fill_each_other(whole):
    whole = dataclasses.replace(whole, events=())
    first = next(iter(whole.codes))
    column = whole.codes[first].index("L1C" if "L1C" in whole.codes[first] else "L1X")
    own = whole.satellite // 100 == "GRE".index(first)
    without = whole.value.copy()
    without[own, column] = np.nan
    bare = dataclasses.replace(whole, value=without)
    joined = join([bare, whole])
    assert np.array_equal(joined.value, whole.value, equal_nan=True)
