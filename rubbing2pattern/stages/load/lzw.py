"""The codes of LZW strips, checked without unpacking them (TIFF 6.0, section 13).

Letter legend: C codes from one clearing of the table to the next.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

Codes = npt.NDArray[np.int32]

_CLEAR, _END, _FIRST_FREE = 256, 257, 258
"""Codes behind those of single bytes."""
_FIRST_BITS, _LAST_BITS = 9, 12
"""Bits of the shortest and the longest codes."""
_MOST_CODES = 4096
"""More codes without clearing the table do not fit into it."""
_REPEATING_SHARE = 0.5
"""Of the tables of a file: where more repeat an entry, its writer does not look for the longest
match, and repetition shows no damage."""


def _widths() -> npt.NDArray[np.int64]:
    """Return the bits of each code since the table was cleared (the early change of TIFF)."""
    entries = np.arange(_MOST_CODES) + _FIRST_FREE
    bits = np.full(_MOST_CODES, _FIRST_BITS)
    for width in range(_FIRST_BITS, _LAST_BITS):
        bits[entries >= 1 << width] = width + 1
    return bits


_BITS = _widths()
_STARTS = np.concatenate(([0], np.cumsum(_BITS)[:-1]))


def lzw_doubts(strips: Sequence[tuple[memoryview, int]]) -> tuple[int, int]:
    """Return how many strips cannot be unpacked to their end, and how many others are doubtful.

    Rules:

    1. the codes of a strip unpack to all bytes expected of it, or it cannot be unpacked, and to no
       more;
    2. no entry is put into the table twice: a writer always takes the longest match.

    Strips without an end, or of the reversed order of bits of old writers, are not judged.

    Parameters
    ----------
    strips : data of each strip and the bytes expected of it.
    """
    short = doubtful = repeating = repeated_tables = tables = 0
    for data, expected in strips:
        found = _strip(np.frombuffer(data, dtype=np.uint8))
        if found is None:
            continue
        length, repeated, cleared = found
        tables += cleared
        short += length < expected  # rule 1
        doubtful += length > expected
        repeating += bool(repeated and length == expected)
        repeated_tables += repeated
    if repeated_tables <= max(1.0, _REPEATING_SHARE * tables):  # rule 2
        doubtful += repeating
    return short, doubtful


def _strip(data: npt.NDArray[np.uint8]) -> tuple[int, int, int] | None:
    """Return bytes unpacked, tables that repeat an entry, and tables; None if not judged.

    The bytes are -1 where the codes themselves are impossible.
    """
    bits = 8 * len(data)
    padded = np.concatenate((data, np.zeros(8, dtype=np.uint8))).astype(np.int32)
    if bits < _FIRST_BITS or _code(padded, 0) != _CLEAR:
        return None
    at, length, repeated, tables = _FIRST_BITS, 0, 0, 0
    while True:
        codes = _codes(padded, at, bits)
        stops = np.flatnonzero((codes == _CLEAR) | (codes == _END))
        if not len(stops):
            return -1, 0, 0
        count = int(stops[0])
        unpacked, twice = _segment(codes[:count])
        if unpacked < 0:
            return -1, 0, 0
        length += unpacked
        repeated += twice
        tables += 1
        end = codes[count] == _END
        at += int(_STARTS[count] + _BITS[count])
        if end:
            return length, repeated, tables


def _code(padded: Codes, at: int) -> int:
    return int(_window(padded, np.array([at]), np.array([_FIRST_BITS]))[0])


def _codes(padded: Codes, at: int, bits: int) -> Codes:
    """Return the codes from a bit on, as far as the table and the strip reach."""
    places = at + _STARTS
    whole = int(np.searchsorted(places + _BITS, bits, side="right"))
    return _window(padded, places[:whole], _BITS[:whole])


def _window(padded: Codes, places: npt.NDArray[np.int64], widths: npt.NDArray[np.int64]) -> Codes:
    byte = places >> 3
    value = padded[byte] << 16 | padded[byte + 1] << 8 | padded[byte + 2]
    shift = 24 - (places & 7) - widths
    return np.asarray((value >> shift) & ((1 << widths) - 1), dtype=np.int32)


def _segment(codes: Codes) -> tuple[int, int]:
    """Return the bytes that codes unpack to, -1 if they cannot, and whether an entry repeats.

    Strategy: code number i makes entry 258 + i out of its own bytes and the first byte of the next
    code. So a code is a byte, or the bytes of an earlier code and one more. All codes step back to
    that earlier code together until each has reached a byte.
    """
    parent = codes - _FIRST_FREE
    if not len(codes) or (parent >= np.arange(len(codes))).any():
        return (0 if not len(codes) else -1), 0
    length = len(codes)
    first = codes.copy()
    going = np.flatnonzero(codes >= _FIRST_FREE)
    while len(going):
        length += len(going)
        first[going] = codes[first[going] - _FIRST_FREE]
        going = going[first[going] >= _FIRST_FREE]
    entries = codes[:-1] << 8 | first[1:]
    order = np.arange(len(entries), dtype=np.int32)
    # Of equal entries the last one writes its number here; no sorting, so it takes no time.
    last = np.empty(_MOST_CODES << 8, dtype=np.int32)
    last[entries] = order
    return length, int((last[entries] != order).any())
