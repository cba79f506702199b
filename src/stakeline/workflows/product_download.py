"""One file from an archive: asked for again when it fails, gone on with when it is cut."""

import email.utils
import http.client
import io
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from typing import Any

from .. import __version__
from ..errors import ProductError

BLOCK_BYTES = 1 << 18
LARGEST_BYTES = 2_000_000_000  # what is larger is no product; our choice
FIRST_PAUSE_S, LONGEST_PAUSE_S = 1.0, 60.0  # s, doubled from attempt to attempt; choice
AGAIN = (408, 425, 429)  # client errors that pass (RFC 9110 15.5.9, RFC 8470, RFC 6585 4)


class NotThereError(ProductError):
    """The archive answers, and says that it will not give the file."""


class NoAnswerError(ProductError):
    """The archive did not give the file whole, however often it was asked."""


class _PassingError(Exception):
    """One attempt failed; ``pause_s`` is what the archive asks to wait, 0 where it says nothing."""

    def __init__(self, why, pause_s=0.0):
        super().__init__(why)
        self.pause_s = pause_s


@dataclass(frozen=True)
class Patience:
    """How long an archive is waited for: each answer, attempts, and how pauses are made."""

    wait_s: float = 60.0
    attempts: int = 4
    pause: Any = time.sleep


def fetch_into(file, address, patience):
    """Write the file at an address into an open binary file, whole.

    A connection that is cut is gone on with where it broke off, as long as the archive vouches
    that the file is the same (RFC 9110, sections 13.1.5 and 14.2); else it begins anew.

    Raises
    ------
    NotThereError
        Where the archive says it has no such file, or does not give it to us.
    NoAnswerError
        Where all attempts failed; the sentence is that of the last one.
    """
    same = ""
    last = ""
    for attempt in range(patience.attempts):
        try:
            with _opened(file, address, same, patience.wait_s) as answer:
                same = _validator(answer)
                _take(file, answer)
                return
        except _PassingError as problem:
            last = str(problem)
            usual = min(FIRST_PAUSE_S * 2**attempt, LONGEST_PAUSE_S)
            if attempt + 1 < patience.attempts:
                patience.pause(min(max(usual, problem.pause_s), LONGEST_PAUSE_S))
    raise NoAnswerError(f"{last}; asked {patience.attempts} times")


def fetch_text(address, patience):
    """Return a small text from an archive; errors as of :func:`fetch_into`."""
    file = io.BytesIO()
    fetch_into(file, address, patience)
    return file.getvalue().decode("utf-8", "replace")


def _opened(file, address, same, wait_s):
    """Ask for a file, or for the rest of it; set the file to where the answer begins."""
    have = file.tell()
    request = urllib.request.Request(address, headers={"User-Agent": f"Stakeline/{__version__}"})
    if have and same:
        request.add_header("Range", f"bytes={have}-")
        request.add_header("If-Range", same)
    try:
        answer = urllib.request.urlopen(request, timeout=wait_s)
    except urllib.error.HTTPError as problem:
        problem.close()
        raise _refusal(problem, file) from None
    except (OSError, http.client.HTTPException) as problem:
        raise _silence(problem, wait_s) from None
    begins = answer.headers.get("Content-Range", "").startswith(f"bytes {have}-")
    if not (getattr(answer, "status", None) == 206 and begins):
        _empty(file)
    return answer


def _empty(file):
    file.seek(0)
    file.truncate()


def _validator(answer):
    """Return what says later whether the file is still the same; '' without a strong one."""
    tag = answer.headers.get("ETag", "")
    return tag if tag and not tag.startswith("W/") else answer.headers.get("Last-Modified", "")


def _take(file, answer):
    """Write all of an answer; _PassingError where it ends before it should."""
    begins = file.tell()
    length = answer.headers.get("Content-Length", "")
    whole = begins + int(length) if length.isdigit() else None
    if max(whole or 0, begins) > LARGEST_BYTES:
        raise NotThereError(f"has {whole / 1e9:.1f} GB, more than any product")
    why = ""
    while True:
        try:
            block = answer.read(BLOCK_BYTES)
        except http.client.IncompleteRead as problem:
            block, why = problem.partial, "end of the connection"
        except (OSError, http.client.HTTPException) as problem:
            block, why = b"", str(problem) or type(problem).__name__
        file.write(block)
        if why or not block:
            break
        if file.tell() > LARGEST_BYTES:
            raise NotThereError(
                f"has more than {LARGEST_BYTES / 1e9:.0f} GB, more than any product"
            )
    if why or (whole is not None and file.tell() != whole):
        of = f" of {whole}" if whole is not None else ""
        raise _PassingError(f"the connection was cut after {file.tell()}{of} bytes")


def _refusal(problem, file):
    """Return the error for an answer that is no file."""
    code = problem.code
    if code == 416:  # what we have is no beginning of what is there now
        _empty(file)
        return _PassingError("the file changed while it was fetched")
    if code >= 500 or code in AGAIN:
        pause_s = _asked_pause_s(problem.headers.get("Retry-After", ""))
        return _PassingError(f"the archive is busy or in repair (it answers {code})", pause_s)
    if code in (404, 410):
        return NotThereError(f"the archive has no such file (it answers {code})")
    if code in (401, 403, 407):
        return NotThereError(f"the archive asks for a login or forbids it (it answers {code})")
    return NotThereError(f"the archive refuses it (it answers {code} {problem.reason})")


def _asked_pause_s(text):
    """Return what ``Retry-After`` asks for, as seconds or as a date (RFC 9110, 10.2.3). [s]"""
    if text.strip().isdigit():
        return float(text)
    try:
        return max(0.0, email.utils.parsedate_to_datetime(text).timestamp() - time.time())
    except ValueError:
        return 0.0


def _silence(problem, wait_s):
    """Return the error for no answer at all."""
    reason = getattr(problem, "reason", problem)
    if isinstance(reason, FileNotFoundError) or "550" in str(reason):  # file:, ftp: (RFC 959)
        return NotThereError("the archive has no such file")
    if isinstance(reason, TimeoutError):
        return _PassingError(f"the archive did not answer within {wait_s:g} s")
    said = getattr(reason, "strerror", None) or str(reason) or type(reason).__name__
    return _PassingError(f"the archive cannot be reached ({said})")
