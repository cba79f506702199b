"""The ledger: which task made which file from what; it lets a run skip what is up to date."""

import json
from pathlib import Path

from .store import json_text, sha256_file, sha256_of, write_bytes, write_json


def fingerprint(content):
    """Return the SHA-256 of anything JSON can hold: inputs with checksums, settings, version."""
    return sha256_of(json_text(content).encode("utf-8"))


class Ledger:
    """Records of finished tasks, one small file each, below ``folder``."""

    def __init__(self, root, folder="ledger"):
        self.root = Path(root)
        self.folder = self.root / folder

    def _record(self, task):
        return self.folder / f"{task}.json"

    def read(self, task):
        """Return the record of a task, or None where there is none that can be read."""
        try:
            return json.loads(self._record(task).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None

    def up_to_date(self, task, key):
        """Say whether a task was finished with this key and its files are as it left them."""
        record = self.read(task)
        if record is None or record.get("key") != key:
            return False
        return all(self._unchanged(name, sha) for name, sha in record["outputs"].items())

    def _unchanged(self, name, sha):
        path = self.root / name
        return path.is_file() and sha256_file(path)[1] == sha

    def finish(self, task, key, outputs, **details):
        """Write the files of a task, then its record; a kill between the two repeats the task.

        Parameters
        ----------
        task : str
            Such as ``position/HV01_2031-05-01``.
        key : str
            Fingerprint of all the task depends on.
        outputs : dict of str to bytes
            Path relative to the campaign, and the file's whole content.
        **details
            Kept in the record only: seconds, warnings; results themselves hold no clock time.
        """
        for name, data in outputs.items():
            write_bytes(self.root / name, data)
        sums = {name: sha256_of(data) for name, data in outputs.items()}
        write_json(self._record(task), {"task": task, "key": key, "outputs": sums, **details})

    def tasks(self, prefix):
        """Return the names of recorded tasks below ``prefix``, sorted."""
        found = (self.folder / prefix).glob("*.json")
        return sorted(f"{prefix}/{path.stem}" for path in found if not path.name.startswith("."))

    def forget(self, task):
        """Drop a record and the files it made, where the task no longer exists."""
        record = self.read(task) or {"outputs": {}}
        for name in record["outputs"]:
            (self.root / name).unlink(missing_ok=True)
        self._record(task).unlink(missing_ok=True)
