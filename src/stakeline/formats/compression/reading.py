"""Open a packed or plain file and return its bytes, within a bound."""

import bz2
import io
import lzma
import zipfile
import zlib
from pathlib import Path

import numpy as np

from ...errors import FormatError
from ...tables import PassedOver
from ._kernels import COMPLETE, FULL, unpack

_GZIP, _BZIP2, _LZW = b"\x1f\x8b", b"BZh", b"\x1f\x9d"
_ZIP = (b"PK\x03\x04", b"PK\x05\x06")
_DEEPEST = 3
_CUT = "packed data end early or are damaged; what was unpacked before is kept"


class Members(list):
    """List of (name, bytes); ``passed_over`` says what could not be unpacked."""

    passed_over: tuple = ()


def open_bytes(path, limit_bytes=2_000_000_000):
    """Return the unpacked content of a file.

    Parameters
    ----------
    path : str or path
    limit_bytes : int
        The largest content that is accepted, over all members. [bytes]

    Returns
    -------
    Members
        List of (name, bytes): one for plain, gzip, bzip2 and LZW files, all files of a zip
        archive. Its ``passed_over`` tells of packed data that end early.

    Raises
    ------
    FormatError
        Where the file cannot be read, is damaged from its start or unpacks to more than the limit.
    """
    try:
        data = Path(path).read_bytes()
    except OSError as problem:
        raise FormatError(
            path, None, f"no readable file ({problem.strerror})", "a file", "check the name"
        ) from None
    notes = []
    members = Members(_unpacked(str(path), data, limit_bytes, 0, notes))
    members.passed_over = tuple(notes)
    return members


def _unpacked(name, data, limit, depth, notes):
    """Return the (name, bytes) pairs inside ``data``, which may be packed several times."""
    if data.startswith(_ZIP):
        pairs = _from_zip(name, data, limit)
    elif data.startswith((_GZIP, _BZIP2)):
        pairs = [(name, _from_stream(name, data, limit, notes))]
    elif data.startswith(_LZW):
        pairs = [(name, _from_lzw(name, data, limit, notes))]
    else:
        if len(data) > limit:
            raise _too_large(name, limit)
        return [(name, data)]
    if depth == _DEEPEST:
        raise FormatError(name, None, f"a file packed more than {depth} times", "less")
    found = []
    for inner, content in pairs:
        found += _unpacked(inner, content, limit - sum(len(d) for _, d in found), depth + 1, notes)
    return found


def _too_large(name, limit):
    return FormatError(
        name, None, f"content of more than {limit} bytes", "less", "unpack and divide it first"
    )


def _decoder(data):
    return zlib.decompressobj(31) if data[:2] == _GZIP else bz2.BZ2Decompressor()


def _from_stream(name, data, limit, notes):
    """Return the content of gzip or bzip2 data of one or several members."""
    parts, size = [], 0
    while data.startswith((_GZIP, _BZIP2)):
        decoder, rest = _decoder(data), data
        while not decoder.eof:
            try:
                part = decoder.decompress(rest, 1 << 26)
            except (zlib.error, OSError, EOFError, ValueError):
                part = b""
            parts.append(part)
            size += len(part)
            if size > limit:
                raise _too_large(name, limit)
            if not part and not decoder.eof:
                break
            rest = getattr(decoder, "unconsumed_tail", b"")
        if not decoder.eof:
            notes.append(PassedOver(name, 0, _CUT))
            break
        data = decoder.unused_data
    else:
        if data.strip(b"\0\r\n\x1a "):
            notes.append(PassedOver(name, 0, "bytes after the end of the packed data"))
    if not size and notes and notes[-1].reason == _CUT:
        raise FormatError(name, None, "damaged packed data", "gzip or bzip2 data", "copy it again")
    return b"".join(parts)


def _from_zip(name, data, limit):
    """Return (name, bytes) of all files in a zip archive."""
    pairs, left = [], limit
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for entry in archive.infolist():
                if entry.is_dir():
                    continue
                with archive.open(entry) as stream:
                    content = stream.read(left + 1)
                left -= len(content)
                if left < 0:
                    raise _too_large(name, limit)
                pairs.append((f"{name}/{entry.filename}", content))
    except (
        *(zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, OSError),
        *(RuntimeError, NotImplementedError, ValueError),
    ) as problem:
        raise FormatError(
            name, None, f"a zip archive that cannot be unpacked ({problem})", "a sound archive"
        ) from None
    return pairs


def _from_lzw(name, data, limit, notes):
    """Return the content of an LZW file, decoded with growing room for its output."""
    widest = data[2] & 31 if len(data) > 2 else 0
    if not 9 <= widest <= 16:
        raise FormatError(name, None, "a damaged head of LZW data", "codes of 9 to 16 bits")
    packed = np.frombuffer(data, np.uint8)[3:]
    strings = np.empty((2, (1 << widest) + 1), np.int64)
    room = 8 * len(data) + 4096
    while True:
        out = np.empty(min(room, limit), np.uint8)
        size, state = unpack(packed, widest, bool(data[2] & 128), strings[0], strings[1], out)
        if state != FULL:
            break
        if room >= limit:
            raise _too_large(name, limit)
        room *= 4
    if state != COMPLETE:
        if not size:
            raise FormatError(name, None, "damaged LZW data", "LZW codes", "copy it again")
        notes.append(PassedOver(name, 0, _CUT))
    return out[:size].tobytes()
