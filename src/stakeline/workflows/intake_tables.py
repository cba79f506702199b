"""The tables among the raw files, in words: counts by kind, then what is odd about each."""

from ..formats.plain_table import TABLE_KINDS
from ..time import iso

_POSITIONS = TABLE_KINDS[0]


def table_lines(campaign, files):
    """Return the lines of the summary that tell of tables.

    Parameters
    ----------
    campaign : Campaign
    files : sequence of TakenIn
    """
    tables = [file for file in files if file.raw.kind in TABLE_KINDS and not file.raw.reason]
    lines = []
    for kind in TABLE_KINDS:
        own = [file for file in tables if file.raw.kind == kind]
        if own:
            lines.append(f"{kind}: {_counts(own)}")
    for file in tables:
        told = [*file.raw.warnings, *_unclaimed(campaign, file)]
        if told:
            lines.append(f"{file.raw.path} ({file.raw.kind}, {file.raw.rows} rows)")
            lines += [f"  {sentence}" for sentence in told]
    return lines


def _counts(files):
    rows = sum(file.raw.rows for file in files)
    spans = [file.span_ns for file in files if file.span_ns]
    text = f"{len(files)} file{'s' if len(files) > 1 else ''}, {rows} rows"
    if spans:
        text += f", {iso(min(s[0] for s in spans))} to {iso(max(s[1] for s in spans))} GPS"
    stations = sorted({file.station for file in files if file.station})
    return text + (f", of {' '.join(stations)}" if stations else "")


def _unclaimed(campaign, file):
    """Return a sentence about a table of positions that no station names."""
    named = {name for part in campaign.settings.station for name in part.positions}
    if file.raw.kind != _POSITIONS or file.raw.path in named or file.same_as:
        return []
    return [
        f"no station takes its positions from it; in campaign.toml, give one positions = "
        f'["{file.raw.path}"]'
    ]
