"""The checksums and the end of a PNG (PNG specification, 5.3 and 11.2.5)."""

from __future__ import annotations

import zlib
from collections.abc import Iterator

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.imaging.broken import Broken

_SIGNATURE_BYTES = 8
"""Bytes before the first chunk."""
_AROUND_BYTES = 12
"""Length, type and checksum of a chunk."""
_NOT_CRITICAL = 0x20
"""Bit of a type's first letter: the pixels can be read without such a chunk."""
_END = b"IEND"


def check_png(content: bytes, source: str) -> tuple[Finding, ...]:
    """Return what is doubtful about a PNG.

    Raises
    ------
    Broken
        A chunk that the pixels need does not match its checksum, or the file ends in one.
    """
    findings = []
    kind = b""
    for kind, body, checksum in _chunks(memoryview(content)):
        if zlib.crc32(body, zlib.crc32(kind)) == checksum:
            continue
        name = kind.decode("ascii", "replace")
        if not kind[0] & _NOT_CRITICAL:
            raise Broken(f"its chunk {name} does not match its checksum")
        findings.append(finding_of(Kind.PART_CHECKSUM, file=source, part=name))
    if kind != _END:
        findings.append(finding_of(Kind.END_MARK_MISSING, file=source))
    return tuple(findings)


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
