"""What pages keep in memory: worked out once, by one viewer at a time, and bounded in bytes."""

import functools
import threading
from collections import OrderedDict


class Kept:
    """Results by key, the latest used kept up to a bound; the one asked for last stays always.

    Parameters
    ----------
    largest : int
        Bytes of all that is kept.
    """

    def __init__(self, largest):
        self.largest, self.size = largest, 0
        self._found, self._lock, self._making = OrderedDict(), threading.Lock(), threading.Lock()

    def get(self, key, make):
        """Return what is kept under a key; ``make()`` returns (it, its bytes) where it is not.

        One thing is made at a time: fifty viewers who open one page read its files once, and never
        hold more than one new thing besides what is kept.
        """
        found = self._look(key)
        if found is not None:
            return found[0]
        with self._making:
            found = self._look(key)
            if found is None:
                found = make()
                self._put(key, found)
        return found[0]

    def _look(self, key):
        with self._lock:
            if key in self._found:
                self._found.move_to_end(key)
            return self._found.get(key)

    def _put(self, key, found):
        with self._lock:
            self._found[key] = found
            self.size += found[1]
            while self.size > self.largest and len(self._found) > 1:
                _, (_, size) = self._found.popitem(last=False)
                self.size -= size


def once(count):
    """Return a decorator: the last ``count`` results of a function, each worked out once.

    As a cache of the standard library, but viewers who ask at the same time wait for one of them
    instead of each working it out. Arguments have to be hashable.
    """

    def dress(function):
        kept = Kept(count)

        @functools.wraps(function)
        def asked(*key):
            return kept.get(key, lambda: (function(*key), 1))

        return asked

    return dress
