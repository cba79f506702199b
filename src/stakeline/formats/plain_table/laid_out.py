"""Read rows whose layout another file tells: lines above, names, units below them, separator."""

import io
import re

import numpy as np
import pyarrow as pa
import pyarrow.csv as pacsv

from ...errors import FormatError
from ..fixed_columns import only_member

BLANKS = re.compile(r"[ \t]+")


def read_laid_out(path, *, separator=",", names=(), lines_before=0, units_below=0):
    """Return ({name: list of texts}, notes, lines) of a file whose layout is known.

    ``lines``: where each row stands in the file, from 1 (n,).

    Parameters
    ----------
    path : path
        Packed or not.
    separator : str
        ``,``, ``;``, ``tab`` or ``space`` (any run of blanks).
    names : tuple of str
        Of the columns in order, where the file has no line of names.
    lines_before : int
        Lines above the line of names, or above the first row.
    units_below : int
        Lines between names and rows.

    Raises
    ------
    FormatError
        Where no row is left, or the names are fewer than two.
    """
    file, data, _ = only_member(path)
    lines = data.decode("utf-8-sig", "replace").splitlines()[lines_before:]
    above = lines_before + (0 if names else 1 + units_below)
    mark = {"tab": "\t", "space": " "}.get(separator, separator)
    if separator == "space":
        lines = [BLANKS.sub(" ", line.strip()) for line in lines]
    if not names:
        names = tuple(part.strip().strip('"') for part in lines[0].split(mark)) if lines else ()
        lines = lines[1 + units_below :]
    rows = [line for line in lines if line.strip()]
    where = np.flatnonzero([bool(line.strip()) for line in lines]) + above + 1
    if len(names) < 2 or not rows:
        raise FormatError(
            file, lines_before + 1, f"{len(names)} names and {len(rows)} rows",
            "at least two columns and one row", "see lines_before and separator of its map",
        )  # fmt: skip
    odd = []

    def pass_over(row):
        odd.append(row)
        return "skip"

    table = pacsv.read_csv(
        io.BytesIO("\n".join(rows).encode("utf-8")),
        pacsv.ReadOptions(use_threads=False, column_names=[f"f{k}" for k in range(len(names))]),
        pacsv.ParseOptions(delimiter=mark, invalid_row_handler=pass_over),
        pacsv.ConvertOptions(column_types={f"f{k}": pa.string() for k in range(len(names))}),
    )
    notes = []
    if odd:
        notes.append(
            f"passed over, rows with another number of fields than the {len(names)} names: "
            f"{len(odd)}, the first '{odd[0].text[:40]}'"
        )
    texts = [column.to_pylist() for column in table.columns]
    kept = np.delete(where, [row.number - 1 for row in odd])
    return dict(zip(names, texts, strict=True)), tuple(notes), kept
