"""Cutting a SINEX file into its blocks without touching the large matrices."""

from dataclasses import dataclass


@dataclass
class Block:
    """One block: its name, the number of its first line within, and its lines."""

    name: str
    first_line: int
    lines: list

    def data_lines(self):
        """Yield (line number, text) of the data lines: those that start with a blank."""
        for index, line in enumerate(self.lines):
            if line[:1] == " " and line.strip():
                yield self.first_line + index, line


def blocks(data, wanted, notes):
    """Yield the :class:`Block` of each name in ``wanted``; others are skipped unread."""
    at, line = data.find(b"\n+"), 1
    passed = 0
    while at >= 0:
        line += data.count(b"\n", passed, at + 1)
        passed = at + 1
        end_of_name = data.find(b"\n", at + 1)
        end_of_name = len(data) if end_of_name < 0 else end_of_name
        name = data[at + 2 : end_of_name].decode("latin-1").strip()
        close = data.find(b"\n-", end_of_name)
        following = data.find(b"\n+", end_of_name)
        if close < 0 or 0 <= following < close:
            notes.add(line, f"block {name} is not closed")
            close = following if following >= 0 else len(data)
        if name in wanted:
            body = data[end_of_name + 1 : close].decode("latin-1")
            yield Block(name, line + 1, [text.rstrip("\r") for text in body.split("\n")])
        at = following
