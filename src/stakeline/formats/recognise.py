"""What kind of file is this: told by content, never by name alone."""

import re
import tomllib

from .erp.reading import layout_of
from .plain_table import TABLE_KINDS, kind_of_table

KINDS = (
    *("observations", "navigation", "sp3", "clocks", "antex", "blq", "orientation"),
    *("sinex", "biases", "station log"),
    *TABLE_KINDS,
    *("grid", "outline", "photograph", "settings", "notes", "unknown"),
)
_HEAD_BYTES = 20_000
_LOG_FORM = re.compile(r"^1\.\s+Site Identification", re.MULTILINE)
_BLQ_ROW = re.compile(r"^(\s*-?\d*\.\d+){11}\s*$")

_MAGIC = {
    b"\xff\xd8\xff": "photograph",  # JPEG: ISO/IEC 10918-1, markers SOI and the next
    b"\x89PNG\r\n\x1a\n": "photograph",  # PNG: ISO/IEC 15948, section 5.2
    b"CDF\x01": "grid",  # NetCDF classic format specification: magic
    b"CDF\x02": "grid",
    b"CDF\x05": "grid",
    b"\x89HDF\r\n\x1a\n": "grid",  # NetCDF-4 lies in HDF5: HDF5 file format, section II.A
}
_OUTLINE = re.compile(  # RFC 7946, section 1.4
    r'"type"\s*:\s*"(FeatureCollection|Feature|GeometryCollection|(Multi)?(Polygon|LineString|Point))"'
)
_WORD = re.compile(r"[^\W\d_]{3,}")
_LABEL = re.compile(
    r".{60}[A-Z#][A-Z0-9 /#&:.'()-]{4,19}\s*$"
)  # header lines: RINEX 3.05, section 5
_LEAST_WORDS = 3
_LEAST_LETTERS = 0.5  # of what is no blank; records of numbers have fewer; our choice


def recognise(data, file=""):
    """Return the kind of a file, one of :data:`KINDS`, from its unpacked bytes.

    Parameters
    ----------
    data : bytes
        The whole file or at least its first 20 kB.
    file : str
        Its name; used for nothing but telling nearly empty files apart in messages of callers.
    """
    for magic, kind in _MAGIC.items():
        if data.startswith(magic):
            return kind
    head = data[:_HEAD_BYTES].decode("latin-1")
    lines = head.splitlines()
    first = next((line for line in lines if line.strip()), "")
    label = first[60:].strip()
    if "CRINEX VERS" in label:
        return "observations"
    if "RINEX VERSION" in label:
        return _rinex_kind(first)
    if "ANTEX VERSION" in label:
        return "antex"
    if re.match(r"#[abcd][PV]", first):
        return "sp3"
    if first.startswith("%=SNX"):
        return "sinex"
    if first.startswith("%=BIA"):
        return "biases"
    if _LOG_FORM.search(head):
        return "station log"
    if _is_blq(lines):
        return "blq"
    if table := kind_of_table(data):
        return table
    return "orientation" if layout_of(lines) is not None else _text_kind(data, head)


def _text_kind(data, head):
    """Return the kind of a text that is no table and no record of a standard."""
    labelled = sum(_LABEL.match(line) is not None for line in head.splitlines())
    if "\0" in head or head.lstrip().startswith("%=") or labelled > 1:
        return "unknown"
    if head.lstrip()[:1] == "{" and _OUTLINE.search(head):
        return "outline"
    try:
        if tomllib.loads(data.decode("utf-8")):
            return "settings"
    except (UnicodeDecodeError, tomllib.TOMLDecodeError):
        pass
    shown = "".join(data[:_HEAD_BYTES].decode("utf-8", "replace").split())
    letters = sum(sign.isalpha() for sign in shown)
    prose = len(_WORD.findall(head)) >= _LEAST_WORDS and letters >= _LEAST_LETTERS * len(shown)
    printable = all(sign.isprintable() for sign in shown.replace("\ufffd", ""))
    return "notes" if prose and printable else "unknown"


def _rinex_kind(first):
    """Return the kind by the file type, which stands in column 21 (22 from clock 3.04 on)."""
    letter = first[20:22].strip()[:1]
    if letter == "O":
        return "observations"
    if letter in ("N", "G", "H", "E", "L"):
        return "navigation"
    return "clocks" if letter == "C" else "unknown"


def _is_blq(lines):
    data = [line for line in lines if line.strip() and not line.startswith("$$")]
    return any(_BLQ_ROW.match(line) for line in data[:20])
