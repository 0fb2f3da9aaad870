"""The strips or tiles of a TIFF: whether each unpacks to exactly what it should hold.

libtiff stops reading a strip when it has enough pixels, so it sees neither a checksum behind them
nor data that are left over.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass

from PIL import TiffImagePlugin

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.imaging.broken import Broken
from rubbing2pattern.stages.load.lzw import lzw_doubts

_WIDTH, _HEIGHT, _BITS, _COMPRESSION, _SAMPLES = 256, 257, 258, 259, 277
"""Tags of TIFF 6.0, section 8."""
_OFFSETS, _ROWS, _COUNTS, _PLANAR = 273, 278, 279, 284
"""Tags of strips, section 8."""
_TILE_WIDTH, _TILE_HEIGHT, _TILE_OFFSETS, _TILE_COUNTS = 322, 323, 324, 325
"""Tags of tiles, section 15."""
_PLAIN, _LZW, _DEFLATE, _PACKBITS = (1,), (5,), (8, 32946), (32773,)
"""Values of Compression; 32946 is an older name of 8."""
_NOTHING = 128
"""A byte of PackBits that stands for nothing (TIFF 6.0, section 9)."""
_CLASSIC, _HEADER_BYTES = 42, 8
"""Version of a TIFF with offsets of 32 bits, and the bytes of its header (section 2)."""
_SEPARATE = 2
"""Value of PlanarConfiguration: each colour has strips of its own."""


@dataclass(frozen=True, slots=True)
class _Strip:
    """A strip or a tile: its data as they lie in the file, and the bytes that they should give."""

    data: memoryview
    expected_bytes: int


def check_tiff(
    content: bytes, picture: TiffImagePlugin.TiffImageFile, source: str
) -> tuple[Finding, ...]:
    """Return what is doubtful about the first page of a TIFF.

    Raises
    ------
    Broken
        A strip reaches beyond the end of the file, or does not match its checksum.
    """
    compression = _numbers(picture, _COMPRESSION, (1,))[0]
    strips = list(_strips(memoryview(content), picture))
    if compression in _PLAIN:
        wrong = sum(len(strip.data) < strip.expected_bytes for strip in strips)
        if wrong:
            raise Broken(f"{wrong} of its {len(strips)} strips are too short")
    elif compression in _DEFLATE:
        for number, strip in enumerate(strips, start=1):
            _check_deflate(strip, number)
    elif compression in _PACKBITS:
        wrong = sum(_packbits_length(strip.data) != strip.expected_bytes for strip in strips)
        if wrong:
            raise Broken(f"{wrong} of its {len(strips)} strips do not unpack to what they hold")
    elif compression in _LZW:
        short, odd = lzw_doubts([(strip.data, strip.expected_bytes) for strip in strips])
        if short:
            raise Broken(f"{short} of its {len(strips)} strips do not unpack to their end")
        if odd:
            return (
                finding_of(Kind.STRIPS_UNEVEN, file=source, strips=odd, all_strips=len(strips)),
            )
    return ()


def is_checked(picture: TiffImagePlugin.TiffImageFile) -> bool:
    """Return whether `check_tiff` sees what a decoder would complain of."""
    return _numbers(picture, _COMPRESSION, (1,))[0] in (*_PLAIN, *_DEFLATE)


def _numbers(
    picture: TiffImagePlugin.TiffImageFile, tag: int, default: tuple[int, ...] = ()
) -> tuple[int, ...]:
    found = picture.tag_v2.get(tag, default)
    return tuple(int(n) for n in (found if isinstance(found, tuple) else (found,)))


def _strips(content: memoryview, picture: TiffImagePlugin.TiffImageFile) -> Iterator[_Strip]:
    """Give all strips or tiles; raises `Broken` where their places are not in the file."""
    tiled = _TILE_OFFSETS in picture.tag_v2
    offsets = _numbers(picture, _TILE_OFFSETS if tiled else _OFFSETS)
    counts = _numbers(picture, _TILE_COUNTS if tiled else _COUNTS)
    expected = _expected_bytes(picture, tiled=tiled)
    if len(counts) == 0:  # some old writers leave them out of a file of one strip
        return
    if not len(offsets) == len(counts) == len(expected):
        raise Broken(f"it lists {len(offsets)} strips of {len(expected)}")
    taken = _directory(content)
    for offset, count, bytes_ in zip(offsets, counts, expected, strict=True):
        if offset + count > len(content):
            raise Broken("it is cut off")
        if count and any(offset < end and offset + count > start for start, end in taken):
            raise Broken("a strip is said to lie where its header lies")
        yield _Strip(content[offset : offset + count], bytes_)


def _directory(content: memoryview) -> list[tuple[int, int]]:
    """Return where header and first directory lie; of a large file (BigTIFF) the header alone."""
    order = "<" if bytes(content[:2]) == b"II" else ">"
    taken = [(0, _HEADER_BYTES)]
    if struct.unpack_from(f"{order}H", content, 2)[0] == _CLASSIC:
        (start,) = struct.unpack_from(f"{order}I", content, 4)
        (entries,) = struct.unpack_from(f"{order}H", content, start)
        taken.append((start, start + 2 + 12 * entries))
    return taken


def _expected_bytes(picture: TiffImagePlugin.TiffImageFile, *, tiled: bool) -> list[int]:
    width, height = _numbers(picture, _WIDTH)[0], _numbers(picture, _HEIGHT)[0]
    samples = _numbers(picture, _SAMPLES, (1,))[0]
    bits = _numbers(picture, _BITS, (1,))[0]
    planes = 1
    if _numbers(picture, _PLANAR, (1,))[0] == _SEPARATE:
        planes, samples = samples, 1
    if tiled:
        across, down = _numbers(picture, _TILE_WIDTH)[0], _numbers(picture, _TILE_HEIGHT)[0]
        tiles = -(-width // across) * -(-height // down)
        return [down * -(-across * samples * bits // 8)] * tiles * planes
    rows = min(_numbers(picture, _ROWS, (height,))[0], height)
    row_bytes = -(-width * samples * bits // 8)
    return [min(rows, height - top) * row_bytes for top in range(0, height, rows)] * planes


def _packbits_length(data: memoryview) -> int:
    """Return the bytes that a strip of PackBits unpacks to; -1 where it ends in a run."""
    at = length = 0
    while at < len(data):
        head = data[at]
        if head < _NOTHING:
            at, length = at + 2 + head, length + 1 + head
        else:
            at += 1 if head == _NOTHING else 2
            length += 0 if head == _NOTHING else 257 - head
    return length if at == len(data) else -1


def _check_deflate(strip: _Strip, number: int) -> None:
    """Unpack a strip to its end, where zlib compares the checksum (RFC 1950, 2.3)."""
    unpack = zlib.decompressobj()
    length, data = 0, bytes(strip.data)
    try:
        # One byte more than there should be: a strip that claims more is not unpacked further.
        length = len(unpack.decompress(data, strip.expected_bytes + 1))
        if length <= strip.expected_bytes:
            length += len(unpack.decompress(unpack.unconsumed_tail, 1))
    except zlib.error as fault:
        raise Broken(f"its strip {number} does not unpack: {fault}") from fault
    if length != strip.expected_bytes or not unpack.eof:
        raise Broken(f"its strip {number} does not hold {strip.expected_bytes} bytes")
