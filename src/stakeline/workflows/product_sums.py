"""Checksums of products: those kept beside them, and those that an archive gives."""

import hashlib

from ..campaign.folders import PRODUCTS
from ..campaign.store import sha256_file, write_text

SUMS_FILE = "SHA256SUMS"
_ALGORITHMS = {32: "md5", 40: "sha1", 64: "sha256", 128: "sha512"}  # by figures of the sum
_HEX = set("0123456789abcdef")


def parsed_sums(text):
    """Return {file name: checksum} of rows 'SUM  NAME'; a sum alone stands under ''."""
    found = {}
    for line in text.splitlines():
        parts = line.strip().split(None, 1)
        if not parts or len(parts[0]) not in _ALGORITHMS or set(parts[0].lower()) - _HEX:
            continue
        name = parts[1].lstrip("*").strip().rpartition("/")[2] if len(parts) > 1 else ""
        found[name] = parts[0].lower()
    return found


def has_sum(path, checksum):
    """Say whether a file has a checksum: MD5, SHA-1, SHA-256 or SHA-512 by its length."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, _ALGORITHMS[len(checksum)]).hexdigest() == checksum


class KeptSums:
    """The list of checksums beside a campaign's products; also for ``sha256sum --check``."""

    def __init__(self, campaign):
        self.folder = campaign.folder(PRODUCTS)
        self.path = self.folder / SUMS_FILE
        self.sums = parsed_sums(self.path.read_text("utf-8")) if self.path.is_file() else {}

    def stands(self, name):
        """Say whether a file is there as it was noted; one never noted is noted as it is."""
        path = self.folder / name
        if not path.is_file():
            return False
        checksum = sha256_file(path)[1]
        if name not in self.sums:
            self.note(name, checksum)
        return self.sums[name] == checksum

    def note(self, name, checksum):
        """Note the checksum of a file that is there."""
        self.sums[name] = checksum
        rows = [f"{value}  {key}\n" for key, value in sorted(self.sums.items())]
        write_text(self.path, "".join(rows))
