"""Compiled decoder of the adaptive LZW code of ``.Z`` files; plain arrays, no validation."""

import numpy as np

from ...compiling import njit

COMPLETE, FULL, DAMAGED = 0, 1, 2
_CLEAR = 256


@njit
def unpack(packed, widest, block_mode, begin, length, out):
    """Decode ``packed`` (without the 3-byte head) into ``out``.

    ``begin`` and ``length`` are work space for 2^widest + 1 strings: each string of the table is a
    stretch of the output itself. Returns (bytes written, COMPLETE, FULL or DAMAGED).
    """
    bits_in = 8 * packed.size
    width, bit, chunk = 9, 0, 0
    next_code = 257 if block_mode else 256
    at, previous, before = 0, -1, 0
    while bit + width <= bits_in:
        byte = bit >> 3
        word = np.int64(packed[byte]) | np.int64(packed[byte + 1]) << 8
        if byte + 2 < packed.size:
            word |= np.int64(packed[byte + 2]) << 16
        code = (word >> (bit & 7)) & ((1 << width) - 1)
        bit += width
        if block_mode and code == _CLEAR:
            bit = chunk + -(-(bit - chunk) // (8 * width)) * 8 * width
            chunk, width, next_code, previous = bit, 9, 257, -1
            continue
        size = 1
        if code >= 256:
            if code > next_code or previous < 0 or (code == next_code and next_code >> widest):
                return at, DAMAGED
            size = length[code] if code < next_code else before + 1
        if at + size > out.size:
            return at, FULL
        if previous >= 0 and next_code < 1 << widest:
            begin[next_code], length[next_code] = at - before, before + 1
            next_code += 1
        if code < 256:
            out[at] = code
        else:
            source = begin[code]
            for k in range(size):
                out[at + k] = out[source + k]
        at, previous, before = at + size, code, size
        if next_code >> width and width < widest:
            bit = chunk + -(-(bit - chunk) // (8 * width)) * 8 * width
            chunk, width = bit, width + 1
    return at, COMPLETE
