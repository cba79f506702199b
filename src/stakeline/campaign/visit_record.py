"""What was found at a visit, frozen: a record, and amendments behind it, chained by checksums."""

import json

from ..errors import SettingsError
from .store import json_text, sha256_of, write_json

RECORD = "record.json"
_SUM = "sha256"


def freeze(folder, content):
    """Write the record of a visit, where it has none that says the same; return it as it stands.

    ``content``: ``taken``, what people brought, and beside it what was made of that.

    Raises
    ------
    SettingsError
        Where the visit has a record already and what was taken differs.
    """
    frozen = frozen_before(folder, content)
    if frozen is not None:
        return frozen
    sealed = _sealed(content)
    write_json(folder / RECORD, sealed)
    return sealed


def frozen_before(folder, content):
    """Return the record of a visit that says the same, None where there is none.

    Raises
    ------
    SettingsError
        Where the visit has a record already and what was taken differs.
    """
    path = folder / RECORD
    if not path.exists():
        return None
    frozen = read_record(folder)[0]
    if frozen["taken"] == _sealed(content)["taken"]:
        return frozen
    raise SettingsError(
        f"{path}: this visit is frozen; to put something right, amend it (--amend REASON): the "
        "record stays, the amendment stands beside it"
    )


def amend(folder, content):
    """Write an amendment behind the last; return it with its checksum.

    ``content`` holds at least ``why`` and ``changes``.

    Raises
    ------
    SettingsError
        Where there is no record to amend, no reason, or no change.
    """
    chain = read_record(folder)
    check_amendment(content)
    number = len(chain)
    sealed = _sealed({**content, "amendment": number, "previous": chain[-1][_SUM]})
    write_json(folder / f"amendment-{number:02d}.json", sealed)
    return sealed


def check_amendment(content):
    """Raise SettingsError for an amendment without a reason, or one that changes nothing."""
    if not content.get("why", "").strip():
        raise SettingsError("an amendment needs its reason: --amend 'tape misread by 100 mm'")
    if not content.get("changes"):
        raise SettingsError("the readings say what the record says; nothing to amend")


def read_record(folder):
    """Return the record and its amendments, in order, each looked at for changes since.

    Raises
    ------
    SettingsError
        Where the record is missing, or a file of the chain was changed after it was written.
    """
    files = [folder / RECORD, *sorted(folder.glob("amendment-*.json"))]
    chain = []
    for path in files:
        try:
            content = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            raise SettingsError(f"{path}: cannot be read; no frozen record stands there") from None
        kept = content.get(_SUM)
        body = {key: value for key, value in content.items() if key != _SUM}
        if kept != sha256_of(json_text(body).encode("utf-8")):
            raise SettingsError(
                f"{path}: was changed after it was frozen: its checksum does not fit; take it from "
                "a copy, and amend instead"
            )
        if chain and content.get("previous") != chain[-1][_SUM]:
            raise SettingsError(f"{path}: does not follow {files[len(chain) - 1].name}")
        chain.append(content)
    return chain


def flat(taken):
    """Return all that was taken at a visit as one dict: entries, weather, reasons, checksums."""
    rest = {key: value for key, value in taken.items() if not isinstance(value, dict)}
    rest |= {f"weather {key}": value for key, value in taken["weather"].items()}
    rest |= {f"accepted {key}": value for key, value in taken["accepted"].items()}
    rest |= {f"photograph {key}": one["sha256"] for key, one in taken["photos"].items()}
    return {**rest, **taken["entries"]}


def photos_of(chain):
    """Return {key: {file, bytes, sha256}} of the photographs that hold after all amendments."""
    amended = {key: one for link in chain for key, one in link.get("photos", {}).items()}
    return chain[0]["taken"]["photos"] | amended


def standing(chain):
    """Return what holds after all amendments: what was taken (:func:`flat`) with its changes."""
    held = flat(chain[0]["taken"])
    for amendment in chain[1:]:
        for key, (_, now) in amendment["changes"].items():
            held[key] = now
    return {key: value for key, value in held.items() if value is not None}


def changes_between(before, after):
    """Return {key: [before, after]} of entries that differ; None where there was or is none.

    A number and its text, as a page sends it, are the same.
    """
    keys = sorted(set(before) | set(after))
    pairs = {key: [before.get(key), after.get(key)] for key in keys}
    return {key: pair for key, pair in pairs.items() if len({_plain(one) for one in pair}) > 1}


def _plain(value):
    return None if value is None else str(value).removesuffix(".0")


def _sealed(content):
    body = json.loads(json_text(content))
    return {**body, _SUM: sha256_of(json_text(body).encode("utf-8"))}
