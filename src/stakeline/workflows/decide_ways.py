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


def coarser(part, question):
    """Return (label, settings, question) of speeds over twice as many days, two and two.

    A mean that lacks one of its days is not there. Nothing is put in.
    """
    count = len(question.days) // 2

    def two(values):
        return None if values is None else values[: 2 * count].reshape(count, 2).mean(axis=1)

    def both(speeds):
        return tuple(
            replace(s, percent=two(s.percent), sigma_percent=np.sqrt(0.5) * two(s.sigma_percent),
                    way_percent_d=two(s.way_percent_d))
            for s in speeds
        )  # fmt: skip

    other = part.model_copy(update={"window_d": 2.0 * part.window_d})
    asked = replace(
        question, days=two(question.days), responding=both(question.responding),
        placebos=both(question.placebos), trials=None,
        causes={name: two(cause) for name, cause in question.causes.items()},
    )  # fmt: skip
    return f"speeds over {other.window_d:g} d", other, asked


def _with_first(values):
    return np.concatenate([[np.nan], values])
