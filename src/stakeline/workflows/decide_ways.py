"""Speeds from the mean position of one day to that of the next: far quieter than slopes of days."""

from dataclasses import replace

import numpy as np


def by_ways(part, question):
    """Return the question with speeds from day to day, at the beginnings of the days.

    A speed is the difference of two mean positions over the time between them, a mean over two
    days that weighs their middle most: so are measured influences taken. Nothing is known of the
    first. Unchanged where the motion of a station does not tell mean positions. Without placebos.
    """
    if any(s.way_percent_d is None for s in question.responding):
        return question
    responding = [
        replace(s, percent=_with_first(np.diff(s.way_percent_d) / part.window_d))
        for s in question.responding
    ]
    causes = {
        name: _with_first(0.5 * (cause[1:] + cause[:-1])) for name, cause in question.causes.items()
    }
    return replace(
        question, days=question.days - 0.5 * part.window_d, responding=tuple(responding),
        placebos=(), causes=causes,
    )  # fmt: skip


def _with_first(values):
    return np.concatenate([[np.nan], values])
