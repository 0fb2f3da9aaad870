"""The photographs of loose pieces, seen straight on, with each piece's outline and number."""

from __future__ import annotations

import io

import numpy as np
import shapely
from PIL import Image

from rubbing2pattern.documents.drawing import Drawing, Mark, Picture
from rubbing2pattern.documents.drawing.sheets import (
    FIGURE,
    HALO,
    NUMBER,
    RIM,
    Sheet,
    View,
    centred,
    outlines,
)
from rubbing2pattern.documents.matches.sentences import short_numbers_text, work_text
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.imaging.resample import on_grid
from rubbing2pattern.matching.loose import LoosePiece, Verdict
from rubbing2pattern.matching.result import Colours, LoosePhoto, Matching
from rubbing2pattern.options.documents import DocumentOptions
from rubbing2pattern.reading import Bounds

_AROUND_MM = 12.0
_DOTS_PER_MM = 6.0
"""Of the photograph on the paper: about 150 to the inch."""
_QUALITY = 82
_NUMBER_MM, _SEVERAL_MM, _NAME_MM = 3.4, 2.4, 1.9
KEY = (
    "Large: number of the place in the panel, several where openings are alike; ? where it has "
    "none. Small: name of the loose piece and what is to be done, if anything. Red: look at it "
    "before use. Not to scale."
)


def photo_page(photo: LoosePhoto, matching: Matching, options: DocumentOptions) -> Drawing:
    """Draw a photograph reduced to one sheet with what was found about each piece."""
    bounds = _bounds(photo)
    across = (bounds[2] - bounds[0]) > 1.15 * (bounds[3] - bounds[1])
    title = f"{matching.title}: loose pieces in {photo.name}"
    sheet = Sheet.of(title, options, across=across)
    notes = sheet.lines([KEY])
    view = View.within(bounds, sheet.room(len(notes)))
    marks: list[Mark] = []
    for piece in photo.pieces:
        marks += _marks(piece, matching, view, options)
    (left, low), (right, high) = view.places([bounds[:2], bounds[2:]])
    jpeg = _jpeg(photo, bounds, _DOTS_PER_MM * view.share)
    picture = Picture((float(left), float(low), float(right), float(high)), jpeg)
    return sheet.drawing(marks, notes, picture)


def _marks(
    piece: LoosePiece, matching: Matching, view: View, options: DocumentOptions
) -> list[Mark]:
    shape, match = view.shape(piece.outline), matching.of(piece.id)
    number = short_numbers_text(match, matching)
    circle = shapely.maximum_inscribed_circle(shape, tolerance=0.1)
    x, y = (float(c) for c in circle.coords[0])
    # Small glass must not vanish behind its number.
    high = min(_NUMBER_MM, max(_NAME_MM, 0.7 * circle.length))
    fits = match.verdict is Verdict.FITS
    named = piece.id if fits else f"{piece.id} {work_text(match, options)}"
    layer = NUMBER if match.verdict in (Verdict.FITS, Verdict.FRAGMENT) else FIGURE
    high = high if len(match.numbers) == 1 else min(high, _SEVERAL_MM)
    return [
        *outlines(HALO, shape),
        *outlines(RIM, shape),
        centred(NUMBER, (x, y + 0.8), number, high, patch=True),
        centred(layer, (x, y - 0.5 * high - 1.0), named, 0.7 * _NAME_MM, patch=True),
    ]


def _bounds(photo: LoosePhoto) -> Bounds:
    """Return what is shown: all pieces with some room around them, within the picture."""
    if not photo.pieces:
        return photo.rubbing.bounds_mm
    low = shapely.total_bounds([piece.outline for piece in photo.pieces])
    x_min, y_min, x_max, y_max = (float(side) for side in low)
    left, bottom, right, top = photo.rubbing.bounds_mm
    return (
        max(x_min - _AROUND_MM, min(left, x_min)),
        max(y_min - _AROUND_MM, min(bottom, y_min)),
        min(x_max + _AROUND_MM, max(right, x_max)),
        min(y_max + _AROUND_MM, max(top, y_max)),
    )


def _jpeg(photo: LoosePhoto, bounds: Bounds, px_per_mm: float) -> bytes:
    seen = _straight(photo, Frame.over(bounds, px_per_mm))
    stream = io.BytesIO()
    Image.fromarray(seen).save(stream, "JPEG", quality=_QUALITY)
    return stream.getvalue()


def _straight(photo: LoosePhoto, frame: Frame) -> Colours:
    """Return the photograph on a grid in the sheet's frame, (H, W, 3)."""
    parts = [
        on_grid(np.ascontiguousarray(photo.colour[..., k]), photo.rubbing.warp, frame)
        for k in range(3)
    ]
    return np.stack(parts, axis=-1)
