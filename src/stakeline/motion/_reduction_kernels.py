"""Compiled loops of the reduction of a long series to what a screen can show."""

from ..compiling import njit


@njit
def extremes(time_ns, values, breaks, first, last, start_ns, width_ns, kept):
    """Fill kept with the rows first..last-1 to be drawn, -1 where a line has to break.

    Of each span of ``width_ns`` the first, lowest, highest and last row are kept, in their order.
    Return how many places of kept were filled, at most five a span.
    """
    count = 0
    until = start_ns
    head = low = high = tail = -1
    for row in range(first, last + 1):
        over = row == last
        gap = not over and tail >= 0 and breaks[row] and time_ns[row] - time_ns[tail] > width_ns
        if tail >= 0 and (over or gap or time_ns[row] >= until):
            kept[count] = head
            count += 1
            for one in (min(low, high), max(low, high), tail):
                if one != kept[count - 1]:
                    kept[count] = one
                    count += 1
            if gap:
                kept[count] = -1
                count += 1
            tail = -1
        if over:
            break
        if tail < 0:
            until = start_ns + ((time_ns[row] - start_ns) // width_ns + 1) * width_ns
            head = low = high = row
        if values[row] < values[low]:
            low = row
        if values[row] > values[high]:
            high = row
        tail = row
    return count


@njit
def find_breaks(time_ns, steps, near, breaks):
    """Fill breaks (n,): whether the step to a row is more than ``steps`` usual ones.

    Usual is the greater of the medians of up to ``near`` steps before it and behind it; of an even
    number of steps the longer of the middle ones. ``near`` is at most 8.
    """
    n = time_ns.size
    least = time_ns[n - 1] - time_ns[0]
    for row in range(1, n):
        least = min(least, time_ns[row] - time_ns[row - 1])
    for row in range(1, n):
        step = time_ns[row] - time_ns[row - 1]
        if step <= steps * least:
            continue
        usual = -1
        for side in range(2):
            begin = max(row - near, 1) if side == 0 else row + 1
            end = row if side == 0 else min(row + near + 1, n)
            for one in range(begin, end):
                mine = time_ns[one] - time_ns[one - 1]
                shorter = equal = 0
                for other in range(begin, end):
                    theirs = time_ns[other] - time_ns[other - 1]
                    shorter += theirs < mine
                    equal += theirs == mine
                if shorter <= (end - begin) // 2 < shorter + equal:
                    usual = max(usual, mine)
                    break
        breaks[row] = usual >= 0 and step > steps * usual
