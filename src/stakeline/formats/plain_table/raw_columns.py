"""Read the columns of a table as they stand, whatever their names: CSV or Parquet."""

import io

import pyarrow as pa
import pyarrow.csv as pacsv
import pyarrow.parquet as pq

from ...errors import FormatError
from ..fixed_columns import only_member
from .kinds import PARQUET, head_of

_MISSING = ["", "NaN", "nan", "NAN", "NA", "null", "None"]


def read_raw_columns(path):
    """Return {name: array} of a table, packed or not; numbers, times or texts as they stand.

    Unlike :func:`read_plain_table` nothing follows from the names: another file says what is what.

    Raises
    ------
    FormatError
        Where there is no line of names, rows differ in length, or Parquet data are damaged.
    """
    file, data, _ = only_member(path)
    table = _parquet(data, file) if data.startswith(PARQUET) else _csv(data, file)
    return {name: _array(table.column(k)) for k, name in enumerate(table.column_names)}


def _parquet(data, file):
    try:
        return pq.read_table(io.BytesIO(data), use_threads=False)
    except (OSError, pa.ArrowException) as problem:
        said = str(problem).splitlines()[0]
        raise FormatError(
            file, None, f"damaged Parquet data ({said})", "a whole file", "copy it again"
        ) from None


def _csv(data, file):
    text = data.decode("utf-8-sig", "replace")
    head = head_of(text[:20_000])
    if head is None:
        raise FormatError(file, 1, "no line of names above rows", "names such as time,x,y,z")
    try:
        return pacsv.read_csv(
            io.BytesIO(text.encode("utf-8")),
            pacsv.ReadOptions(
                use_threads=False, skip_rows=head.lines_before + 1,
                column_names=list(head.names), block_size=1 << 26,
            ),
            pacsv.ParseOptions(delimiter=head.separator),
            pacsv.ConvertOptions(null_values=_MISSING, strings_can_be_null=True),
        )  # fmt: skip
    except pa.ArrowInvalid as problem:
        raise FormatError(file, None, str(problem).splitlines()[0], "CSV (RFC 4180)") from None


def _array(column):
    """Return a column as numbers (NaN missing), datetime64[ns] or texts."""
    if pa.types.is_timestamp(column.type) or pa.types.is_date(column.type):
        return column.cast(pa.timestamp("ns")).to_numpy()
    if pa.types.is_integer(column.type) or pa.types.is_floating(column.type):
        return column.cast(pa.float64()).to_numpy()
    if pa.types.is_null(column.type):
        return column.cast(pa.float64()).to_numpy()
    return column.to_numpy()
