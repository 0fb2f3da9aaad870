"""The file of weights: packed by zlib, bytes of equal place in a number together.

The low bytes of weights that are rounded to nine binary digits are all zero, so this packs as well
as LZMA and opens eight times as fast.
"""

from __future__ import annotations

import zlib

import numpy as np

WORD = 4
"""Bytes of a number."""


def packed(graphs: bytes) -> bytes:
    """Return graphs as the file holds them."""
    whole = len(graphs) // WORD * WORD
    words = np.frombuffer(graphs[:whole], dtype=np.uint8).reshape(-1, WORD)
    return zlib.compress(words.T.tobytes() + graphs[whole:], 9)


def opened(file: bytes) -> bytes:
    """Return the graphs that a file holds."""
    content = zlib.decompress(file)
    whole = len(content) // WORD * WORD
    words = np.frombuffer(content[:whole], dtype=np.uint8).reshape(WORD, -1)
    return words.T.tobytes() + content[whole:]
