"""Plain tables as CSV text with units in the column names; see SPEC.md beside this file."""

from .csv_text import write_plain_table

__all__ = ["write_plain_table"]
