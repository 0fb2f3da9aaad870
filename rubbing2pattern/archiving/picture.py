"""The rectified rubbing as a lossless TIFF that carries its own scale (TIFF 6.0, section 8)."""

from __future__ import annotations

import io
from pathlib import Path

from PIL import Image

from rubbing2pattern.errors import InputUnreadable

_PER_CENTIMETRE = 3
"""Value of TIFF 6.0: ResolutionUnit in centimetres."""


def rubbing_tiff(path: Path, px_per_mm: float) -> bytes:
    """Return the kept rubbing as a TIFF, resolution in pixels per centimetre.

    Raises
    ------
    InputUnreadable
        The kept rubbing cannot be read.
    """
    try:
        with Image.open(path, formats=("PNG",)) as kept:
            grey = kept.convert("L")
    except (OSError, SyntaxError, ValueError) as fault:
        raise InputUnreadable(f"cannot read {path}: {fault}") from fault
    held = io.BytesIO()
    per_cm = 10.0 * px_per_mm
    grey.save(
        held,
        "TIFF",
        compression="tiff_adobe_deflate",
        resolution_unit=_PER_CENTIMETRE,
        x_resolution=per_cm,
        y_resolution=per_cm,
    )
    return held.getvalue()
