"""Chance by name: each part of the invented world draws from a stream of its own.

So a campaign with fewer stations has the same stations, and a part that draws once more changes
no other part.
"""

import zlib

import numpy as np


def stream(seed, *names):
    """Return a random generator of a seed and of names such as ``"HV03", "noise"``."""
    words = [zlib.crc32(name.encode("utf-8")) for name in names]
    return np.random.default_rng(np.random.SeedSequence([int(seed), *words]))
