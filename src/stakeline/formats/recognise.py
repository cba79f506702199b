"""What kind of file is this: told by content, never by name alone."""

import re

from .erp.reading import layout_of

KINDS = (
    *("observations", "navigation", "sp3", "clocks", "antex", "blq", "orientation"),
    *("sinex", "station log", "unknown"),
)
_HEAD_BYTES = 20_000
_LOG_FORM = re.compile(r"^1\.\s+Site Identification", re.MULTILINE)
_BLQ_ROW = re.compile(r"^(\s*-?\d*\.\d+){11}\s*$")


def recognise(data, file=""):
    """Return the kind of a file, one of :data:`KINDS`, from its unpacked bytes.

    Parameters
    ----------
    data : bytes
        The whole file or at least its first 20 kB.
    file : str
        Its name; used for nothing but telling nearly empty files apart in messages of callers.
    """
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
    if _LOG_FORM.search(head):
        return "station log"
    if _is_blq(lines):
        return "blq"
    return "orientation" if layout_of(lines) is not None else "unknown"


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
