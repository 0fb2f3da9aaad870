"""Each loose piece as a small picture in its own colours, cut out of its photograph."""

from __future__ import annotations

import io
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw

from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.imaging.resample import on_grid
from rubbing2pattern.matching.loose import LoosePiece
from rubbing2pattern.matching.result import Colours, LoosePhoto
from rubbing2pattern.reading import Bounds

SIDE_PX = 96
"""Side of a small picture, a square."""
_RIM_PX = 3
_PAPER = (255, 255, 255)
_QUALITY = 88


@dataclass(frozen=True, slots=True)
class Straight:
    """A photograph seen straight on.

    Attributes
    ----------
    frame : its grid in the sheet's frame.
    colours : (H, W, 3) red, green, blue.
    """

    frame: Frame
    colours: Colours

    @classmethod
    def of(cls, photo: LoosePhoto, bounds: Bounds, px_per_mm: float) -> Straight:
        """Lay a part of a photograph straight."""
        frame = Frame.over(bounds, px_per_mm)
        parts = [
            on_grid(np.ascontiguousarray(photo.colour[..., k]), photo.rubbing.warp, frame)
            for k in range(3)
        ]
        return cls(frame, np.stack(parts, axis=-1))


def thumbnail(piece: LoosePiece, seen: Straight) -> Image.Image:
    """Return a piece as it lies, on white paper, as large as the square takes."""
    places = seen.frame.to_px(np.array(piece.outline.exterior.coords))
    low = np.floor(places.min(axis=0)).astype(int) - 1
    high = np.ceil(places.max(axis=0)).astype(int) + 2
    low = np.clip(low, 0, (seen.frame.width_px - 1, seen.frame.height_px - 1))
    high = np.clip(high, low + 1, (seen.frame.width_px, seen.frame.height_px))
    part = Image.fromarray(seen.colours[low[1] : high[1], low[0] : high[0]])
    inner = SIDE_PX - 2 * _RIM_PX
    scale = inner / max(part.size)
    size = (max(1, round(part.width * scale)), max(1, round(part.height * scale)))
    part = part.resize(size, Image.Resampling.LANCZOS)
    mask = Image.new("L", size, 0)
    inside = (places - low + 0.5) * scale
    ImageDraw.Draw(mask).polygon([(float(x), float(y)) for x, y in inside], fill=255)
    shown = Image.new("RGB", (SIDE_PX, SIDE_PX), _PAPER)
    shown.paste(part, ((SIDE_PX - size[0]) // 2, (SIDE_PX - size[1]) // 2), mask)
    return shown


def file_of(image: Image.Image, kind: str, quality: int = _QUALITY) -> bytes:
    """Return a picture as a file, ``"JPEG"`` of a quality or ``"PNG"``."""
    stream = io.BytesIO()
    image.save(stream, kind, **({"quality": quality} if kind == "JPEG" else {}))
    return stream.getvalue()
