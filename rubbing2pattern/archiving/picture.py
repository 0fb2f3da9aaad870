"""The rectified rubbing as a lossless TIFF that carries its own scale (TIFF 6.0, section 8)."""

from __future__ import annotations

import io

from PIL import Image

from rubbing2pattern.reading import Grey

_PER_CENTIMETRE = 3
"""Value of TIFF 6.0: ResolutionUnit in centimetres."""


def rubbing_tiff(grey: Grey, px_per_mm: float) -> bytes:
    """Return the kept rubbing, (H, W), as a TIFF, resolution in pixels per centimetre."""
    held = io.BytesIO()
    per_cm = 10.0 * px_per_mm
    Image.fromarray(grey).save(
        held,
        "TIFF",
        compression="tiff_adobe_deflate",
        resolution_unit=_PER_CENTIMETRE,
        x_resolution=per_cm,
        y_resolution=per_cm,
    )
    return held.getvalue()
