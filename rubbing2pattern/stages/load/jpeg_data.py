"""The data of a JPEG's scans: read strictly, and whether they end where the pixels end."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import simplejpeg

from rubbing2pattern.imaging.broken import Broken

_SCAN, _END, _ESCAPED = 0xDA, 0xD9, 0xFF
"""Markers of ITU-T T.81, and the byte of data behind which a 0 is put."""
_MARKER = re.compile(rb"\xff+([\x01-\xcf\xd8-\xfe])")
"""A marker in the data of a scan; FF 00 is data, FF D0 to FF D7 restart it."""
_SEGMENT = re.compile(rb"\xff+([\x01-\xcf\xda-\xfe])(..)", re.DOTALL)
_EXTRA = re.compile(r"(\d+) extraneous bytes")
_WARNINGS = ("Corrupt JPEG data", "Premature end of JPEG", "Inconsistent progression")
"""How libjpeg's warnings about the data of a scan begin (jerror.h)."""

Pixels = npt.NDArray[np.uint8]


class Uncheckable(ValueError):
    """A form of JPEG that the strict reader does not read."""


def strict_pixels(content: bytes, space: str) -> tuple[Pixels, bool]:
    """Return pixels, (H, W, channels), and whether data are left over behind them.

    Parameters
    ----------
    content : the whole file.
    space : ``GRAY`` or ``CMYK``.

    Raises
    ------
    Broken
        The data of a scan end early or hold codes that do not exist.
    Uncheckable
        The reader does not know this form of JPEG, or its header is wrong.
    """
    try:
        return simplejpeg.decode_jpeg(content, space, strict=True), False
    except ValueError as fault:
        if _EXTRA.search(str(fault)):
            return simplejpeg.decode_jpeg(content, space, strict=False), True
        if str(fault).startswith(_WARNINGS):
            raise Broken(str(fault)) from fault
        raise Uncheckable(str(fault)) from fault


def _scans(content: bytes) -> Iterator[tuple[int, int]]:
    """Give where the data of each scan of the first picture begin and end."""
    at = 2
    while (segment := _SEGMENT.match(content, at)) is not None:
        at = segment.end(1) + int.from_bytes(segment[2], "big")
        if segment[1][0] != _SCAN:
            continue
        marker = _MARKER.search(content, at)
        if marker is None:
            return
        yield at, marker.start()
        at = marker.start()
        if marker[1][0] == _END:
            return


def ends_with_pixels(content: bytes, *, progressive: bool) -> bool:
    """Return whether the last bits of a scan belong to a pixel.

    Strategy: encoders fill the last byte with equal bits. The last bit that differs from them is
    turned over. In a whole file it belongs to the last block, so that the decoder now runs out of
    data or gives other pixels; where nothing changes, the bit belongs to no block. Of a progressive
    file only the first scan is tried, which holds the means of all blocks. One whole photograph in
    200 looks so too: its last bit changes no pixel by a whole grey level.
    """
    scans = list(_scans(content))
    tried = scans[:1] if progressive else scans
    return all(_last_bit_counts(content, start, end) for start, end in tried)


def _last_bit_counts(content: bytes, start: int, end: int) -> bool:
    at = end - 2 if content[end - 2 : end] == b"\xff\x00" else end - 1
    if at <= start:
        return True
    last = content[at]
    fill = last & 1
    bit = next((n for n in range(8) if last >> n & 1 != fill), None)
    if bit is None:
        return True
    turned = last ^ (1 << bit)
    data = bytes([turned, 0]) if turned == _ESCAPED else bytes([turned])
    changed = content[:at] + data + content[end:]
    try:
        if not np.array_equal(_smallest(changed), _smallest(content)):
            return True
        now = simplejpeg.decode_jpeg(changed, strict=True)
    except ValueError:
        return True
    return not np.array_equal(now, simplejpeg.decode_jpeg(content, strict=True))


def _smallest(content: bytes) -> Pixels:
    """Return the means of the blocks, which takes a fraction of the time of all pixels."""
    pixels = simplejpeg.decode_jpeg(content, min_height=1, min_width=1, min_factor=1, strict=True)
    return np.asarray(pixels, dtype=np.uint8)
