"""Plain tables as CSV text or Parquet, units in the column names; see SPEC.md beside this file."""

from .csv_text import write_plain_table
from .kinds import TABLE_KINDS, kind_of_columns, kind_of_table, unit_in_name
from .raw_columns import read_raw_columns
from .reading import NOT_A_TIME, PlainTable, parse_plain_table, read_plain_table

__all__ = [
    "NOT_A_TIME",
    "TABLE_KINDS",
    "PlainTable",
    "kind_of_columns",
    "kind_of_table",
    "parse_plain_table",
    "read_plain_table",
    "read_raw_columns",
    "unit_in_name",
    "write_plain_table",
]
