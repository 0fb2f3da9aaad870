"""The rubbing seen straight on, in the panel's frame: what the overlay is drawn on, kept as a file.

``rubbing.png`` holds it in 8-bit grey with its resolution in the pHYs chunk; the record holds the
grid, so that the overlay can be drawn again without the photograph.
"""

from __future__ import annotations

import math
import struct
import zlib
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np

from rubbing2pattern.documents.drawing.leaves import lead_bounds_mm
from rubbing2pattern.errors import InputUnreadable, OutputNotWritten
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.imaging.broken import Broken
from rubbing2pattern.imaging.png_chunks import check_png
from rubbing2pattern.imaging.resample import on_grid
from rubbing2pattern.inputs.files import content_of
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reading import Grey, Rubbing

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_HEADER_END = 33
"""Signature and header of a PNG; the resolution must come before the data."""
_PLACES = 3
_MOST_TIMES = 4.0
"""The paper around may make the overlay so many times its limit: 300 mm all round 100 mm do."""


@dataclass(frozen=True, slots=True)
class KeptRubbing:
    """A rubbing on a grid in the panel's frame.

    Attributes
    ----------
    frame : the grid.
    grey : (H, W) uint8, white where the picture does not reach.
    png : the same as a file.
    """

    frame: Frame
    grey: Grey
    png: bytes


def keep_rubbing(rubbing: Rubbing, panel: Panel, options: DocumentOptions) -> KeptRubbing:
    """Resample a rubbing to the grid of the overlay."""
    frame = overlay_frame(panel, options)
    grey = on_grid(rubbing.photograph.grey, rubbing.warp.placed(panel.placement), frame)
    grey.setflags(write=False)
    return KeptRubbing(frame, grey, _png(grey, frame.px_per_mm))


def read_rubbing(path: Path, frame: Frame) -> KeptRubbing:
    """Read a kept rubbing.

    Parameters
    ----------
    path : the file.
    frame : its grid as the record says.

    Raises
    ------
    InputUnreadable
        No such file, no PNG, a damaged one, or another size than the record says.
    """
    cure = "put the file back, or trace the rubbing again"
    content = content_of(path, cure=cure)
    damage = _damage(content)
    if damage:
        raise InputUnreadable(f"{path} {damage}; {cure}")
    grey = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_GRAYSCALE)
    if grey is None:
        raise InputUnreadable(f"{path} is not a picture; {cure}")
    if grey.shape != (frame.height_px, frame.width_px):
        raise InputUnreadable(
            f"{path} has {grey.shape[1]} x {grey.shape[0]} pixels, but the record says "
            f"{frame.width_px} x {frame.height_px}; {cure}"
        )
    kept = np.asarray(grey, dtype=np.uint8)
    kept.setflags(write=False)
    return KeptRubbing(frame, kept, content)


def _damage(content: bytes) -> str:
    """Say why a file is not the PNG that was kept; OpenCV alone would fill in what is lost."""
    if not content.startswith(_SIGNATURE):
        return "is not a picture in PNG"
    try:
        doubts = check_png(content, "rubbing.png")
    except Broken as fault:
        return f"is damaged: {fault}"
    return "is damaged: a part does not match its checksum, or the end is missing" if doubts else ""


def overlay_frame(panel: Panel, options: DocumentOptions) -> Frame:
    """Return the grid of the overlay: the panel with a margin, at the resolution it may have.

    Its numbers are as round as the record keeps them.
    """
    widths = [came.face_width_mm for came in panel.cames]
    x_min, y_min, x_max, y_max = lead_bounds_mm(panel.cames, widths)
    around = options.overlay_margin_mm
    bounds = (x_min - around, y_min - around, x_max + around, y_max + around)
    area_mm2 = (bounds[2] - bounds[0]) * (bounds[3] - bounds[1])
    finest = math.sqrt(options.overlay_limit_mp * 1e6 / area_mm2)
    frame = Frame.over(bounds, round(min(options.overlay_px_per_mm, finest), 6))
    return replace(
        frame, left_mm=round(frame.left_mm, _PLACES), top_mm=round(frame.top_mm, _PLACES)
    )


def around_leads(rubbing: KeptRubbing, panel: Panel, options: DocumentOptions) -> KeptRubbing:
    """Return a rubbing with white paper as far as leads reach that were drawn beyond its edge.

    Leads that lie so far off that no memory is worth it stay cut off.
    """
    frame, step = rubbing.frame, rubbing.frame.px_per_mm
    x_min, y_min, x_max, y_max = frame.bounds_mm
    low = np.min([c.path.min(axis=0) - 0.5 * c.face_width_mm for c in panel.cames], axis=0)
    high = np.max([c.path.max(axis=0) + 0.5 * c.face_width_mm for c in panel.cames], axis=0)
    beyond = np.array((x_min - low[0], high[0] - x_max, high[1] - y_max, y_min - low[1]))
    if (beyond <= 0.0).all():
        return rubbing
    wider_mm = np.where(beyond > 0.0, beyond + options.overlay_margin_mm, 0.0)
    left, right, top, bottom = (math.ceil(mm * step) for mm in wider_mm)
    wide, high = frame.width_px + left + right, frame.height_px + top + bottom
    if wide * high > _MOST_TIMES * options.overlay_limit_mp * 1e6:
        return rubbing
    grey = np.pad(rubbing.grey, ((top, bottom), (left, right)), constant_values=255)
    over = Frame(step, frame.left_mm - left / step, frame.top_mm + top / step, wide, high)
    return replace(rubbing, frame=over, grey=grey)


def _png(grey: Grey, px_per_mm: float) -> bytes:
    """Write a PNG whose pHYs chunk holds pixels per metre (PNG specification, 11.3.4.3)."""
    # The library's own setting is its quickest; of a picture that is noise for the most part, more
    # effort makes a larger file.
    done, encoded = cv2.imencode(".png", grey)
    if not done:
        raise OutputNotWritten("the rubbing cannot be written as a PNG")
    plain = encoded.tobytes()
    per_metre = round(1000.0 * px_per_mm)
    body = b"pHYs" + struct.pack(">IIB", per_metre, per_metre, 1)
    chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
    return plain[:_HEADER_END] + chunk + plain[_HEADER_END:]
