"""The report of a panel with a rubbing drawn at its places, and its page read strictly."""

from __future__ import annotations

from functools import cache
from typing import Any
from xml.etree import ElementTree

import html5lib
import numpy as np
import shapely
from shapely.geometry import LineString

from rubbing2pattern.documents.kept_rubbing import KeptRubbing, overlay_frame
from rubbing2pattern.documents.report import report_html
from rubbing2pattern.geometry.frame import Frame
from rubbing2pattern.model import Panel
from rubbing2pattern.options.documents import DocumentOptions

OPTIONS = DocumentOptions()
PROVENANCE = {
    "program": {"name": "rubbing2pattern", "version": "0.1"},
    "image": {"name": "n4 3b.jpg", "width_px": 3000},
    "options": {"pieces.stock": [{"type": "StockWidth", "name": "7 mm", "width_mm": 7.0}]},
}
Page = ElementTree.Element


def kept(panel: Panel, options: DocumentOptions = OPTIONS, noise: int = 0) -> KeptRubbing:
    """Return a rubbing with dark leads on light paper, at the panel's own places."""
    leads = tuple((tuple(map(tuple, c.path)), c.face_width_mm) for c in panel.cames)
    return _drawn(overlay_frame(panel, options), leads, noise)


@cache
def _drawn(frame: Frame, cames: tuple[tuple[Any, float], ...], noise: int) -> KeptRubbing:
    leads = shapely.union_all([LineString(path).buffer(0.5 * wide) for path, wide in cames])
    shapely.prepare(leads)
    rows, columns = np.mgrid[: frame.height_px, : frame.width_px]
    mm = frame.to_mm(np.column_stack((columns.ravel(), rows.ravel())))
    dark = shapely.contains_xy(leads, mm[:, 0], mm[:, 1]).reshape(rows.shape)
    grain = np.random.default_rng(7).integers(-noise, noise + 1, rows.shape)
    return KeptRubbing(frame, np.where(dark, 60, 230 - noise + grain).astype(np.uint8), b"")


def report(
    panel: Panel, rubbing: KeptRubbing | None = None, options: DocumentOptions = OPTIONS
) -> str:
    return report_html(panel, rubbing, PROVENANCE, options).decode()


def parsed(page: str) -> Page:
    """Read the page strictly, as HTML and as XML: nothing left open, nothing unescaped."""
    html5lib.HTMLParser(strict=True).parse(page)
    return ElementTree.fromstring(page)
