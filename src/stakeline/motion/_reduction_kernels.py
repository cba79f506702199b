"""Compiled loop of the reduction of a long series to what a screen can show."""

from ..compiling import njit


@njit
def extremes(time_ns, values, first, last, start_ns, width_ns, gap_ns, kept):
    """Fill kept with the rows first..last-1 to be drawn, -1 where a line has to break.

    Of each span of ``width_ns`` the first, lowest, highest and last row are kept, in their order.
    Return how many places of kept were filled, at most five a span.
    """
    count = 0
    until = start_ns
    head = low = high = tail = -1
    for row in range(first, last + 1):
        over = row == last
        if not over and values[row] != values[row]:
            continue
        gap = not over and tail >= 0 and time_ns[row] - time_ns[tail] > max(gap_ns, width_ns)
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
