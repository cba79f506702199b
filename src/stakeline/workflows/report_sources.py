"""What a report shows, each number with the file, row and column that it was read from."""

import csv
import io
import json
import re
from dataclasses import dataclass
from pathlib import Path

from ..campaign.store import sha256_of
from ..errors import SettingsError

NOTHING = "-"  # shown where a table has no value
THIN = "\N{NARROW NO-BREAK SPACE}"  # between thousands
MOST_ROWS = 40  # of one table on paper; the rest is pointed to
_TIME = re.compile(r"(\d{4}-\d\d-\d\d)T(\d\d:\d\d)(:\d\d(\.\d+)?)?")


@dataclass(frozen=True)
class Number:
    """One number as shown, and where it stands; ``row`` counts from 1, 0 where there are none."""

    shown: str
    value: float
    file: str
    row: int
    column: str


@dataclass(frozen=True)
class Cell:
    """What stands in one cell of a table, and the numbers in it."""

    text: str
    numbers: tuple = ()


@dataclass(frozen=True)
class Record:
    """One row of a table, or one JSON file: values by name, and where they stand."""

    file: str
    row: int
    values: dict

    def cell(self, name, places=None):
        """Return the value of a column as a :class:`Cell`; numbers rounded to ``places``."""
        value = self.values.get(name)
        if value is None or value == "":
            return Cell(NOTHING)
        if isinstance(value, bool):
            return Cell("yes" if value else "no")
        number = _number(value)
        if number is None:
            return Cell(clock(str(value)))
        shown = written(value, number, places)
        return Cell(shown, (Number(shown, number, self.file, self.row, name),))

    def interval(self, middle, low, high, places=None):
        """Return ``middle (low to high)`` of three columns as one :class:`Cell`."""
        cells = [self.cell(name, places) for name in (middle, low, high)]
        if NOTHING in (cells[1].text, cells[2].text):
            return cells[0]
        text = f"{cells[0].text} ({cells[1].text} to {cells[2].text})"
        return Cell(text, sum((cell.numbers for cell in cells), ()))

    def plus_minus(self, middle, sigma, places=None):
        """Return ``middle ± sigma`` of two columns as one :class:`Cell`."""
        cells = [self.cell(name, places) for name in (middle, sigma)]
        if cells[1].text == NOTHING:
            return cells[0]
        return Cell(f"{cells[0].text} ± {cells[1].text}", cells[0].numbers + cells[1].numbers)

    def below(self, *keys):
        """Return the Record of a part of a JSON file; its columns carry the way there."""
        part, way = self.values, ".".join(map(str, keys))
        for key in keys:
            part = part[key] if isinstance(part, list) else part.get(key, {})
        return Record(self.file, self.row, {f"{way}.{k}": v for k, v in part.items()})


class Sources:
    """The tables of a campaign, read once; ``sums`` holds the SHA-256 of every file read."""

    def __init__(self, root):
        self.root = Path(root)
        self.sums = {}

    def data(self, path):
        """Return the bytes of a file of the campaign; None where it is not there."""
        found = self.root / path
        if not found.is_file():
            return None
        content = found.read_bytes()
        self.sums[path] = sha256_of(content)
        return content

    def text(self, path):
        """Return the text of a file; '' where it is not there."""
        return (self.data(path) or b"").decode("utf-8", "replace")

    def rows(self, path):
        """Return the rows of a CSV table as :class:`Record`; none where it is not there."""
        reader = csv.DictReader(io.StringIO(self.text(path)))
        return tuple(Record(path, k, dict(row)) for k, row in enumerate(reader, 1))

    def told(self, path):
        """Return a JSON file as a :class:`Record`; None where it is not there.

        Raises
        ------
        SettingsError
            Where it is no JSON object.
        """
        content = self.data(path)
        if content is None:
            return None
        try:
            values = json.loads(content)
        except ValueError as problem:
            raise SettingsError(
                f"{self.root / path}: is no JSON ({problem}); run the verb that makes it again"
            ) from None
        if not isinstance(values, dict):
            raise SettingsError(f"{self.root / path}: found no JSON object; run its verb again")
        return Record(path, 0, values)

    def names(self, pattern):
        """Return the files that match a pattern, as paths from the campaign, sorted."""
        found = sorted(self.root.glob(pattern))
        return tuple(path.relative_to(self.root).as_posix() for path in found if path.is_file())


def clock(text):
    """Return a text whose ISO times are written for people, without seconds."""
    return _TIME.sub(r"\1 \2", text)


def written(value, number, places):
    """Return a number as people read it: a text as it stands, or rounded to ``places``."""
    if places is None:
        return str(value) if isinstance(value, str | int) else f"{number:.4g}"
    return f"{number:,.{places}f}".replace(",", THIN)


def _number(value):
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if number - number == 0.0 else None  # neither NaN nor infinite


def table(title, columns, rows, note="", more=""):
    """Return a table of a report as plain parts.

    Parameters
    ----------
    title : str
    columns : sequence of str
        Headings, with units.
    rows : sequence of sequence of Cell
        Shown to :data:`MOST_ROWS`.
    note : str
    more : str
        The file that holds the rows that are not shown.
    """
    rows = list(rows)
    hidden = len(rows) - MOST_ROWS
    if hidden > 0:
        note = f"{note} {hidden} more rows stand in {more}.".strip()
    return {"kind": "table", "title": title, "columns": list(columns),
            "rows": [list(row) for row in rows[:MOST_ROWS]], "note": note}  # fmt: skip


def numbers_of(chapters):
    """Return every :class:`Number` that the tables of chapters show, with the table's title."""
    return [
        (block["title"], number)
        for chapter in chapters
        for block in chapter["blocks"]
        if block["kind"] == "table"
        for row in block["rows"]
        for cell in row
        for number in cell.numbers
    ]


def plain(chapters):
    """Return chapters whose cells are texts, for typesetting."""

    def shown(block):
        if block["kind"] != "table":
            return block
        return block | {"rows": [[cell.text for cell in row] for row in block["rows"]]}

    return [c | {"blocks": [shown(block) for block in c["blocks"]]} for c in chapters]
