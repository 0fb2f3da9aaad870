"""JPEG read strictly: what libjpeg warns of is heard, and what it cannot see is looked for.

A JPEG has no checksum. Most flipped bits make the data of one scan too long or too short for its
blocks, of which libjpeg warns; Pillow does not pass these warnings on. Two kinds of damage pass in
silence: a block too many whose bits fill less than a byte (`jpeg_data`), and a wrong mean
of one block, which shifts all that follow (`block_steps`).
"""

from __future__ import annotations

import numpy as np
from PIL import JpegImagePlugin

from rubbing2pattern.findings import Finding, Kind, finding_of
from rubbing2pattern.reading import Grey
from rubbing2pattern.stages.load.block_steps import largest_step
from rubbing2pattern.stages.load.jpeg_data import Uncheckable, ends_with_pixels, strict_pixels

_BLOCK_PX = 8
"""Side of a block of ITU-T T.81."""
_STRANGE_ENTRIES = 2
"""Entries of a table at most that differ from a standard one because of damage; where more do, it
is a table of another kind."""
_LUMINANCE = (
    "16 11 10 16 24 40 51 61 12 12 14 19 26 58 60 55 14 13 16 24 40 57 69 56 14 17 22 29 51 87 80 "
    "62 18 22 37 56 68 109 103 77 24 35 55 64 81 104 113 92 49 64 78 87 103 121 120 101 72 92 95 "
    "98 112 100 103 99"
)
"""Table K.1 of ITU-T T.81, row by row; encoders scale it by a quality from 1 to 100."""


def read_jpeg(
    content: bytes, picture: JpegImagePlugin.JpegImageFile, source: str
) -> tuple[Grey | None, tuple[Finding, ...]]:
    """Return the grey of a JPEG, None where only Pillow can decode it, and what is doubtful.

    Parameters
    ----------
    content : the whole file.
    picture : its header.
    source : its name.

    Raises
    ------
    Broken
        The data of a scan end early or hold codes that do not exist.
    """
    as_ink = picture.mode == "CMYK"
    findings = []
    try:
        pixels, left_over = strict_pixels(content, "CMYK" if as_ink else "GRAY")
    except Uncheckable:
        return None, (finding_of(Kind.FILE_NOT_CHECKED, file=source),)
    progressive = bool(picture.info.get("progressive"))
    if left_over:
        findings.append(finding_of(Kind.DATA_LEFT_OVER, file=source))
    elif not ends_with_pixels(content, progressive=progressive):
        findings.append(finding_of(Kind.LAST_BITS_UNUSED, file=source))
    grey = None if as_ink else np.ascontiguousarray(pixels[..., 0])
    step = largest_step(pixels[..., -1] if grey is None else grey, _unit_px(picture))
    if step is not None:
        row, levels = step
        findings.append(
            finding_of(Kind.BRIGHTNESS_JUMPS, file=source, row=row, step_levels=abs(levels))
        )
    if _strange_table(picture):
        findings.append(finding_of(Kind.TABLE_STRANGE, file=source))
    return grey, tuple(findings)


def _unit_px(picture: JpegImagePlugin.JpegImageFile) -> tuple[int, int]:
    """Return width and height of the groups of blocks that are coded one after the other."""
    layers = picture.layer
    if len(layers) == 1:
        return _BLOCK_PX, _BLOCK_PX
    return _BLOCK_PX * max(la[1] for la in layers), _BLOCK_PX * max(la[2] for la in layers)


def _strange_table(picture: JpegImagePlugin.JpegImageFile) -> bool:
    """Return whether the table of brightness is a standard one but for an entry or two."""
    given = np.array(picture.quantization.get(0, ()), dtype=np.int64)
    standard = np.array(_LUMINANCE.split(), dtype=np.int64)
    if given.shape != standard.shape:
        return False
    quality = np.arange(1, 101)[:, None]
    scale = np.where(quality < 50, 5000 // quality, 200 - 2 * quality)
    usual = np.clip((standard * scale + 50) // 100, 1, 255)
    differing = int((usual != given).sum(axis=1).min())
    return 0 < differing <= _STRANGE_ENTRIES
