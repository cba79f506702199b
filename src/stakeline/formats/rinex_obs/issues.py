"""Sentences for what the compiled readers pass over."""

ISSUES = (
    "blank line",
    "line outside any epoch",
    "damaged epoch line; its epoch is passed over",
    "epoch flag that the standard does not know; its epoch is passed over",
    "line without a valid satellite",
    "satellite of a system without observables in the header",
    "satellite a second time in one epoch; its first line counts",
    "damaged observation field, taken as missing",
    "damaged lock or strength digit, taken as blank",
    "fields beyond the observables of the header",
    "number of satellites differs from the number the epoch declares",
    "epoch cut by the end of the file is passed over",
    "epoch with missing or surplus lines is passed over",
    "event record ends early",
    "damaged differences; the values are missing until they are written in full again",
    "epoch lines lost until the next epoch written in full",
)
"""In the order of the numbers in ``_observation_kernels``."""


def add_issues(notes, issue):
    """Add the counted and located issues of a table from the kernels to ``notes``."""
    for kind, (count, line) in enumerate(issue):
        if count:
            notes.add(int(line), ISSUES[kind], int(count))
