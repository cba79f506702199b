"""Compiled weather: sums of persistent courses, looked up in the season's own distribution."""

from math import exp

from ..compiling import njit

SCORE_STEP = 0.15  # -; between nodes of the tables by normal score
SCORE_ENDS = 4.8  # -; first and last node, once in 1.3 million hours
TEMPERATURE, WIND, CLOUD, RIME = range(4)


@njit
def looked_up(table, node, share, score):
    """Return a value by season (between two rows) and normal score, straight between nodes."""
    place = (score + SCORE_ENDS) / SCORE_STEP
    last = table.shape[1] - 1
    place = min(max(place, 0.0), last - 1e-9)
    k = int(place)
    rest = place - k
    other = (node + 1) % table.shape[0]
    low = table[node, k] + rest * (table[node, k + 1] - table[node, k])
    high = table[other, k] + rest * (table[other, k + 1] - table[other, k])
    return low + share * (high - low)


@njit
def by_score(values, score):
    """Return a value by normal score, straight between nodes."""
    place = min(max((score + SCORE_ENDS) / SCORE_STEP, 0.0), values.size - 1 - 1e-9)
    k = int(place)
    return values[k] + (place - k) * (values[k + 1] - values[k])


@njit
def courses(
    drawn, unrest, first, second, gain, sizes, joint, brief, gusty, even, daily, size, node, share,
    hour, tables, mean_degC, out
):  # fmt: skip
    """Fill m years of weather.

    Parameters
    ----------
    drawn : array, shape (m, n + 2, 2, c + 1)
        Normal numbers, used up; the first two hours are the state before, the last are cloud's and
        rime's.
    unrest : array, shape (m, n)
        Normal numbers of how restless the wind is.
    first, second, gain : array, shape (2, c + 1)
        Of each course: x = first x' + second x'' + gain e; the last is of cloud, and of rime.
    sizes : array, shape (2, c)
        Of temperature's and wind's courses; squares sum to 1.
    joint : array, shape (c,)
        Correlation of the two in each.
    brief : array of bool, shape (c,)
        Courses of the wind whose size varies.
    gusty : array, shape (4,)
        Of the logarithm of that size: less by this much for each spread of the lasting courses,
        spread by itself, what of it is left after an hour; spread of the lasting courses.
    even : array, shape (z,)
        Normal score of the wind by the sum of its courses, at the tables' scores.
    daily : array, shape (k, 24, 2)
        Mean score of temperature and wind by season and hour of the day.
    size : array, shape (k, 2)
        Spread of the scores about it.
    node, share, hour : array, shape (n,)
        Season's node before an hour, part of the way to the next, hour of the day.
    tables : array, shape (3, k, z)
        Temperature less the season's mean, wind, cloud by score.
    mean_degC : array, shape (n,)
    out : array, shape (4, m, n)
        Filled: temperature, wind, cloud; score of rime.
    """
    last = joint.size
    by_level, spread_of, kept, lasting = gusty
    middle = by_level * by_level + spread_of * spread_of
    fresh = (1.0 - kept * kept) ** 0.5
    for i in range(drawn.shape[0]):
        restless = unrest[i, 0]
        make_pairs(drawn[i], joint)
        make_states(drawn[i], first, second)
        for t in range(node.size):
            x, before, older = drawn[i, t + 2], drawn[i, t + 1], drawn[i, t]
            k, part = node[t], share[t]
            other = (k + 1) % daily.shape[0]
            for j in range(2):
                total, short = 0.0, 0.0
                for c in range(last + 1):
                    value = first[j, c] * before[j, c] + second[j, c] * older[j, c]
                    value += gain[j, c] * x[j, c]
                    x[j, c] = value
                    if c < last and j == WIND and brief[c]:
                        short += sizes[j, c] * value
                    elif c < last:
                        total += sizes[j, c] * value
                if j == WIND:
                    restless = kept * restless + fresh * unrest[i, t]
                    level = spread_of * restless - by_level * total / lasting
                    total = by_score(even, total + exp(level - middle) * short)
                mean = daily[k, hour[t], j]
                mean += part * (daily[other, hour[t], j] - mean)
                spread = size[k, j] + part * (size[other, j] - size[k, j])
                out[j, i, t] = looked_up(tables[j], k, part, mean + spread * total)
            out[TEMPERATURE, i, t] += mean_degC[t]
            out[CLOUD, i, t] = looked_up(tables[CLOUD], k, part, x[0, last])
            out[RIME, i, t] = x[1, last]


@njit
def make_pairs(drawn, joint):
    """Correlate the second of each pair with the first, by ``joint``."""
    for c in range(joint.size):
        apart = (1.0 - joint[c] ** 2) ** 0.5
        for t in range(drawn.shape[0]):
            drawn[t, 1, c] = joint[c] * drawn[t, 0, c] + apart * drawn[t, 1, c]


@njit
def make_states(drawn, first, second):
    """Correlate the two hours before the year as each course asks: by first / (1 - second)."""
    for j in range(2):
        for c in range(first.shape[1]):
            near = first[j, c] / (1.0 - second[j, c])
            apart = (1.0 - near * near) ** 0.5
            drawn[1, j, c] = near * drawn[0, j, c] + apart * drawn[1, j, c]
