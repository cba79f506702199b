"""All products of a campaign in one file, to be carried to where there is no network."""

import zipfile
from pathlib import Path

from ..campaign.centre_list import file_name
from ..campaign.store import sha256_of, whole_file, write_bytes
from ..errors import SettingsError
from .product_sums import SUMS_FILE, parsed_sums

_OTHER = "is there with other content, which was left; delete it to take the bundle's"
_STAMP = (1980, 1, 6, 0, 0, 0)  # the same bytes from the same products


def pack(path, kept, names):
    """Write the bundle; return a line that says what it holds.

    A ZIP archive, stored as it is because products are packed already, with their checksums as
    the last member, so that a bundle cut short is found out.
    """
    rows = []
    with whole_file(path) as file, zipfile.ZipFile(file, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(set(names)):
            archive.writestr(zipfile.ZipInfo(name, _STAMP), (kept.folder / name).read_bytes())
            rows.append(f"{kept.sums[name]}  {name}\n")
        archive.writestr(zipfile.ZipInfo(SUMS_FILE, _STAMP), "".join(rows))
    size = Path(path).stat().st_size
    return f"Bundle {path}: {len(rows)} files, {size / 1e6:.1f} MB\n"


def unpack(path, kept):
    """Bring the files of a bundle into a campaign; return (text, problems).

    Each is compared with the bundle's own checksums; one that is there, sound, stays.

    Raises
    ------
    SettingsError
        Where the file is an archive, but no bundle of ours.
    """
    brought, there, problems = 0, 0, []
    with zipfile.ZipFile(path) as archive:
        inside = archive.namelist()
        if SUMS_FILE not in inside:
            raise SettingsError(
                f"{path}: holds no {SUMS_FILE}; give a bundle written with --bundle, or a list"
            )
        sums = parsed_sums(archive.read(SUMS_FILE).decode("utf-8", "replace"))
        for name, checksum in sorted(sums.items()):
            if kept.stands(name):
                same = kept.sums[name] == checksum
                there += same
                problems += [] if same else [f"{path}: {name} {_OTHER}"]
                continue
            data = _read(archive, name)
            if file_name(name) != name or sha256_of(data) != checksum:
                problems.append(f"{path}: {name} is damaged or missing; copy the bundle once more")
                continue
            write_bytes(kept.folder / name, data)
            kept.note(name, checksum)
            brought += 1
    text = f"Bundle {Path(path).name}: {brought} files brought in, {there} were there"
    text += f", {len(problems)} not taken\n" if problems else "\n"
    return text, tuple(problems)


def _read(archive, name):
    """Return the bytes of a member; none where it cannot be read."""
    try:
        return archive.read(name)
    except (KeyError, zipfile.BadZipFile, EOFError, OSError):
        return b""
