"""Write plain tables."""

import csv
import io

import numpy as np

from ...errors import FormatError
from ...time import iso


def write_plain_table(columns, decimals=None, missing=""):
    """Return the bytes of a CSV table.

    Parameters
    ----------
    columns : dict of str to array (n,)
        Names in order. Integers in names that end in ``_gps`` or ``_utc`` are times. [ns]
    decimals : dict of str to int, optional
        Of columns of floats; 3 where not given.
    missing : str
        Written for NaN.

    Raises
    ------
    FormatError
        Where columns differ in length.
    """
    decimals = decimals or {}
    lengths = {name: len(values) for name, values in columns.items()}
    if len(set(lengths.values())) > 1:
        raise FormatError("table", None, f"columns of length {lengths}", "one length")
    texts = [
        _texts(name, values, decimals.get(name, 3), missing) for name, values in columns.items()
    ]
    sink = io.StringIO()
    writer = csv.writer(sink, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows(zip(*texts, strict=True))
    return sink.getvalue().encode("utf-8")


def _texts(name, values, decimals, missing):
    values = np.asarray(values)
    if name.endswith(("_gps", "_utc")) and values.dtype.kind == "i":
        zone = "Z" if name.endswith("_utc") else ""
        return [iso(value) + zone for value in values.astype(np.int64)]
    if values.dtype.kind == "f":
        form = f"{{:.{decimals}f}}".format
        return [form(value) if value == value else missing for value in values.tolist()]
    return [str(value) for value in values.tolist()]
