"""Packed files: every packing gives the same bytes, cuts keep what stands before, bombs stop."""

import bz2
import gzip
import io
import zipfile

import numpy as np
import pytest

from stakeline.errors import FormatError
from stakeline.formats.compression import open_bytes

TEXT = b"Halvard Glacier, HV01, 79 N\n" * 400 + bytes(range(256))


def lzw(data, widest=12):
    """Pack with the adaptive LZW code, written from its description (Welch 1984, IEEE Computer).

    Codes grow from 9 bits and are written in groups of eight of one width, as in ``.Z`` files.
    """
    table, codes, word = {bytes([k]): k for k in range(256)}, [], b""
    for value in data:
        longer = word + bytes([value])
        if longer in table:
            word = longer
            continue
        codes.append(table[word])
        if len(table) + 1 < 1 << widest:
            table[longer] = len(table) + 1
        word = bytes([value])
    codes.append(table[word])
    bits, width, group, next_code = "", 9, "", 257
    for k, code in enumerate(codes):
        group = format(code, f"0{width}b") + group
        next_code += 1 if k and next_code < 1 << widest else 0
        if next_code >> width and width < widest:
            full = -(-len(group) // (8 * width)) * 8 * width
            bits, group = group.zfill(full) + bits, ""
            width += 1
    bits = (group + bits).zfill(-(-len(group + bits) // 8) * 8)
    packed = int(bits, 2).to_bytes(len(bits) // 8, "little")
    return b"\x1f\x9d" + bytes([0x80 | widest]) + packed


def archive(**files):
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as target:
        for name, data in files.items():
            target.writestr(name, data)
    return stream.getvalue()


@pytest.mark.parametrize(
    "packed",
    [
        TEXT,
        gzip.compress(TEXT),
        gzip.compress(TEXT[:500]) + gzip.compress(TEXT[500:]),
        bz2.compress(TEXT),
        bz2.compress(TEXT[:500]) + bz2.compress(TEXT[500:]),
        lzw(TEXT),
        lzw(TEXT, 9),
        lzw(TEXT, 16),
        archive(a=TEXT),
        archive(a=gzip.compress(TEXT)),
    ],
    ids=["plain", "gzip", "gzips", "bzip2", "bzip2s", "lzw", "lzw9", "lzw16", "zip", "zip-gzip"],
)
def test_every_packing_gives_the_bytes(tmp_path, packed):
    path = tmp_path / "no_suffix"
    path.write_bytes(packed)
    members = open_bytes(path)
    assert [data for _, data in members] == [TEXT]
    assert members.passed_over == ()


def test_all_members_of_an_archive(tmp_path):
    path = tmp_path / "x.zip"
    path.write_bytes(archive(one=b"1", two=b"22"))
    assert [(name.rpartition("/")[2], data) for name, data in open_bytes(path)] == [
        ("one", b"1"),
        ("two", b"22"),
    ]


@pytest.mark.parametrize("pack", [gzip.compress, bz2.compress])
def test_a_cut_keeps_what_stands_before_it_and_says_so(tmp_path, pack):
    noise = np.random.default_rng(1).integers(0, 256, 3_000_000, dtype=np.uint8).tobytes()
    packed = pack(noise)
    path = tmp_path / "cut"
    path.write_bytes(packed[: len(packed) * 2 // 3])
    members = open_bytes(path)
    ((_, data),) = members
    assert 1_000_000 < len(data) < 2_100_000
    assert noise.startswith(data)
    assert "end early" in str(members.passed_over[0])


@pytest.mark.parametrize(
    "packed",
    [gzip.compress(bytes(5_000_000)), bz2.compress(bytes(5_000_000)), archive(a=bytes(5_000_000))],
    ids=["gzip", "bzip2", "zip"],
)
def test_a_bomb_stops_at_the_limit(tmp_path, packed):
    path = tmp_path / "bomb"
    path.write_bytes(packed)
    with pytest.raises(FormatError, match="more than 1000000 bytes"):
        open_bytes(path, limit_bytes=1_000_000)


def test_an_lzw_bomb_stops_at_the_limit(tmp_path):
    path = tmp_path / "bomb.Z"
    path.write_bytes(lzw(bytes(30_000)))
    with pytest.raises(FormatError, match="more than 20000 bytes"):
        open_bytes(path, limit_bytes=20_000)


@pytest.mark.parametrize(
    "head", [b"\x1f\x8b", b"BZh", b"PK\x03\x04", b"\x1f\x9d", b"\x1f\x9d\x8c\xff\xff"]
)
def test_garbage_behind_a_head_is_a_format_error(tmp_path, head):
    path = tmp_path / "garbage"
    path.write_bytes(head + b"\xff" * 50)
    with pytest.raises(FormatError):
        open_bytes(path)


def test_no_such_file_is_a_sentence(tmp_path):
    with pytest.raises(FormatError, match="no readable file"):
        open_bytes(tmp_path / "absent")
    with pytest.raises(FormatError, match="no readable file"):
        open_bytes(tmp_path)
