"""The checksums and the end of a PNG (PNG specification, 5.3 and 11.2.5)."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator

from PIL import PngImagePlugin

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.imaging.broken import Broken

_SIGNATURE_BYTES = 8
"""Bytes before the first chunk."""
_AROUND_BYTES = 12
"""Length, type and checksum of a chunk."""
_NOT_CRITICAL = 0x20
"""Bit of a type's first letter: the pixels can be read without such a chunk."""
_HEAD, _DATA, _END = b"IHDR", b"IDAT", b"IEND"
_HEAD_BYTES = 13
"""Length of the header (11.2.1)."""
_SAMPLES = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}
"""Samples of a pixel by the type of colour (11.2.1)."""
_ADAM7 = (
    (0, 0, 8, 8),
    (4, 0, 8, 8),
    (0, 4, 4, 8),
    (2, 0, 4, 4),
    (0, 2, 2, 4),
    (1, 0, 2, 2),
    (0, 1, 1, 2),
)
"""First column and row and steps of the passes of an interlaced picture, in pixels (8.2)."""
_AT_ONCE_BYTES = (1 << 16) - 1
"""Bytes that are unpacked at a time: as many as a stored block holds (RFC 1951, 3.2.4)."""
_ZLIB_HEAD = b"\x78\x01"
"""Begins data of zlib, packed as little as can be (RFC 1950, 2.2)."""


def check_png(content: bytes, source: str) -> tuple[Finding, ...]:
    """Return what is doubtful about a PNG.

    Raises
    ------
    Broken
        A chunk that the pixels need does not match its checksum, the file ends in one, or its
        data unpack to fewer or more pixels than its header states.
    """
    findings, unpacked = _checked(content, source)
    for _ in unpacked:
        pass
    return findings


def read_png(
    content: bytes, picture: PngImagePlugin.PngImageFile, source: str
) -> tuple[Finding, ...]:
    """Load the pixels of an opened PNG and return what is doubtful about it, as `check_png` does.

    Its data are unpacked once: they are counted and handed to Pillow in stored blocks.
    """
    findings, unpacked = _checked(content, source)
    blocks = _stored(unpacked)
    picture.load_read = lambda read_bytes: next(blocks, b"")  # type: ignore[method-assign]
    picture.load()
    for _ in blocks:  # Pillow stops when it has its rows; what follows is counted too.
        pass
    return findings


def _checked(content: bytes, source: str) -> tuple[tuple[Finding, ...], Iterator[bytes]]:
    """Return what is doubtful about the chunks, and what unpacks and counts their pixels."""
    findings = []
    kind = b""
    head, packed = b"", []
    for kind, body, checksum in _chunks(memoryview(content)):
        if kind == _HEAD:
            head = bytes(body)
        elif kind == _DATA:
            packed.append(body)
        if zlib.crc32(body, zlib.crc32(kind)) == checksum:
            continue
        name = kind.decode("ascii", "replace")
        if not kind[0] & _NOT_CRITICAL:
            raise Broken(f"its chunk {name} does not match its checksum")
        findings.append(finding_of(Kind.PART_CHECKSUM, file=source, part=name))
    if kind != _END:
        findings.append(finding_of(Kind.END_MARK_MISSING, file=source))
    if len(head) != _HEAD_BYTES:
        raise Broken("its header cannot be read")
    return tuple(findings), _unpacked(packed, _raw_bytes(head))


def _raw_bytes(head: bytes) -> int:
    """Return the bytes that the data of a PNG unpack to (7.2 and, interlaced, 8.2)."""
    width, height, depth, colour, _, _, interlaced = struct.unpack(">IIBBBBB", head)
    bits = depth * _SAMPLES.get(colour, 1)
    passes = _ADAM7 if interlaced else ((0, 0, 1, 1),)
    sizes = [
        (-(-(width - left) // across), -(-(height - top) // down))
        for left, top, across, down in passes
    ]
    return sum(high * (1 + -(-wide * bits // 8)) for wide, high in sizes if wide > 0 < high)


def _unpacked(packed: list[memoryview], expected_bytes: int) -> Iterator[bytes]:
    """Give what the pixels are made from, part by part; it must be as long as expected."""
    unpack, length = zlib.decompressobj(), 0
    try:
        for part in packed:
            data: bytes | memoryview = part
            while len(data) and length <= expected_bytes:
                out = unpack.decompress(data, _AT_ONCE_BYTES)
                length += len(out)
                data = unpack.unconsumed_tail
                yield out
    except zlib.error as fault:
        raise Broken(f"its pixels do not unpack: {fault}") from fault
    if length != expected_bytes:
        more = "more" if length > expected_bytes else "fewer"
        raise Broken(f"it holds {more} pixels than its header states")


def _stored(unpacked: Iterator[bytes]) -> Iterator[bytes]:
    """Give unpacked data as data of zlib that need no unpacking."""
    yield _ZLIB_HEAD
    for data in unpacked:
        if data:
            yield struct.pack("<xHH", len(data), len(data) ^ 0xFFFF) + data


def _chunks(content: memoryview) -> Iterator[tuple[bytes, memoryview, int]]:
    """Give type, data and stated checksum of each chunk, up to the end mark."""
    at = _SIGNATURE_BYTES
    while at + _AROUND_BYTES <= len(content):
        length = int.from_bytes(content[at : at + 4], "big")
        kind = bytes(content[at + 4 : at + 8])
        end = at + 8 + length
        if end + 4 > len(content):
            raise Broken("it is cut off")
        yield kind, content[at + 8 : end], int.from_bytes(content[end : end + 4], "big")
        if kind == _END:
            return
        at = end + 4
