"""What was fetched and what is missing, in words: days as spans, reasons once."""

import numpy as np

LISTED = 20  # spans of days in one sentence; more are counted


def told(source, gots, days):
    """Return (text, problems) on what became of the wanted files.

    Parameters
    ----------
    source : str
        Name of the centre list.
    gots : list of Got
    days : dict of str to bool
        Whether each day has data. What is missing on days beside data is told, but no problem.
    """
    with_data = sum(days.values())
    beside = len(days) - with_data
    more = f" and {beside} beside them" if beside else ""
    lines, problems = [f"Products by {source} for {with_data} days{more}"], []
    for product in dict.fromkeys(got.wanted.product for got in gots):
        own = [got for got in gots if got.wanted.product == product]
        lines.append(f"{product}: {_counts(own)}")
        for sentence, serious in _missing(own, days):
            lines.append(f"  {sentence}")
            problems += [f"{product}: {sentence}"] if serious else []
    return "\n".join(lines) + "\n", tuple(problems)


def _counts(own):
    fetched = [got for got in own if got.fetched]
    size = sum(got.size for got in fetched)
    parts = [f"{len(fetched)} fetched ({size / 1e6:.1f} MB)"] if fetched else []
    there = sum(bool(got.name) for got in own) - len(fetched)
    parts += [f"{there} were there"] if there else []
    missing = sum(not got.name for got in own)
    parts += [f"{missing} missing"] if missing else []
    return ", ".join(parts)


def _missing(own, days):
    """Yield (sentence, whether days with data lack it), for each reason once."""
    groups = {}
    for got in own:
        if not got.name:
            serious = not got.wanted.day or days[got.wanted.day]
            groups.setdefault((not serious, got.why), []).append(got)
    for (beside, why), group in sorted(groups.items(), key=lambda item: item[0]):
        where = group[0].wanted.addresses
        example = f" ({where[0]})" if len(group) == 1 else f" (such as {where[0]})"
        ending = "; only the ends of a day need it" if beside else ""
        missing = spans([got.wanted.day for got in group])
        yield f"missing {missing or 'the file'}: {why}{ending}{example}", not beside


def spans(days):
    """Return ISO days as text, neighbours joined: '2031-05-01 to 2031-05-03, 2031-05-09'."""
    numbers = np.array(sorted(day for day in days if day), "datetime64[D]")
    parts = np.split(numbers, np.flatnonzero(np.diff(numbers).astype(int) > 1) + 1)
    texts = [
        str(part[0]) if len(part) == 1 else f"{part[0]} to {part[-1]}"
        for part in parts
        if len(part)
    ]
    more = len(texts) - LISTED
    return ", ".join(texts[:LISTED]) + (f" and {more} more spans" if more > 0 else "")
