"""Parts of the rubbing as pictures inside the report, together no larger than it may be."""

from __future__ import annotations

import base64
import io
import math
import re
from dataclasses import dataclass, field

import numpy as np
from PIL import Image

from rubbing2pattern.documents.kept_rubbing import KeptRubbing
from rubbing2pattern.documents.overlay import lightened_tones
from rubbing2pattern.documents.report.view import View, n
from rubbing2pattern.reading import Bounds, Grey

_QUALITY = 60
"""Of a JPEG: the grain of a rubbing needs no better, and its leads stay sharp."""
_LEAST_SHARE = 0.1
"""Of the resolution: below it nothing could be recognized."""
_TRIES = 6
_SLOT = re.compile("<picture ([0-9]+)>")
"""Cannot occur in the page otherwise, because all text in it is escaped."""


@dataclass(frozen=True, slots=True)
class _Part:
    grey: Grey
    width_px: float


@dataclass(frozen=True, slots=True)
class Pictures:
    """The pictures of a page; each has a slot in it until all are known.

    Attributes
    ----------
    rubbing : what they are cut from.
    """

    rubbing: KeptRubbing
    _parts: list[_Part] = field(default_factory=list)

    def image(self, view: View, px_per_mm: float, *, pale: bool = False) -> str:
        """Return an image element that fills a view as far as the rubbing reaches.

        Parameters
        ----------
        view : the window on the panel.
        px_per_mm : pixels for a millimetre of the panel; never finer than the kept rubbing.
        pale : True to lighten the rubbing, so that lines show on it.
        """
        cut = _cut(self.rubbing, view.bounds_mm)
        if cut is None:
            return ""
        grey, (x_min, y_min, x_max, y_max) = cut
        if pale:
            grey = lightened_tones()[grey]
        share = min(1.0, px_per_mm / self.rubbing.frame.px_per_mm)
        self._parts.append(_Part(grey, share * grey.shape[1]))
        x, y = view.at((x_min, y_max))
        return (
            f'<image x="{n(x)}" y="{n(y)}" width="{n(x_max - x_min)}" height="{n(y_max - y_min)}" '
            f'preserveAspectRatio="none" href="<picture {len(self._parts) - 1}>"/>'
        )

    def share_seen(self, view: View) -> float:
        """Return the share of a view that the rubbing's picture fills."""
        cut = _cut(self.rubbing, view.bounds_mm)
        if cut is None:
            return 0.0
        x_min, y_min, x_max, y_max = cut[1]
        width, height = view.size_mm
        return (x_max - x_min) * (y_max - y_min) / (width * height)

    def filled(self, page: str, limit_bytes: float) -> str:
        """Put the pictures into their slots.

        Parameters
        ----------
        page : with the slots that `image` gave.
        limit_bytes : of the whole page. The pictures get coarser until it is kept, down to a tenth
            of their resolution; the text of the page is never cut.
        """
        room = limit_bytes - len(page.encode())
        share = 1.0
        for _ in range(_TRIES):
            found = [_data(part, share) for part in self._parts]
            size = sum(len(data) for data in found)
            if size <= room or share <= _LEAST_SHARE:
                break
            share = max(_LEAST_SHARE, 0.9 * share * math.sqrt(max(room, 1.0) / size))
        return _SLOT.sub(lambda slot: found[int(slot[1])], page)


def _cut(rubbing: KeptRubbing, bounds_mm: Bounds) -> tuple[Grey, Bounds] | None:
    """Cut whole pixels out of the rubbing; return them with the bounds of their outer edges."""
    frame = rubbing.frame
    x_min, y_min, x_max, y_max = bounds_mm
    (left, top), (right, bottom) = frame.to_px([(x_min, y_max), (x_max, y_min)])
    a, b = max(0, math.ceil(left)), min(frame.width_px, math.floor(right) + 1)
    c, d = max(0, math.ceil(top)), min(frame.height_px, math.floor(bottom) + 1)
    if a >= b or c >= d:
        return None
    (x0, y1), (x1, y0) = frame.to_mm([(a - 0.5, c - 0.5), (b - 0.5, d - 0.5)])
    return rubbing.grey[c:d, a:b], (float(x0), float(y0), float(x1), float(y1))


def _data(part: _Part, share: float) -> str:
    height, width = part.grey.shape
    width_px = max(8, round(share * part.width_px))
    height_px = max(8, round(height * width_px / width))
    picture = Image.fromarray(np.ascontiguousarray(part.grey))
    if width_px < width:
        picture = picture.resize((width_px, height_px), Image.Resampling.BOX)
    stream = io.BytesIO()
    picture.save(stream, "JPEG", quality=_QUALITY)
    return "data:image/jpeg;base64," + base64.b64encode(stream.getvalue()).decode("ascii")
