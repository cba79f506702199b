"""Where names stand on a map, so that none hides another, a station or an arrow."""

import math

WIDE_CHARACTER = 8.6  # units of the drawing, of bold letters of 13; measured in a browser
HIGH = 15.0  # units
_NEAR = 10.0  # from a station's middle to its name


class Labels:
    """Places of names, given out one after the other; what is taken is kept as boxes.

    A box is (left, top, right, bottom) in units of the drawing.
    """

    def __init__(self, wide, high):
        self.wide, self.high, self.taken = wide, high, []

    def point(self, x, y, radius):
        """Take the place of a dot."""
        self.taken.append((x - radius, y - radius, x + radius, y + radius))

    def line(self, begin, end, step=6.0):
        """Take the places along a line."""
        count = max(int(math.dist(begin, end) / step), 1)
        for k in range(count + 1):
            share = k / count
            x, y = (b + share * (e - b) for b, e in zip(begin, end, strict=True))
            self.point(x, y, 3.0)

    def place(self, text, candidates):
        """Return (x, y, anchor) of the candidate that hides least; the first of equals.

        ``candidates``: (x, y, anchor) of the text's baseline, the one liked most first.
        """
        found = min(candidates, key=lambda one: self.hidden(text, one))
        self.taken.append(box(text, *found))
        return found

    def hidden(self, text, candidate):
        """Return the area that a name would hide, or have outside of the drawing."""
        own = box(text, *candidate)
        left, top, right, bottom = own
        inside = _overlap(own, (0.0, 0.0, self.wide, self.high))
        return (right - left) * (bottom - top) - inside + sum(_overlap(own, b) for b in self.taken)


def box(text, x, y, anchor):
    """Return the box of a text on a baseline, anchored at its start, middle or end."""
    long = WIDE_CHARACTER * len(text)
    left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[anchor] * long
    return left, y - HIGH + 3.0, left + long, y + 3.0


def beside(x, y):
    """Return the places beside a dot, the one liked most first."""
    near, far = _NEAR, 2.2 * _NEAR
    return [
        (x + near, y - 8.0, "start"), (x - near, y - 8.0, "end"), (x + near, y + 17.0, "start"),
        (x - near, y + 17.0, "end"), (x + near + 2.0, y + 4.0, "start"),
        (x - near - 2.0, y + 4.0, "end"), (x, y - far + 6.0, "middle"), (x, y + far, "middle"),
        (x + far, y - far, "start"), (x - far, y - far, "end"), (x + far, y + far + 8.0, "start"),
        (x - far, y + far + 8.0, "end"),
    ]  # fmt: skip


def around(ring):
    """Return the places below, above and beside an outline (n, 2), in units of the drawing."""
    (left, top), (right, bottom) = ring.min(axis=0), ring.max(axis=0)
    middle, half = (left + right) / 2.0, (top + bottom) / 2.0 + 5.0
    below = [(x, bottom + 17.0 + more, "middle") for more in (0.0, 16.0, 34.0)
             for x in (middle, left, right)]  # fmt: skip
    above = [(x, top - 8.0 - more, "middle") for more in (0.0, 16.0, 34.0)
             for x in (middle, left, right)]  # fmt: skip
    return [*below[:3], *above[:3], (right + 8.0, half, "start"), (left - 8.0, half, "end"),
            *below[3:], *above[3:]]  # fmt: skip


def _overlap(one, other):
    wide = min(one[2], other[2]) - max(one[0], other[0])
    high = min(one[3], other[3]) - max(one[1], other[1])
    return max(wide, 0.0) * max(high, 0.0)
